"""The whole job by a person's hands, on a laptop and on a telephone, from an empty start to a plan."""

from __future__ import annotations

import io
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from tests.web.accessible import violations
from tests.web.boxes import untidy
from tests.web.conftest import Served, page, served, wait_for_plan

__all__ = ["page"]

SWEEP = "".join(f"{566 + n * 0.025:.3f},{-104 + (n * 7) % 3}\n" for n in range(961))


@pytest.fixture
def empty_job(tmp_path: Path) -> Iterator[Served]:
    with served(tmp_path / "job.lwjob") as pages:
        yield pages


@pytest.fixture
def demo_job(tmp_path: Path) -> Iterator[Served]:
    with served(tmp_path / "demo.lwjob", with_demo=True) as pages:
        yield pages


MIDDLE_OF_LAST_SPOT = """() => {
  const spot = [...document.querySelectorAll(".spot circle")].pop();
  spot.scrollIntoView({ block: "center" });
  const box = spot.getBoundingClientRect();
  return [box.x + box.width / 2, box.y + box.height / 2];
}"""


#: What is closed on a page and can be seen.
CLOSED = "main details:not([open]) > summary:visible"


def fill(page: Any, path: str, text: str) -> None:
    field = page.locator(f"[data-path='{path}'] [name=value]")
    if field.evaluate("one => one.tagName") == "SELECT":
        field.select_option(text)
    else:
        with page.expect_response("**/api/field"):
            field.fill(text)
            field.blur()


class Typist:
    """Somebody who types and taps, counted."""

    def __init__(self, page: Any) -> None:
        self.page, self.keys, self.taps = page, 0, 0

    def types(self, text: str) -> None:
        self.page.keyboard.type(text)
        self.keys += len(text)

    def presses(self, *keys: str) -> None:
        for key in keys:
            self.page.keyboard.press(key)
            self.keys += 1

    def taps_on(self, at: Any) -> None:
        at.click()
        self.taps += 1


def test_three_links_in_a_street_are_planned_within_forty_keystrokes(
    empty_job: Served, page: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """From an empty job, with an empty bag; at five keys a second forty take eight seconds."""
    from playwright.sync_api import expect

    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    page.goto(f"{empty_job.url}/shoot")
    expect(page.locator("#answer")).to_have_text("Four things, and there is a plan.")
    by = Typist(page)
    expect(page.locator("[name=where]")).to_be_focused()
    by.types("Quay")
    page.locator("[name=region]").select_option(label="United Kingdom")
    by.taps += 2
    by.taps_on(page.get_by_text("coordinated licence"))
    by.taps_on(page.locator("[name=who]"))
    by.types("Pilot\nCrane\nBoom")
    by.taps_on(page.get_by_role("button", name="Plan it"))
    expect(page.locator("#beneath")).to_contain_text("All three links hold")
    assert by.keys <= 40
    assert by.taps <= 6
    expect(page.locator("#outfits li")).to_have_count(3)
    page.get_by_role("link", name="Plan", exact=True).click()
    expect(page.locator(".link-row .name")).to_have_count(3)
    page.go_back()
    expect(page.locator("#questions [name=where]")).to_have_value("Quay")


def test_a_mistake_is_told_beside_its_field_and_undone(demo_job: Served, page: Any) -> None:
    from playwright.sync_api import expect

    page.goto(f"{demo_job.url}/shoot")
    fill(page, '["shoot","timezone"]', "Salt/Works")
    field = page.locator('[data-path=\'["shoot","timezone"]\']')
    expect(field.locator(".wrong")).to_contain_text("time zone")
    expect(page.locator("#problems")).to_contain_text("time zone")
    page.locator(".menu summary").click()
    page.get_by_role("button", name="Undo").click()
    expect(field.locator("[name=value]")).to_have_value("Europe/London")
    expect(field.locator(".wrong")).to_be_empty()
    expect(page.locator("#to-fix")).to_be_hidden()


def test_a_card_is_a_line_until_it_is_opened_and_a_new_one_is_typed_over(demo_job: Served, page: Any) -> None:
    from playwright.sync_api import expect

    page.goto(f"{demo_job.url}/shoot")
    height = page.evaluate("document.body.scrollHeight")
    assert height < (2000 if page.viewport_size["width"] > 800 else 4200), height
    link = page.locator("details.card", has=page.locator("b", has_text="Salter"))
    expect(link.locator(".says")).to_contain_text("pocket · camera")
    link.locator(":scope > summary").click()
    link.get_by_label("Serves").select_option("boom")
    expect(link.locator(".says")).to_contain_text("boom")
    link.get_by_text("More:").click()
    expect(link.get_by_label("How sure a link is to be")).to_be_visible()
    assert untidy(page, "main") == []
    assert violations(page) == ""
    page.get_by_role("button", name="Add a site").click()
    expect(page.locator("input:focus")).to_have_value("New site")
    page.keyboard.type("Weir")
    page.keyboard.press("Tab")
    card = page.locator("details.card", has=page.locator("b", has_text="Weir"))
    expect(card).to_be_visible()
    card.get_by_label("Latitude").fill("123")
    card.get_by_label("Latitude").blur()
    expect(card.locator(":scope > summary .fix")).to_have_text("1 to fix")
    card.locator(":scope > summary").click()
    page.locator("#problems button").first.click()
    expect(page.locator("input:focus")).to_have_value("123")
    page.get_by_role("button", name="Remove Weir").click()
    expect(card).to_have_count(0)


def test_a_permit_is_ticked(demo_job: Served, page: Any) -> None:
    from playwright.sync_api import expect

    page.goto(f"{demo_job.url}/shoot")
    with page.expect_response("**/prepare/permits"):
        page.locator(".permits").get_by_text("shared licence").click()
    expect(page.locator("#status .says")).to_contain_text("permits")
    assert demo_job.store.document().at("shoot", "permits") == ["gb-coordinated", "gb-shared"]
    with page.expect_response("**/prepare/permits"):  # what is said already could be read as the answer
        page.locator(".permits").get_by_text("coordinated licence").click()
    expect(page.locator(".permits").get_by_label("coordinated licence")).not_to_be_checked()
    expect(page.locator("#status .says")).to_contain_text("gb-shared, was")
    demo_job.store.set_field(("shoot", "permits"), ["gb-shared"], None, "phone")
    expect(page.locator(".permits").get_by_label("shared licence")).not_to_be_checked()
    page.get_by_label("Region").select_option(label="Germany")
    expect(page.locator(".permits")).not_to_contain_text("channel 38")


def test_who_is_on_a_call_is_ticked(demo_job: Served, page: Any) -> None:
    from playwright.sync_api import expect

    def links() -> Any:
        return demo_job.store.document().at("call")[0].get("links")

    page.goto(f"{demo_job.url}/shoot")
    call = page.locator("details.card", has=page.locator("b", has_text="Raking"))
    call.locator(":scope > summary").click()
    who = call.get_by_role("group", name="Who is on")
    expect(who.get_by_label("Salter")).to_be_checked()
    expect(who.get_by_label("Stoker")).not_to_be_checked()
    was = links()
    assert untidy(page, "main") == []
    with page.expect_response("**/api/field"):
        who.get_by_label("Stoker").click()
    assert links() == [*was, "Stoker"], "in the order in which they were said"
    for name in was:
        with page.expect_response("**/api/field"):
            who.get_by_label(name, exact=True).click()
    expect(page.locator("#status .says")).to_contain_text(": Stoker, was ")  # nothing is on its way any more
    who.get_by_label("Stoker").click()
    expect(page.locator("#status .says")).to_contain_text("Somebody must be on")
    page.wait_for_timeout(300)
    assert links() == ["Stoker"]
    expect(who.get_by_label("Stoker")).to_be_checked()
    for box in who.get_by_role("checkbox").all():
        box.check()
    page.wait_for_timeout(300)
    expect(page.locator(".field.waits")).to_have_count(0)
    assert links() is None, "all of them: whoever comes later too"


def test_what_somebody_else_changes_shows_and_is_not_overwritten(demo_job: Served, page: Any) -> None:
    from playwright.sync_api import expect

    page.goto(f"{demo_job.url}/shoot")
    title = page.locator('[data-path=\'["shoot","title"]\'] [name=value]')
    expect(title).to_have_value("Salt works, day 1")
    demo_job.store.set_field(("shoot", "title"), "Salt works, day 1", "Salt works, day 2", "phone")
    expect(title).to_have_value("Salt works, day 2")
    title.focus()
    title.evaluate("one => { one.value = 'Mine' }")
    demo_job.store.set_field(("shoot", "title"), "Salt works, day 2", "Theirs", "phone")
    page.wait_for_timeout(400)
    title.dispatch_event("change")
    expect(page.locator('[data-path=\'["shoot","title"]\'] .wrong')).to_contain_text("changed this to “Theirs”")
    # what others change elsewhere, and what is told late, does not take the question away
    demo_job.store.set_field(("shoot", "region"), "GB", "US", "phone")
    expect(page.locator('[data-path=\'["shoot","region"]\'] [name=value]')).to_have_value("US")
    expect(page.locator('[data-path=\'["shoot","title"]\'] .wrong')).to_contain_text("changed this to “Theirs”")
    page.get_by_role("button", name="Use mine").click()
    expect(page.locator('[data-path=\'["shoot","title"]\'] .wrong')).to_be_empty()
    assert demo_job.store.document().at("shoot", "title") == "Mine"


def test_a_sweep_is_dropped_in_and_read_by_keys(demo_job: Served, page: Any) -> None:
    from playwright.sync_api import expect

    page.goto(f"{demo_job.url}/air")
    expect(page.locator("#lane-rows tr").first).to_be_attached()
    page.locator("#score").focus()
    page.keyboard.press("ArrowRight")
    expect(page.locator("#readout")).to_contain_text("MHz")
    page.keyboard.press("+")
    page.get_by_role("button", name="Ask").click()
    expect(page.locator("#why h3")).to_contain_text("MHz")
    page.set_input_files("#sweeps", {"name": "noon.csv", "mimeType": "text/csv", "buffer": SWEEP.encode()})
    expect(page.locator("main details", has_text="noon.csv")).to_be_attached(timeout=15_000)
    page.get_by_text("The files").click()
    expect(page.get_by_text("columns, separated").last).to_be_visible()


def test_a_plan_is_locked_tried_and_followed(demo_job: Served, page: Any) -> None:
    from playwright.sync_api import expect

    page.goto(f"{demo_job.url}/plan")
    expect(page.locator(".link-row .name").first).to_be_visible()
    page.get_by_role("button", name="Keep for comparison").click()
    expect(page.locator("#status .says")).to_contain_text("Kept")
    salter = page.locator("details.link").filter(has=page.locator(".name", has_text="Salter"))
    salter.locator("summary").first.click()
    salter.get_by_role("button", name="What would").first.click()
    page.get_by_role("button", name="Move Salter to").click()
    expect(page.locator("#body")).to_contain_text("Against the plan set aside")
    expect(page.locator(".tag")).to_have_text("locked")
    raker = page.locator("details.link").filter(has=page.locator(".name", has_text="Raker"))
    raker.locator("summary").first.click()
    raker.locator("[name=mhz]").fill("571.125")
    raker.get_by_role("button", name="What would it do?").click()
    expect(raker.locator(".tried")).to_contain_text("Raker")
    salter.get_by_text("Every contribution").click()
    expect(salter.locator("figure.chart svg")).to_be_visible()


def test_the_ground_moves_by_keys_and_by_touch(demo_job: Served, page: Any) -> None:
    from playwright.sync_api import expect

    page.goto(f"{demo_job.url}/ground")
    spot = page.locator(".spot").first
    expect(spot).to_be_visible()
    site = demo_job.store.document().ids["site",][0]
    before = demo_job.store.document().at("site", site, "spots")[0]["x_m"]
    spot.focus()
    with page.expect_response("**/api/field"):
        page.keyboard.press("ArrowRight")
    assert demo_job.store.document().at("site", site, "spots")[0]["x_m"] == before + 0.5
    wait_for_plan(demo_job.desk)  # with it the page is told anew, and what lies under a finger may move
    page.reload()
    expect(spot).to_be_visible()
    x, y = page.evaluate(MIDDLE_OF_LAST_SPOT)
    page.mouse.move(x, y)
    page.mouse.down()
    with page.expect_response("**/api/ground/margins*"):
        page.mouse.move(x - 40, y + 12, steps=3)
    with page.expect_response("**/api/field"):
        page.mouse.up()
    page.wait_for_timeout(1500)  # both coordinates are kept, and the plan has followed
    page.locator("#link").select_option(label="Salter")
    page.get_by_role("button", name="Draw a route").click()
    page.locator(".spot").first.press("Enter")
    expect(page.locator("#readout")).to_contain_text("Salter walks")


def test_nothing_scrolls_sideways(demo_job: Served, page: Any) -> None:
    for name in ("shoot", "air", "plan", "crews", "ground", "sound", "sheets", "live", "connect"):
        page.goto(f"{demo_job.url}/{name}")
        page.wait_for_timeout(200)
        assert page.evaluate("document.documentElement.scrollWidth - innerWidth") <= 0, name


def take() -> bytes:
    """Two seconds of a voice-like sound with a mute of 10 ms in the middle."""
    rng = np.random.default_rng(3)
    sound = rng.normal(0, 0.05, 32_000)
    sound[16_000:16_160] = 0.0
    out = io.BytesIO()
    soundfile.write(out, sound, 16_000, format="WAV", subtype="PCM_16")
    return out.getvalue()


def test_a_recording_is_dropped_listened_to_and_its_fault_is_played(demo_job: Served, page: Any) -> None:
    from playwright.sync_api import expect

    page.goto(f"{demo_job.url}/sound")
    page.get_by_text("Chain of Boom").click()
    expect(page.locator("details[open] figure.chart svg").first).to_be_visible()
    page.set_input_files("#recordings-add", {"name": "take.wav", "mimeType": "audio/wav", "buffer": take()})
    expect(page.locator("#recordings")).to_contain_text("1 certain fault in one recording", timeout=60_000)
    expect(page.locator("#recordings details[open] .part svg").first).to_be_visible()
    page.get_by_role("button", name="Play mute at").click()
    expect(page.locator(".near svg")).to_be_visible()
    expect(page.locator("#player")).to_be_visible()
    assert page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth") <= 0


def test_the_day_is_watched_with_simulated_readings(demo_job: Served, page: Any) -> None:
    from playwright.sync_api import expect

    page.goto(f"{demo_job.url}/plan")
    expect(page.locator(".link-row .name").first).to_be_visible()
    page.goto(f"{demo_job.url}/live")
    page.get_by_text("Readings, levels, sound").click()
    page.get_by_role("button", name="Play simulated readings").click()
    raker = page.locator(".tile", has_text="Raker")
    expect(raker.locator(".disc")).to_have_class("disc holds", timeout=60_000)
    expect(raker.locator(".word")).to_contain_text("dB in hand")
    page.get_by_role("button", name="Take 1").click()
    page.get_by_text("Log", exact=True).click()
    expect(page.locator("#happened")).to_contain_text("Take 1")
    expect(page.get_by_role("button", name="Take 2")).to_be_visible()
    page.get_by_role("button", name="Note").click()
    page.get_by_label("Note").fill("Wind from the west")
    page.get_by_role("button", name="Keep", exact=True).click()
    expect(page.locator("#happened")).to_contain_text("Wind from the west")
    assert page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth") <= 0
    page.get_by_role("button", name="Stop playing").click()
    expect(raker.locator(".word")).to_contain_text("plan: ", timeout=15_000)


def test_everybody_can_use_it(demo_job: Served, page: Any) -> None:
    """axe, WCAG 2.2 AA: no violation on any page, on any ground, at either size."""
    demo_job.desk.listeners.tell("plan", {"revision": 0})
    demo_job.store.attach("take.wav", take(), "laptop", most_bytes=1 << 24, kind="recording")
    for name in ("shoot", "air", "plan", "crews", "ground", "sound", "sheets", "live", "connect"):
        page.goto(f"{demo_job.url}/{name}")
        page.wait_for_timeout(300)
        for _ in range(min(2, page.locator(CLOSED).count())):
            page.locator(CLOSED).first.click()
        page.evaluate("window.scrollTo(0, 0)")  # what a click scrolled under the header is not too small for it
        assert not (found := violations(page)), f"{name}: {found}"
