"""The page Wrap by hand: looking closer by button, key and pointer; keeping a place; everybody can use it."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from tests.web.accessible import violations
from tests.web.conftest import Served, served, wait_for_plan
from tests.web.test_pages_by_hand import page
from tests.web.wrapped import keep_day

from linkwright.store.placebook import PlaceBook

__all__ = ["page"]


@pytest.fixture(scope="module")
def day(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Served, Path]]:
    folder = tmp_path_factory.mktemp("wrap")
    with served(folder / "job.lwjob", with_demo=True, places=PlaceBook(folder / "places")) as job:
        keep_day(job.store)
        yield job, folder / "places"


def ready(job: Served, page: Any) -> Any:
    from playwright.sync_api import expect

    wait_for_plan(job.desk)
    page.goto(f"{job.url}/wrap")
    expect(page.locator("#answer")).to_contain_text("One link broke up in 6 min", timeout=60_000)
    expect(page.locator("#readout")).to_contain_text("all of it")
    return page.locator("#wrap-picture svg")


def span(svg: Any) -> tuple[int, int]:
    return int(svg.get_attribute("data-from")), int(svg.get_attribute("data-to"))


def test_closer_by_button_key_and_pointer(day: tuple[Served, Path], page: Any) -> None:
    from playwright.sync_api import expect

    svg = ready(day[0], page)
    whole = span(svg)
    with page.expect_response("**/api/wrap/picture*"):
        page.locator(".fail-row", has_text="Boom").first.click()
        page.get_by_role("button", name="Look at Boom").first.click()
    expect(page.locator("#readout")).to_contain_text("09:03:25 to 09:03:")
    begin, end = span(svg)
    assert end - begin < 20_000
    with page.expect_response("**/api/wrap/picture*"):
        page.keyboard.press("ArrowRight")
    expect(page.locator("#readout")).not_to_contain_text("09:03:25 to")
    with page.expect_response("**/api/wrap/picture*"):
        page.keyboard.press("Home")
    expect(page.locator("#readout")).to_contain_text("all of it")
    assert span(svg) == whole
    svg.scroll_into_view_if_needed()
    box = svg.bounding_box()
    page.mouse.move(box["x"] + box["width"] * 0.4, box["y"] + 60)
    page.mouse.down()
    page.mouse.move(box["x"] + box["width"] * 0.5, box["y"] + 60, steps=3)
    with page.expect_response("**/api/wrap/picture*from=*"):
        page.mouse.up()
    expect(page.locator("#readout")).not_to_contain_text("all of it")
    begin, end = span(svg)
    assert end - begin < (whole[1] - whole[0]) / 4


def test_a_place_is_kept_by_one_press(day: tuple[Served, Path], page: Any) -> None:
    from playwright.sync_api import expect

    ready(day[0], page)
    before = len(list(day[1].glob("*.toml")))
    page.locator("[data-keep='Pans']").click()
    expect(page.locator("#status .says")).to_contain_text("What was learnt of Pans is kept in")
    assert len(list(day[1].glob("*.toml"))) == before + 1


def test_everybody_can_use_it(day: tuple[Served, Path], page: Any) -> None:
    """axe, WCAG 2.2 AA, on each ground; nothing scrolls sideways."""
    ready(day[0], page)
    assert not (found := violations(page)), found
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
