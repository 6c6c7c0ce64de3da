"""Half a minute of `make soak`: five minutes of readings, ten times as fast."""

from __future__ import annotations

from typing import Any

from tests.web.soak import soak


def test_half_a_minute_of_everything_at_once(browser: Any) -> None:
    told = soak(30.0, 10.0, browser)
    assert told.wrong() == []
    assert told.readings >= 12 * 10 * 290
    assert len(told.edits) >= 8
