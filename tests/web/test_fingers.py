"""Fingers on the pictures of Site, as the browser gets them of a screen: one scrolls, two move the picture."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pytest
from tests.web.conftest import Served

Place = tuple[float, float]


class Hand:
    """Fingers on a touch screen, by the browser's own protocol."""

    def __init__(self, page: Any) -> None:
        self._page, self._screen = page, page.context.new_cdp_session(page)

    def moves(self, *ways: Sequence[Place]) -> None:
        """One finger along each way, all at once."""
        for n, kind in enumerate(["touchStart", *["touchMove"] * (len(ways[0]) - 1), "touchEnd"]):
            points = [] if kind == "touchEnd" else [
                {"x": way[n][0], "y": way[n][1], "id": finger} for finger, way in enumerate(ways)
            ]  # fmt: skip
            self._screen.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})
            self._page.wait_for_timeout(30)
        self._page.wait_for_timeout(400)


def line(begin: Place, end: Place, steps: int = 8) -> list[Place]:
    """A way of a finger."""
    return [
        tuple(a + (b - a) * n / steps for a, b in zip(begin, end, strict=True))  # type: ignore[misc]
        for n in range(steps + 1)
    ]


@pytest.fixture
def phone(browser: Any) -> Any:
    context = browser.new_context(viewport={"width": 390, "height": 844}, has_touch=True, is_mobile=True)
    yield context.new_page()
    context.close()


def middle(page: Any, selector: str) -> Place:
    """The middle of a picture, brought into sight."""
    page.locator(selector).scroll_into_view_if_needed()
    box = page.locator(selector).bounding_box()
    return box["x"] + box["width"] / 2.0, box["y"] + min(box["height"] / 2.0, 250.0)


@pytest.mark.parametrize(
    ("path", "selector", "mark"),
    [("/air", "#score", "#score .middle"), ("/ground?site=Pans", "#ground", "#ground .rule ~ text")],
    ids=["air", "ground"],
)
def test_one_finger_scrolls_the_page_and_two_bring_the_picture_closer(
    job: Served, phone: Any, path: str, selector: str, mark: str
) -> None:
    phone.goto(f"{job.url}{path}")
    phone.locator(mark).first.wait_for()
    phone.wait_for_timeout(400)
    hand, (x, y) = Hand(phone), middle(phone, selector)
    before, at = phone.locator(mark).all_text_contents(), phone.evaluate("scrollY")
    hand.moves(line((x + 90.0, y + 60.0), (x + 90.0, y - 90.0)))
    assert phone.evaluate("scrollY") > at + 40, "a swipe over the picture turns the page"
    assert phone.locator(mark).all_text_contents() == before
    x, y = middle(phone, selector)
    at = phone.evaluate("scrollY")
    held = "([x, y]) => document.elementFromPoint(x, y).closest('.spot') !== null"
    y = next(y + by for by in (0.0, -60.0, -120.0, 60.0) if not any(
        phone.evaluate(held, [x + side, y + by]) for side in (-30.0, 30.0)))  # fmt: skip
    hand.moves(line((x - 30.0, y), (x - 140.0, y)), line((x + 30.0, y), (x + 140.0, y)))
    assert phone.locator(mark).all_text_contents() != before, "two fingers apart: closer"
    assert abs(phone.evaluate("scrollY") - at) < 3


def test_a_spot_is_held_and_dragged_by_a_finger(job: Served, phone: Any) -> None:
    from playwright.sync_api import expect

    phone.goto(f"{job.url}/ground?site=Pans")
    spot = phone.get_by_role("button", name="Far bank,")
    spot.wait_for()
    phone.wait_for_timeout(400)
    spot.scroll_into_view_if_needed()
    box = spot.locator(".hit").bounding_box()
    x, y = box["x"] + box["width"] / 2.0, box["y"] + box["height"] / 2.0
    at = phone.evaluate("scrollY")
    Hand(phone).moves(line((x, y), (x - 60.0, y + 40.0)))
    expect(phone.locator("#status .says")).to_contain_text("Far bank")
    assert phone.evaluate("scrollY") == at
    told = spot.get_attribute("aria-label")
    assert not told.startswith("Far bank, 64.0 m east")
