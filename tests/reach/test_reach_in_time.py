"""Availability, breaks an hour and their length against a walk in time through sums of sinusoids; seeded."""

from __future__ import annotations

import numpy as np
import pytest
from bench.fading_in_time import counted, powers

from linkwright.physics.fading import branch_correlation
from linkwright.reach.curves import Curves, Pair
from linkwright.reach.path import Spread


@pytest.mark.parametrize(
    ("k", "apart", "weaker_db", "margin_db"),
    [
        (0.0, None, 0.0, 5.0), (0.0, None, 0.0, 10.0), (2.0, None, 0.0, 8.0), (4.0, None, 0.0, 5.0),
        (0.0, 0.3, 0.0, 5.0), (0.0, 0.6, 6.0, 5.0), (2.0, 0.3, 0.0, 5.0), (2.0, 0.6, 0.0, 3.0),
        (4.0, 0.3, 0.0, 3.0),
    ],
)  # fmt: skip
def test_what_is_told_is_what_is_counted_in_time(
    k: float, apart: float | None, weaker_db: float, margin_db: float
) -> None:
    """No spread of the local mean; 40 runs of 400 wavelengths: what is counted wanders by some hundredths."""
    spread = Spread("normal", 0.0, k, "assumed", "-")
    pair = None if apart is None else Pair(apart, weaker_db)
    curves = Curves.of([(spread, pair)])
    margin = np.array([margin_db])
    outage, breaks_hz = float(curves.outage(margin)[0]), float(curves.breaks_hz(margin)[0])
    found = counted(margin_db, k, apart, weaker_db, 40, 20270514)
    assert outage == pytest.approx(found.outage, rel=0.08)
    assert breaks_hz == pytest.approx(found.breaks_hz, rel=0.08)
    assert outage / breaks_hz == pytest.approx(found.break_s, rel=0.08)


def test_the_simulated_branches_have_mean_power_1_and_clarkes_correlation() -> None:
    runs = [powers(seed, 0.0, 0.2) for seed in range(40)]
    one, other = np.concatenate(runs, axis=1)
    assert [one.mean(), other.mean()] == pytest.approx([1.0, 1.0], abs=0.02)
    centred = (one - one.mean()) * (other - other.mean())
    assert centred.mean() / (one.std() * other.std()) == pytest.approx(
        branch_correlation(299.792458, 0.2), abs=0.03
    )
