"""A quarter of a minute of `make soak`: five minutes of readings, twenty times as fast, two steps a second."""

from __future__ import annotations

from typing import Any

from tests.web.soak import soak


def test_a_quarter_of_a_minute_of_everything_at_once(browser: Any) -> None:
    told = soak(15.0, 20.0, browser, 0.5)
    assert told.wrong() == []
    assert told.readings >= 12 * 10 * 290
    assert len(told.edits) >= 8
