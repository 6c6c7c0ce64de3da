"""The pages Day and Setting up by hand: dragging by pointer and by keys, counters, steps by one thumb."""

from __future__ import annotations

import re
from typing import Any

from tests.web.accessible import violations
from tests.web.conftest import Served, wait_for_plan
from tests.web.test_pages_by_hand import demo_job, page

__all__ = ["demo_job", "page"]

HANDLE = ".handle[aria-label='{}']"


#: What is closed on a page and can be seen.
CLOSED = "main details:not([open]) > summary:visible"


def times(job: Served, n: int = 0) -> tuple[str, str, str]:
    entry = job.store.document().document["call"][n]
    return entry["from"], entry["to"], entry["breaks"][0]["from"]


def ready(job: Served, page: Any) -> None:
    from playwright.sync_api import expect

    page.goto(f"{job.url}/day")
    expect(page.locator("#answer")).to_contain_text("8 battery changes")
    expect(page.locator(HANDLE.format("Call Raking"))).to_be_attached()
    wait_for_plan(job.desk)
    page.wait_for_timeout(500)


def test_a_break_is_dragged_and_the_change_moves_with_it(demo_job: Served, page: Any) -> None:
    from playwright.sync_api import expect

    ready(demo_job, page)
    handle = page.locator(HANDLE.format("Break in Raking"))
    handle.scroll_into_view_if_needed()
    box = handle.bounding_box()
    scale = float(handle.get_attribute("data-scale"))
    x, y = box["x"] + box["width"] / 2, box["y"] + 20
    page.mouse.move(x, y)
    page.mouse.down()
    with page.expect_response("**/api/day/picture*minutes=30*"):
        page.mouse.move(x + 30 * scale, y, steps=4)
    expect(page.locator("#answer")).to_contain_text("Boom at 11:00")
    assert times(demo_job)[2] == "10:30:00", "nothing is kept before it is let go"
    with page.expect_response("**/api/day/move"):
        page.mouse.up()
    assert times(demo_job)[2] == "11:00:00"
    expect(page.locator("#body")).to_contain_text("11:00")
    page.locator(".menu summary").click()
    page.get_by_role("button", name="Undo").click()
    expect(page.locator("#answer")).to_contain_text("Boom at 10:30")
    assert times(demo_job)[2] == "10:30:00"


def test_a_call_is_moved_and_made_longer_by_keys(demo_job: Served, page: Any) -> None:
    from playwright.sync_api import expect

    ready(demo_job, page)
    handle = page.locator(HANDLE.format("Call Raking"))
    handle.focus()
    with page.expect_response("**/api/day/move"):
        page.keyboard.press("ArrowLeft")
        page.keyboard.press("ArrowLeft")
    assert times(demo_job) == ("08:50:00", "12:20:00", "10:20:00")
    expect(page.locator("#answer")).to_contain_text("Boom at 10:20")
    page.wait_for_timeout(400)
    page.locator(HANDLE.format("Call Raking")).focus()
    with page.expect_response("**/api/day/move"):
        page.keyboard.press("Shift+ArrowRight")
    assert times(demo_job) == ("08:50:00", "12:25:00", "10:20:00")
    page.wait_for_timeout(400)
    page.locator(HANDLE.format("Call Raking")).focus()
    page.keyboard.press("ArrowRight")
    page.keyboard.press("Escape")
    page.wait_for_timeout(900)
    assert times(demo_job) == ("08:50:00", "12:25:00", "10:20:00")


def test_changed_now_counts_from_then(demo_job: Served, page: Any) -> None:
    from playwright.sync_api import expect

    ready(demo_job, page)
    with page.expect_response("**/tick/changed"):
        page.get_by_role("button", name=re.compile("Changed now ?: Boom")).click()
    expect(page.locator("#status .says")).to_contain_text("Boom: cells changed at")
    row = page.locator("tr").filter(has=page.get_by_role("button", name=re.compile("Changed now ?: Boom")))
    expect(row.locator(".since")).to_have_text("0 min")
    boom = demo_job.desk.names().id_of("link", "Boom")
    assert [happening.about for happening in demo_job.store.happenings(kinds=["changed"])] == [boom]


def test_a_link_is_set_up_step_by_step(demo_job: Served, page: Any) -> None:
    from playwright.sync_api import expect

    ready(demo_job, page)
    page.get_by_role("link", name="Set up, step by step").click()
    page.wait_for_load_state("load")  # before it nobody hears a press
    expect(page.locator(".step-of")).to_contain_text("step 1 of 11")
    for n, title in enumerate(("Pair", "Sweep"), start=2):
        expect(page.locator("#h-step")).to_have_text(title)
        page.locator("#done").click()
        expect(page.locator(".step-of")).to_contain_text(f"step {n} of 11")
    expect(page.locator("#h-step")).to_have_text("Carrier")
    page.locator(".people").get_by_role("button", name="Salter").click()
    expect(page.locator("#h-step")).to_have_text("Pair")
    page.get_by_text("All steps of Salter").click()
    page.get_by_role("button", name="Power:").click()
    expect(page.locator("#h-step")).to_have_text("Power")
    page.get_by_text("Set otherwise").click()
    page.locator("[name=text]").select_option("50")
    page.get_by_role("button", name="Keep it and judge it").click()
    expect(page.locator(".verdict-line")).to_contain_text("with 50 mW")
    expect(page.locator(".step-value")).to_have_text("50 mW")
    box = page.locator("#done").bounding_box()
    assert box["height"] >= 44
    assert box["width"] >= 88


def test_everybody_can_use_them(demo_job: Served, page: Any) -> None:
    """axe, WCAG 2.2 AA, on every ground, at either size; and nothing scrolls sideways."""
    ready(demo_job, page)
    demo_job.store.happen("changed", "Boom", {}, None, "phone")
    for name in ("day", "setup?call=Raking&link=Boom&step=4"):
        page.goto(f"{demo_job.url}/{name}")
        page.wait_for_timeout(700)
        for _ in range(min(2, page.locator(CLOSED).count())):
            page.locator(CLOSED).first.click()
        assert not (found := violations(page)), f"{name}: {found}"
        assert page.evaluate("document.documentElement.scrollWidth - innerWidth") <= 0, name
