"""Seconds an hour that hold a break, against walks in time through sums of sinusoids; seeded."""

from __future__ import annotations

import numpy as np
import pytest
from bench.fading_in_time import amplitudes, counted

from linkwright.physics.fading import branch_correlation
from linkwright.physics.harm import Kinds, harm_curves, outage_curves, read_curves

ONE = np.int64(0)
#: Walking at 600 MHz [Hz].
DOPPLER_HZ = 2.8


@pytest.mark.parametrize(
    ("k_db", "apart", "weaker_db", "margin_db", "bridges_ms"),
    [
        (-12.0, None, 0.0, 18.0, 3.0), (-12.0, None, 0.0, 24.0, 0.0), (-9.0, None, 0.0, 20.0, 3.0),
        (0.0, None, 0.0, 18.0, 3.0), (3.0, None, 0.0, 17.0, 3.0), (6.0, None, 0.0, 14.0, 3.0),
        (9.0, None, 0.0, 8.0, 3.0), (-12.0, 0.38, 0.0, 10.0, 3.0), (-12.0, 0.15, 0.0, 12.0, 0.0),
        (-9.0, 0.6, 0.0, 10.0, 3.0), (-12.0, 0.6, 6.0, 12.0, 3.0), (0.0, 0.3, 0.0, 9.0, 3.0),
        (3.0, 0.15, 0.0, 10.0, 3.0), (6.0, 0.3, 3.0, 8.0, 3.0), (9.0, 0.6, 0.0, 6.0, 3.0),
    ],
)  # fmt: skip
def test_what_is_told_is_what_is_counted_in_time(
    k_db: float, apart: float | None, weaker_db: float, margin_db: float, bridges_ms: float
) -> None:
    """80 runs of a minute, each a field with directions of its own; within three standard deviations of the
    count."""
    k = 0.0 if k_db <= -12.0 else 10.0 ** (k_db / 10.0)
    kinds = Kinds.of(k_db, apart or 0.0, weaker_db, DOPPLER_HZ, bridges_ms)
    at = np.asarray(margin_db)
    told = float(np.exp(read_curves(harm_curves(kinds), ONE, at))) / 3600.0
    outage = float(np.exp(read_curves(outage_curves(kinds), ONE, at)))
    found = counted(margin_db, k, apart, weaker_db, DOPPLER_HZ, bridges_ms, 80, 20270514)
    assert found.seconds.sum() * 60 > 40  # enough of them to be counted
    for says, seen in ((told, found.seconds), (outage, found.outage)):
        mean, deviation = found.told(seen)
        assert deviation < 0.2 * mean
        assert says == pytest.approx(mean, abs=3.0 * deviation + 0.03 * mean)


def test_who_stands_still_loses_the_share_of_time_that_is_lost() -> None:
    kinds = Kinds.of(-12.0, 0.3, 0.0, 1e-6, 3.0)
    for margin_db in (0.0, 6.0, 12.0):
        share = np.exp(read_curves(outage_curves(kinds), ONE, np.asarray(margin_db)))
        told = np.exp(read_curves(harm_curves(kinds), ONE, np.asarray(margin_db)))
        assert float(told) == pytest.approx(3600.0 * float(share), rel=0.01)


def test_the_simulated_branches_have_mean_power_1_and_clarkes_correlation() -> None:
    runs = [np.abs(amplitudes(seed, 0.0, 0.2, 20.0)) ** 2 for seed in range(300)]
    one, other = np.concatenate(runs, axis=1)
    assert [one.mean(), other.mean()] == pytest.approx([1.0, 1.0], abs=0.03)
    centred = (one - one.mean()) * (other - other.mean())
    assert centred.mean() / (one.std() * other.std()) == pytest.approx(
        branch_correlation(299.792458, 0.2), abs=0.05
    )
