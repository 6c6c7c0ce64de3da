"""What is observed of how a level fell, and of which branch leads."""

from __future__ import annotations

import math

import numpy as np
import pytest

from linkwright.watch.diagnose.episode_figures import _leads, _unevenly
from linkwright.watch.diagnose.observables import fall_s


@pytest.mark.parametrize(("walk_s", "least", "most"), [(1, 1, 2), (10, 5, 8), (30, 15, 20)])
def test_a_fall_is_timed_between_a_fifth_and_three_quarters_of_it(walk_s: int, least: float, most: float) -> None:
    level = np.concatenate([np.full(60 - walk_s, -60.0), np.linspace(-60.0, -90.0, walk_s + 1), np.full(3, -90.0)])
    assert least <= fall_s(level) <= most


def test_a_level_that_stays_or_is_hardly_known_has_no_fall() -> None:
    assert math.isnan(fall_s(np.full(64, -70.0)))
    assert math.isnan(fall_s(np.full(64, np.nan)))


def test_a_branch_leads_by_how_often_not_by_how_much() -> None:
    assert _leads(10.0, 0.0) == 1.0
    assert _leads(5.0, 5.0) == 0.0
    assert math.isnan(_leads(1.0, 1.0))


def test_uneven_flutter_is_alike_whichever_branch_it_is() -> None:
    assert _unevenly(4.0, 1.0) == pytest.approx(_unevenly(1.0, 4.0))
    assert _unevenly(4.0, 1.0) == pytest.approx(2.0, abs=0.05)
