"""What a day's levels tell of a site: intervals that hold the truth as often as they say."""

from __future__ import annotations

import datetime

import numpy as np
import pytest

from linkwright.reach.day_levels import METER_DB, DayLevels, learn_from_day
from linkwright.reach.walk import OFFSET_DB

DAY = datetime.date(2027, 5, 14)


def link(level: np.ndarray, median: float, name: str = "Boom") -> DayLevels:
    return DayLevels(name, level, np.linspace(5.0, 50.0, level.size), median, 1000, 571.125)


def test_nothing_is_learnt_from_nothing() -> None:
    assert learn_from_day("Quay", [], DAY) is None


def test_one_link_by_the_conjugate_formula() -> None:
    """A normal prior of variance v0 and one datum of variance v: mean y v0 / (v0 + v), variance v0 v / (v0 + v)
    (Gelman et al., Bayesian Data Analysis, 3rd ed., equations 2.9 and 2.10)."""
    found = learn_from_day("Quay", [link(np.full(50, -60.0), -66.0)], DAY)
    assert found is not None
    v0, v = OFFSET_DB**2, METER_DB**2
    assert found.offset_db == pytest.approx(-6.0 * v0 / (v0 + v), abs=0.006)
    half = 1.6449 * (v0 * v / (v0 + v)) ** 0.5
    assert found.offset_high_db - found.offset_low_db == pytest.approx(2 * half, abs=0.02)
    assert (found.link, found.readings, found.slope_db) == ("Boom", 1000, 0.0)


def test_the_interval_holds_the_truth_nine_times_in_ten() -> None:
    """Talents who stand anywhere on their routes, sites that are off as the prior says, meters that are off."""
    draws = np.random.default_rng(20270514)
    held = 0
    for _ in range(600):
        truth = draws.normal(0.0, OFFSET_DB)
        links = []
        for n in range(4):
            level = -60.0 - 3.0 * draws.standard_normal(200)
            stands = draws.choice(level) if n % 2 else float(np.median(level))
            links.append(link(level, float(stands + truth + draws.normal(0.0, METER_DB)), f"L{n}"))
        found = learn_from_day("Quay", links, DAY)
        assert found is not None
        held += found.offset_low_db <= truth <= found.offset_high_db
    assert 0.86 <= held / 600 <= 0.99


def test_links_that_walk_far_and_wide_tell_less() -> None:
    near, wide = np.full(50, -60.0), np.linspace(-80.0, -40.0, 50)
    widths = []
    for level in (near, wide):
        found = learn_from_day("Quay", [link(level, -63.0)], DAY)
        assert found is not None
        widths.append(found.offset_high_db - found.offset_low_db)
    assert widths[1] > 1.5 * widths[0]
