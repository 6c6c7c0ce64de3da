"""Breaks of a walking talent by hand and by Rice's general formula, against the shipped tables."""

from __future__ import annotations

import math

import numpy as np
import pytest

from linkwright.physics.fading import crossing_rate_hz
from linkwright.physics.harm import Kinds, harm_curves, read_curves
from linkwright.reach.hand import margins_for

RAYLEIGH, INDEPENDENT, WALKING_HZ = -12.0, 6.0, 2.8
BY_HAND = "by hand, two independent Rayleigh branches: 3600 x 2 x sqrt(2 pi x) fd breaks an hour, x = 10^(-m/10)"


def seconds_an_hour(margin_db: float, kinds: Kinds) -> float:
    return float(np.exp(read_curves(harm_curves(kinds), np.int64(0), np.asarray(margin_db))))


def needed_db(kinds: Kinds, breaks_per_hour: float = 2.0) -> float:
    return float(margins_for(harm_curves(kinds), np.array([math.log(breaks_per_hour)]))[0])


@pytest.mark.arithmetic(BY_HAND + ": 50, 9 and 1.6 at 20, 25 and 30 dB and 2.8 Hz")
@pytest.mark.parametrize(("margin_db", "an_hour"), [(20.0, 50.5), (25.0, 8.99), (30.0, 1.60)])
def test_breaks_of_two_independent_branches(margin_db: float, an_hour: float) -> None:
    kinds = Kinds.of(RAYLEIGH, INDEPENDENT, 0.0, WALKING_HZ, 0.0)
    assert seconds_an_hour(margin_db, kinds) == pytest.approx(an_hour, rel=0.03)


@pytest.mark.arithmetic(BY_HAND + "; bridging 3 ms, 27.1 to 27.4 dB keep to two an hour")
def test_what_two_independent_branches_need() -> None:
    assert 27.0 <= needed_db(Kinds.of(RAYLEIGH, INDEPENDENT, 0.0, WALKING_HZ, 3.0)) <= 27.5


@pytest.mark.arithmetic("by hand, one Rayleigh branch, two breaks an hour: 82 dB unbridged, 44.5 dB bridging 3 ms")
@pytest.mark.parametrize(("bridges_ms", "needed"), [(0.0, 82.0), (3.0, 44.5)])
def test_what_one_branch_needs(bridges_ms: float, needed: float) -> None:
    assert needed_db(Kinds.of(RAYLEIGH, 0.0, 0.0, WALKING_HZ, bridges_ms)) == pytest.approx(needed, abs=0.3)


@pytest.mark.published(
    "S. O. Rice, Bell System Technical Journal 27 (1948), section 3: K = 6 dB, 20 dB of margin, towards the sender "
    "0.0374 fd, by simulation 0.0366; K = 3 dB 0.1436 and 0.1436"
)
@pytest.mark.parametrize(("k_db", "rate", "simulated"), [(6.0, 0.0374, 0.0366), (3.0, 0.1436, 0.1436)])
def test_crossings_where_the_steady_wave_moves(k_db: float, rate: float, simulated: float) -> None:
    found = float(crossing_rate_hz(0.01, 10.0 ** (k_db / 10.0), 1.0, towards=1.0))
    assert found == pytest.approx(rate, abs=5e-5)
    assert found == pytest.approx(simulated, rel=0.03)


@pytest.mark.published(
    "Stuber, Principles of Mobile Communication, chapter 2: a steady wave without Doppler shift, K = 6 dB at 20 dB "
    "0.0120 fd, K = 3 dB 0.0607 fd"
)
@pytest.mark.parametrize(("k_db", "rate"), [(6.0, 0.0120), (3.0, 0.0607)])
def test_crossings_where_the_steady_wave_stands(k_db: float, rate: float) -> None:
    assert float(crossing_rate_hz(0.01, 10.0 ** (k_db / 10.0), 1.0, towards=0.0)) == pytest.approx(rate, abs=5e-5)
