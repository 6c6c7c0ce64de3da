"""The page Air by a person's hands: my carriers first, everything readable, and a carrier given to a link there."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from tests.web.boxes import faint_marks, faint_text, untidy, verdicts_in_grey
from tests.web.conftest import GROUNDS, Served, on_ground, served, wait_for_plan

SWEEP = "".join(f"{470 + n * 0.2:.3f},{-104 + (n * 7) % 3}\n" for n in range(681))


def shown(page: Any, url: str) -> None:
    from playwright.sync_api import expect

    page.goto(url)
    expect(page.locator("#score .pin").first).to_be_attached()
    page.wait_for_timeout(300)  # faces and levels


def test_the_first_sentence_is_of_my_carriers_and_the_site_is_that_of_the_call(job: Served, page: Any) -> None:
    from playwright.sync_api import expect

    shown(page, f"{job.url}/air")
    expect(page.locator("#answer")).to_have_text("All four of our carriers at Pans are clean in the sweep.")
    shown(page, f"{job.url}/air?site=Boiling+house")
    expect(page.locator("#answer")).to_contain_text("nobody has swept here")
    lanes = page.locator("#score > text.soft").all_text_contents()
    assert "Ours" in lanes
    assert "Measured" not in lanes, "a lane without anything is left out"


def test_what_stands_under_the_cursor_is_told_beside_it_inside_the_picture(job: Served, page: Any) -> None:
    shown(page, f"{job.url}/air")
    box = page.locator("#score").bounding_box()
    for share in (0.2, 0.6, 0.98):
        page.mouse.move(box["x"] + box["width"] * share, box["y"] + 60)
        told = page.locator("#readout").bounding_box()
        assert told["x"] >= box["x"] - 1
        assert told["x"] + told["width"] <= box["x"] + box["width"] + 1
        assert told["y"] >= box["y"] - 1
        assert told["y"] >= 0
        assert told["y"] + told["height"] <= page.viewport_size["height"] - 59, "in sight"
        assert min(abs(told["x"] - page_x(box, share)), abs(told["x"] + told["width"] - page_x(box, share))) < 60
    assert "MHz" in page.locator("#readout").inner_text()


def page_x(box: dict[str, float], share: float) -> float:
    return box["x"] + box["width"] * share


def test_wheel_and_swipe_turn_the_page_unless_the_picture_was_taken(job: Served, page: Any) -> None:
    shown(page, f"{job.url}/air")
    box = page.locator("#score").bounding_box()
    page.mouse.move(box["x"] + 200, box["y"] + 150)
    before = page.locator("#score .middle").all_text_contents()
    page.mouse.wheel(0, 200)
    page.wait_for_timeout(300)
    assert page.evaluate("scrollY") > 100
    assert page.locator("#score .middle").all_text_contents() == before
    page.keyboard.down("Control")
    page.mouse.wheel(0, -200)
    page.keyboard.up("Control")
    page.wait_for_timeout(300)
    assert page.locator("#score .middle").all_text_contents() != before
    assert page.evaluate("getComputedStyle(document.getElementById('score')).touchAction") == "pan-y"


def test_over_time_has_an_axis_of_time(job: Served, page: Any) -> None:
    from playwright.sync_api import expect

    shown(page, f"{job.url}/air")
    page.get_by_role("button", name="Over time").click()
    expect(page.locator("#score")).to_contain_text("0 s")
    expect(page.locator("#score")).to_contain_text("Over time")


def test_no_label_is_cut_lost_or_upon_another(crowds: dict[int, Served], page: Any) -> None:
    for links, pages in crowds.items():
        shown(page, f"{pages.url}/air")
        assert untidy(page, "main") == [], links
        plan = pages.desk.snapshot().plan
        assert plan is not None
        drawn = page.locator("#score text").all_text_contents()
        for link in plan.calls[0].links:
            assert drawn.count(link.link) == 1 + len(link.spares_khz)


def test_words_and_marks_are_seen_on_every_ground(job: Served, page: Any) -> None:
    shown(page, f"{job.url}/air")
    for ground in GROUNDS:
        on_ground(page, ground)
        assert faint_text(page, ".score-box", pictures=True) == [], ground
        marks = "#score .mark circle, #score .mark path, #score .band, #score .axis, .score-box"
        assert faint_marks(page, marks) == [], ground


def test_verdicts_are_told_apart_in_a_grey_picture(job: Served, page: Any) -> None:
    told = ["holds", "thin", "fails", "holds"]

    def lanes(route: Any) -> None:
        answered = route.fetch().json()
        for n, one in enumerate(answered["ours"]):
            if one["head"] != "spare":
                one["head"] = told[n]
        route.fulfill(json=answered)

    page.route("**/api/air/lanes*", lanes)
    shown(page, f"{job.url}/air")
    pins = "#score .pin .mark:not(.spare) circle"
    for ground in GROUNDS:
        on_ground(page, ground)
        assert verdicts_in_grey(page, pins) == told, ground
    page.goto(f"{job.url}/ground?site=Boiling+house")
    page.wait_for_selector("#margins .disc")
    discs = page.locator("#margins .disc")
    for n, verdict in enumerate(told):
        discs.nth(n).evaluate("(one, verdict) => { one.className = `disc ${verdict}`; }", verdict)
    for ground in GROUNDS:
        on_ground(page, ground)
        assert verdicts_in_grey(page, "#margins .disc")[: len(told)] == told, ground


def test_a_carrier_proved_on_the_score_is_given_to_a_link_there(page: Any, tmp_path: Path) -> None:
    from playwright.sync_api import expect

    with served(tmp_path / "demo.lwjob", with_demo=True) as pages:
        wait_for_plan(pages.desk)
        shown(page, f"{pages.url}/air")
        page.locator("#why-mhz").fill("590.500")
        page.locator("#why-form select").select_option(label="Salter")
        page.get_by_role("button", name="Ask").click()
        expect(page.locator("#why")).to_contain_text("What it does to everybody")
        page.get_by_role("button", name="Move Salter to 590.500 MHz").click()
        expect(page.locator("#status .says")).to_contain_text("to 590.500 MHz")
        wait_for_plan(pages.desk)
        plan = pages.desk.snapshot().plan
        assert plan is not None
        assert next(link for link in plan.calls[0].links if link.link == "Salter").carrier_khz == 590_500
        page.goto("about:blank")


def test_without_a_site_a_sweep_can_be_opened_all_the_same(page: Any, tmp_path: Path) -> None:
    from playwright.sync_api import expect

    with served(tmp_path / "job.lwjob") as pages:
        page.goto(f"{pages.url}/air")
        expect(page.get_by_text("Open a sweep file")).to_be_visible()
        page.set_input_files("#sweeps", {"name": "noon.csv", "mimeType": "text/csv", "buffer": SWEEP.encode()})
        expect(page.locator("#uploads li")).to_contain_text("columns")
        assert pages.store.document().at("site")[0]["sweeps"] == ["noon.csv"]
        page.goto("about:blank")
