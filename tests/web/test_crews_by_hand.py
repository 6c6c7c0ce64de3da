"""The pages Crews and of a crew in Chromium, on the laptop and the telephone: by keys, by taps, for everybody."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import pytest
from playwright.sync_api import expect
from tests.web.accessible import violations
from tests.web.boxes import untidy
from tests.web.conftest import SIZES, wait_for_plan
from tests.web.event import LINK, event_into, until
from tests.web.outside import open_pages
from tests.web.test_by_keys import Keys
from tests.web.test_crews import BAG

from linkwright.door.lan import lan_addresses
from linkwright.store import Hatch, Store, WantedLinks

TOKEN = "t" * 40
WIDER = "document.documentElement.scrollWidth - document.documentElement.clientWidth"


@dataclass(frozen=True)
class Event:
    """An event that is served: its store, where the laptop and a telephone of the crew Harbour find their pages."""

    store: Store
    harbour: Hatch
    laptop: str
    telephone: str


@pytest.fixture
def event(store: Store) -> Iterator[Event]:
    """An event with a plan, and a telephone of a crew that was let in."""
    address = next(iter(lan_addresses()), "")
    if not address:
        pytest.skip("this machine is on no network")
    crews = event_into(store)
    store.add_device("Ines", "crew", TOKEN, "laptop", crew=crews["Harbour"])
    with open_pages(store, None, address) as (app, lan):
        wait_for_plan(app.state.pages.desk)
        hatch = store.hatch(crews["Harbour"])
        until(hatch.carriers)
        yield Event(store, hatch, f"http://127.0.0.1:{lan.port}", f"http://{address}:{lan.port}")


@pytest.fixture(params=list(SIZES.values()), ids=list(SIZES))
def phone(request: pytest.FixtureRequest, browser: Any) -> Iterator[Any]:
    """A page of a crew's device."""
    wide, tall = request.param
    size = {"width": wide, "height": tall}
    context = browser.new_context(viewport=size, extra_http_headers={"authorization": f"Bearer {TOKEN}"})
    opened = context.new_page()
    opened.set_default_timeout(20_000)
    yield opened
    context.close()


def test_a_crew_sets_and_hears_asks_and_reports_by_keys_alone(event: Event, phone: Any) -> None:
    (pilot,) = event.harbour.carriers()
    by = Keys(phone, event.telephone)
    by.opens("/own")
    by.shows("#answer", "One carrier to be set and heard")
    by.shows(".own-do .num", f"{pilot.khz / 1000:.3f}")
    by.presses("Pilot: both ends are set")
    by.shows(".own-do", "set at")
    by.presses("Pilot: heard, clean")
    by.shows("#answer", "Every carrier is set and heard")
    by.opens("/own")  # from the top again
    by.types("How many links", "2")
    by.picks("For a call of yours", "Opening")
    by.types("What for", "two more speakers", "Enter")
    by.told("Asked; the answer comes here")
    by.shows("#body", "2 links", "in Opening")
    by.types("What is the matter", "breaks up since 14:05", "Enter")
    by.told("Reported")
    assert [(one.kind, one.wanted.note) for one in event.store.requests()] == [
        ("carriers", "two more speakers"), ("trouble", "breaks up since 14:05"),
    ]  # fmt: skip


def test_a_crews_page_follows_and_everybody_can_use_it(event: Event, phone: Any) -> None:
    event.harbour.ask(WantedLinks(links=2, site="Quay", note="x", **LINK), "Ines")
    phone.goto(f"{event.telephone}/own")
    expect(phone.locator("#answer")).to_contain_text("One carrier")
    (pilot,) = event.harbour.carriers()
    event.store.happen("notice", "", {"text": "quiet from noon"}, None, "laptop")
    expect(phone.locator(".notice")).to_contain_text("quiet from noon")
    event.store.set_field(("link", pilot.link, "locked_mhz"), None, (pilot.khz + 2000) / 1000, "laptop")
    expect(phone.locator(".own-do .num")).to_have_text(f"{(pilot.khz + 2000) / 1000:.3f}")
    assert violations(phone) == ""
    assert untidy(phone, "main") == []
    assert phone.evaluate(WIDER) <= 0
    assert phone.locator(".own-do .num").evaluate("at => parseFloat(getComputedStyle(at).fontSize)") >= 38
    for button in phone.get_by_role("button").all():
        assert not button.is_visible() or button.bounding_box()["height"] >= 44
    event.store.revoke_device(event.store.devices()[0].id, "laptop")
    phone.goto(f"{event.telephone}/own")
    expect(phone.locator("body")).to_contain_text("This device is not paired")


def test_a_crew_sends_its_bag_along_and_asks_with_it(event: Event, phone: Any) -> None:
    phone.goto(f"{event.telephone}/own")
    phone.get_by_label("What for").fill("two more")
    bag = {"name": "kit.toml", "mimeType": "application/toml", "buffer": BAG.encode()}
    phone.get_by_label("Send your bag along").set_input_files(bag)
    expect(phone.locator("#body")).to_contain_text("4 Pocket, 2 Slots")
    expect(phone.get_by_label("What for")).to_have_value("two more")
    phone.get_by_label("With which kit").select_option(label="yours: Pocket, with Slots")
    phone.get_by_label("For a call of yours").select_option("Opening")
    assert violations(phone) == ""
    assert untidy(phone, "main") == []
    assert phone.evaluate(WIDER) <= 0
    phone.get_by_role("button", name="Ask", exact=True).click()
    expect(phone.locator("#body")).to_contain_text("in Opening")
    (asked,) = event.store.requests()
    assert (asked.wanted.transmitter, asked.wanted.receiver) == ("Harbour: Pocket", "Harbour: Slots")
    phone.get_by_label("Send your bag along").set_input_files({**bag, "buffer": b"[[item]]"})
    expect(phone.locator("#status")).to_contain_text("kit")


def test_what_crews_ask_is_looked_at_and_granted_by_keys_alone(event: Event, page: Any) -> None:
    event.harbour.ask(WantedLinks(links=2, site="Quay", call="Opening", note="two more", **LINK), "Ines")
    by = Keys(page, event.laptop)
    by.opens("/crews")
    by.shows("#answer", "One question waits")
    by.presses("Would it fit\\? Harbour")
    by.shows(".fit", "2 of 2 links find a carrier")
    assert violations(page) == ""
    assert untidy(page, "main") == []
    by.types("Answer, or why not", "on the east side")
    by.presses("Grant: Harbour")
    by.told("Granted: 2 links")
    by.shows("#body", "granted", "not set")
    until(lambda: len(event.harbour.carriers()) == 3)
    by.shows("#body", "Harbour 2")
    page.locator("details.said summary").click()
    by.shows(".steps", "Ines: asked")
    assert page.evaluate(WIDER) <= 0
    assert violations(page) == ""
    by.opens("/crews")
    by.presses("Harbour 2 links")
    by.presses("Take back the answer to Harbour")
    by.told("Taken back")
    assert event.store.requests()[0].state == "asked"
    assert len(event.store.document().document["link"]) == 3
