"""The event in pictures and hunts in Chromium, on the laptop and the telephone: by keys, by taps, for everybody."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

import pytest
from playwright.sync_api import expect
from tests.web.accessible import violations
from tests.web.boxes import faint_text, untidy
from tests.web.conftest import GROUNDS, Served, on_ground, served, wait_for_plan
from tests.web.event import until
from tests.web.test_by_keys import Keys
from tests.web.test_event import days_document, ids

WIDER = "document.documentElement.scrollWidth - document.documentElement.clientWidth"
BAND, DAYS, MAP = (f'[data-picture*="/{name}?"] svg' for name in ("band", "days", "map"))


@pytest.fixture(scope="module")
def event(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """An event of three sites and two days with its plan; a carrier is set, one heard."""
    with served(tmp_path_factory.mktemp("event") / "event.lwjob") as pages:
        pages.store.replace(days_document(), "laptop")
        wait_for_plan(pages.desk)
        until(lambda: len(pages.store.carriers_told()) >= 6)
        lantern = ids(pages.store, "crew")["Lantern"]
        miller = [
            one for one in pages.store.hatch(lantern).carriers() if one.call == ids(pages.store, "call")["Grind"]
        ]
        for one, act in zip(miller, ("set", "heard"), strict=True):
            pages.store.hatch(lantern).tick(one.link, one.call, one.khz, act, "Bo")  # type: ignore[arg-type]
        wait_for_plan(pages.desk)
        yield pages


def mill(event: Served) -> str:
    return f"{event.url}/crews/event?site={ids(event.store, 'site')['Mill']}&day=2027-05-15"


def test_the_pictures_are_tidy_and_for_everybody(event: Served, page: Any) -> None:
    page.goto(mill(event))
    for picture in (BAND, DAYS, MAP):
        expect(page.locator(picture)).to_be_visible()
    expect(page.locator("#answer")).to_contain_text("carriers: one set, one heard")
    assert violations(page) == ""
    assert untidy(page, "main") == []
    assert page.evaluate(WIDER) <= 0
    for ground in GROUNDS:
        on_ground(page, ground)
        for picture in (BAND, DAYS, MAP):
            assert faint_text(page, picture, pictures=True) == []


def test_a_stretch_says_whose_it_is_by_tap_and_by_keys(event: Served, page: Any) -> None:
    page.goto(mill(event))
    expect(page.locator(BAND)).to_be_visible()
    first = page.locator(f"{BAND} .stretch").first
    first.click()
    expect(page.locator(".pinned").first).to_contain_text("of Lantern, in Grind")
    said = page.locator(".pinned").first.inner_text()
    page.keyboard.press("ArrowDown")
    expect(page.locator(".pinned").first).not_to_have_text(said)
    expect(page.locator(".pinned").first).to_contain_text("of Lantern, in Grind")
    inside = page.evaluate(
        """() => { const at = document.querySelector(".pinned").getBoundingClientRect();
        return at.left >= 0 && at.right <= innerWidth + 1 && at.width > 40; }"""
    )
    assert inside
    page.locator("h2").first.click()
    expect(page.locator(".pinned").first).to_be_hidden()


def test_a_field_of_the_time_line_opens_the_carriers_there(event: Served, page: Any) -> None:
    page.goto(mill(event))
    page.locator(f"{DAYS} a[tabindex='0']").focus()
    page.keyboard.press("ArrowUp")
    assert "Hall, Saturday" in page.evaluate("document.activeElement.getAttribute('aria-label')")
    page.keyboard.press("Enter")
    expect(page.locator("#h-band")).to_have_text("Carriers at Hall, Saturday 15 May")


def test_the_days_offered_follow_the_site(event: Served, page: Any) -> None:
    page.goto(f"{event.url}/crews/event?site={ids(event.store, 'site')['Quay']}&day=2027-05-14")
    when = page.get_by_label("When")
    assert when.locator("option").all_inner_texts() == ["Fri 14 May 2027", "Sat 15 May 2027"]
    page.locator("#event-site").select_option("Mill")
    expect(when.locator("option")).to_have_text(["Sat 15 May 2027"])
    page.get_by_role("button", name="Show").click()
    expect(page.locator("#h-band")).to_have_text("Carriers at Mill, Saturday 15 May")


def test_a_tick_is_drawn_while_one_looks(event: Served, page: Any) -> None:
    store = event.store
    call, lantern = ids(store, "call")["Rehearsal"], ids(store, "crew")["Lantern"]
    hatch = store.hatch(lantern)
    (singer,) = (one for one in hatch.carriers() if one.call == call)
    hatch.tick(singer.link, call, singer.khz, "clear", "Bo")
    page.goto(f"{event.url}/crews/event?site={ids(store, 'site')['Hall']}&day=2027-05-15")
    mark = page.locator(f"{BAND} .stretch").first
    expect(mark).to_have_attribute("aria-label", re.compile("planned, not set yet"))
    hatch.tick(singer.link, call, singer.khz, "heard", "Bo")
    expect(mark).to_have_attribute("aria-label", re.compile("set and heard"))
    expect(page.locator("#answer")).to_contain_text("one heard")


def test_a_hunt_from_a_crews_report_to_its_verdict_by_keys_alone(event: Served, page: Any) -> None:
    store = event.store
    hatch = store.hatch(ids(store, "crew")["Harbour"])
    hatch.trouble(ids(store, "link")["Pilot"], "breaks up", "Ines")
    by = Keys(page, event.url)
    by.opens("/crews")
    by.presses("Look who is in the way of Pilot")
    by.told("Begun: ")
    by.opens("/crews/hunts")
    by.shows("#answer", "hunt is open")
    by.shows(".hunt", "(Pilot) at Quay", "Reported by Harbour", "breaks up", "Who it may be")
    assert violations(page) == ""
    assert untidy(page, "main") == []
    assert page.evaluate(WIDER) <= 0
    by.presses("Tell more of what was found out")
    by.types("Level, dBm", "-82", "Enter")
    by.told("Read: ")
    by.shows(".hunt", "read at Quay: −82 dBm")
    by.types("What it was", "somebody's walkie-talkie", "Enter")
    by.told("Closed: ")
    by.shows("#answer", "Nothing is hunted any more")
    by.shows("details.card", "somebody's walkie-talkie")
    page.locator("details.card > summary").first.click()
    by.presses("Who did what, when")
    by.shows(".steps", "found out: read at Quay", "closed: somebody's walkie-talkie")
    assert violations(page) == ""
    assert untidy(page, "main") == []
    for report in store.requests():
        if report.state == "asked":
            store.answer(report.id, "asked", "done", "laptop")
