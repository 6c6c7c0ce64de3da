"""Availability and breaks against simulations that know nothing of the formulas: seeded, with stated tolerances."""

from __future__ import annotations

import functools
import math

import numpy as np
import pytest
from scipy import optimize, special, stats

from linkwright.physics.fading import branch_correlation, cycles, diversity_crossing_rate_hz
from linkwright.reach.curves import FIRST_ZERO, Pair, spread_nodes
from linkwright.reach.hold import Place, holding
from linkwright.reach.path import Spread, SpreadKind
from linkwright.units import FloatArray

DRAWS = 400_000
ComplexArray = np.ndarray[tuple[int, ...], np.dtype[np.complex128]]


# The cells that stand for the spread of the local mean.


@pytest.mark.parametrize("sigma_db", [1.0, 2.69, 7.0, 9.05])
def test_normal_spread_has_its_quantiles_mean_and_deviation(sigma_db: float) -> None:
    offset, weight = spread_nodes("normal", sigma_db)
    assert float(weight.sum()) == pytest.approx(1.0, abs=1e-12)
    assert float(weight @ offset) == pytest.approx(0.0, abs=0.001 * sigma_db)
    assert math.sqrt(float(weight @ offset**2)) == pytest.approx(sigma_db, rel=0.005)
    order = np.argsort(offset)
    below = np.cumsum(weight[order]) - weight[order] / 2.0
    assert below == pytest.approx(stats.norm.cdf(offset[order], scale=sigma_db), abs=1e-9)
    # The mean of the loss as a ratio, where the bad end counts most: that of a log-normal.
    scale = sigma_db * math.log(10.0) / 10.0
    assert float(weight @ 10.0 ** (-offset / 10.0)) == pytest.approx(float(stats.lognorm.mean(scale)), rel=0.05)


def test_line_of_sight_spread_is_a_rayleigh_variable_about_its_median() -> None:
    """P.1411 section 4.3.1: the loss exceeds its median by 1.5624 x 7 dB times (a Rayleigh variable - 1.1774)."""
    offset, weight = spread_nodes("sight", 7.0)
    expected = stats.rayleigh(loc=-1.5624 * 7.0 * 1.1774, scale=1.5624 * 7.0)
    assert float(weight.sum()) == pytest.approx(1.0, abs=1e-12)
    assert float(weight @ -offset) == pytest.approx(float(expected.mean()), abs=0.01)
    assert math.sqrt(float(weight @ (offset - weight @ offset) ** 2)) == pytest.approx(
        float(expected.std()), rel=0.005
    )
    order = np.argsort(-offset)
    below = np.cumsum(weight[order]) - weight[order] / 2.0
    assert below == pytest.approx(expected.cdf(-offset[order]), abs=1e-6)


# Availability.


def scattered(draw: np.random.Generator) -> ComplexArray:
    """Independent complex Gaussian amplitudes of mean power 1."""
    return np.asarray((draw.normal(size=DRAWS) + 1j * draw.normal(size=DRAWS)) / math.sqrt(2.0))


def simulated_outage(margin_db: float, kind: SpreadKind, sigma_db: float, k: float, rho: float | None) -> float:
    """Share of draws in which no branch has what it needs: mean by spread, steady wave and scattered ones."""
    draw = np.random.default_rng(20270514)
    if kind == "normal":
        offset_db = draw.normal(0.0, sigma_db, DRAWS)
    else:
        offset_db = -1.5624 * sigma_db * (draw.rayleigh(1.0, DRAWS) - 1.1774)
    steady, rest = math.sqrt(k / (k + 1.0)), math.sqrt(1.0 / (k + 1.0))
    first = scattered(draw)
    best = np.abs(steady + rest * first) ** 2
    if rho is not None:
        second = math.sqrt(rho) * first + math.sqrt(1.0 - rho) * scattered(draw)
        best = np.maximum(best, np.abs(steady + rest * second) ** 2)
    return float(np.mean(10.0 * np.log10(best) + margin_db + offset_db < 0.0))


def apart_for(rho: float) -> float:
    """The least spacing in wavelengths at which powers are correlated by `rho` (Clarke)."""
    return float(optimize.brentq(lambda c: special.j0(2.0 * math.pi * c) - math.sqrt(rho), 0.0, FIRST_ZERO))


def interval(share: float) -> float:
    """Four standard deviations of a share counted in the draws."""
    return 4.0 * math.sqrt(max(share, 10.0 / DRAWS) / DRAWS)


@pytest.mark.parametrize("margin_db", [0.0, 10.0, 20.0])
@pytest.mark.parametrize(
    ("kind", "sigma_db", "k", "rho"),
    [
        ("normal", 7.0, 0.0, None),
        ("normal", 7.0, 0.0, 0.0),
        ("normal", 7.0, 0.0, 0.412),
        ("normal", 7.0, 0.0, 0.9),
        ("normal", 3.0, 4.0, None),
        ("normal", 3.0, 4.0, 0.0),
        ("sight", 7.0, 2.0, None),
        ("sight", 7.0, 2.0, 0.0),
    ],
)
def test_availability_is_as_simulated(
    margin_db: float, kind: SpreadKind, sigma_db: float, k: float, rho: float | None
) -> None:
    expected = simulated_outage(margin_db, kind, sigma_db, k, rho)
    pair = None if rho is None else Pair(apart_for(rho))
    found = holding([Place(margin_db, Spread(kind, sigma_db, k, "assumed", "-"), pair)], 2.8)
    assert 1.0 - found.availability == pytest.approx(expected, abs=interval(expected))


def simulated_pair_outage(margin_db: float, sigma_db: float, k: float, apart: float, weaker_db: float) -> float:
    """The same for two branches `apart` wavelengths: a steady wave from any side, the others from all around."""
    draw = np.random.default_rng(20270514)
    offset_db = draw.normal(0.0, sigma_db, DRAWS)
    steady, rest = math.sqrt(k / (k + 1.0)), math.sqrt(1.0 / (k + 1.0))
    alike = float(special.j0(2.0 * math.pi * apart))
    first = scattered(draw)
    second = alike * first + math.sqrt(1.0 - alike * alike) * scattered(draw)
    later = np.exp(2j * math.pi * apart * np.cos(draw.uniform(0.0, 2.0 * math.pi, DRAWS)))
    other = np.abs(steady * later + rest * second) ** 2 * 10.0 ** (-weaker_db / 10.0)
    best = np.maximum(np.abs(steady + rest * first) ** 2, other)
    return float(np.mean(10.0 * np.log10(best) + margin_db + offset_db < 0.0))


@pytest.mark.parametrize("margin_db", [0.0, 5.0, 10.0, 15.0])
@pytest.mark.parametrize("k", [0.0, 2.0, 4.0])
@pytest.mark.parametrize(("spacing_m", "weaker_db"), [(0.05, 0.0), (0.15, 0.0), (0.3, 0.0), (1.0, 0.0), (0.3, 6.0)])
def test_correlated_branches_with_a_steady_wave_are_as_simulated(
    margin_db: float, k: float, spacing_m: float, weaker_db: float
) -> None:
    """At 600 MHz; four standard deviations of the count, and a hundredth for the tables."""
    apart = cycles(600.0, spacing_m)
    expected = simulated_pair_outage(margin_db, 3.0, k, apart, weaker_db)
    place = Place(margin_db, Spread("normal", 3.0, k, "assumed", "-"), Pair(apart, weaker_db))
    found = holding([place], 2.8)
    assert 1.0 - found.availability == pytest.approx(expected, rel=0.01, abs=interval(expected))


# Breaks.

DOPPLER_HZ = 2.8
SAMPLES, SAMPLES_A_CYCLE = 2**21, 256


@functools.lru_cache(maxsize=2)
def waves(seed: int, apart_cycles: float = 0.0) -> tuple[ComplexArray, ComplexArray]:
    """Two branches on their way through waves from all around, as sums of sinusoids; amplitudes over time.

    Each sinusoid is the pair of directions, left and right of the way, that have its Doppler shift; the second
    branch is `apart_cycles` wavelengths to the side. The shares of power are exact: an arc's share of the circle.
    """
    draw = np.random.default_rng(seed)
    share = np.arange(SAMPLES) / SAMPLES * SAMPLES_A_CYCLE
    shift = np.where(share > SAMPLES_A_CYCLE / 2, share - SAMPLES_A_CYCLE, share)  # in units of the largest
    half = 0.5 * SAMPLES_A_CYCLE / SAMPLES
    arc = np.arcsin(np.clip(shift + half, -1.0, 1.0)) - np.arcsin(np.clip(shift - half, -1.0, 1.0))
    amplitude = np.sqrt(arc / math.pi / 2.0) * SAMPLES
    left, right = (
        amplitude * (draw.normal(size=SAMPLES) + 1j * draw.normal(size=SAMPLES)) / math.sqrt(2.0) for _ in range(2)
    )
    sideways = np.exp(2j * math.pi * apart_cycles * np.sqrt(np.clip(1.0 - shift**2, 0.0, 1.0)))
    one = np.fft.ifft(left + right)
    return one, np.fft.ifft(left * sideways + right / sideways) if apart_cycles else one


def falls_per_second(power: FloatArray, threshold: float) -> float:
    """How often a power falls through the threshold."""
    below = power < threshold
    falls = np.count_nonzero(below[1:] & ~below[:-1])
    return float(falls / (SAMPLES / SAMPLES_A_CYCLE / DOPPLER_HZ))


def test_the_simulated_waves_have_power_1_and_the_correlation_of_their_distance() -> None:
    one, two = waves(3, 0.2)
    assert float(np.mean(np.abs(one) ** 2)) == pytest.approx(1.0, abs=0.03)
    correlation = np.corrcoef(np.abs(one) ** 2, np.abs(two) ** 2)[0, 1]
    assert float(correlation) == pytest.approx(branch_correlation(299.792458, 0.2), abs=0.03)


@pytest.mark.parametrize("x", [0.03, 0.1, 0.5, 1.0])
def test_one_branch_breaks_as_often_as_simulated(x: float) -> None:
    one, _ = waves(1)
    expected = falls_per_second(np.abs(one) ** 2, x)
    assert float(diversity_crossing_rate_hz(x, 0.0, None, DOPPLER_HZ)) == pytest.approx(expected, rel=0.04)


@pytest.mark.parametrize("x", [0.1, 0.3, 1.0])
def test_the_better_of_two_independent_branches_breaks_as_often_as_simulated(x: float) -> None:
    one, other = waves(1)[0], waves(2)[0]
    expected = falls_per_second(np.maximum(np.abs(one) ** 2, np.abs(other) ** 2), x)
    assert float(diversity_crossing_rate_hz(x, 0.0, FIRST_ZERO, DOPPLER_HZ)) == pytest.approx(expected, rel=0.08)


@pytest.mark.parametrize("x", [0.1, 0.3, 1.0])
@pytest.mark.parametrize("spacing_m", [0.1, 0.3])
def test_the_better_of_two_branches_side_by_side_breaks_as_often_as_simulated(x: float, spacing_m: float) -> None:
    """At 600 MHz, across the way."""
    apart = cycles(600.0, spacing_m)
    one, other = waves(1, apart)
    expected = falls_per_second(np.maximum(np.abs(one) ** 2, np.abs(other) ** 2), x)
    assert float(diversity_crossing_rate_hz(x, 0.0, apart, DOPPLER_HZ)) == pytest.approx(expected, rel=0.08)


@pytest.mark.parametrize("x", [0.1, 0.3, 1.0])
@pytest.mark.parametrize("k", [2.0, 4.0])
def test_with_a_steady_wave_the_better_of_two_breaks_as_often_as_simulated(x: float, k: float) -> None:
    """15 cm apart at 600 MHz, across the way; the steady wave from eight sides in turn, without a Doppler shift."""
    apart = cycles(600.0, 0.15)
    one, other = waves(1, apart)
    steady, rest = math.sqrt(k / (k + 1.0)), math.sqrt(1.0 / (k + 1.0))
    found = []
    for side in (np.arange(8) + 0.5) * math.pi / 8.0:
        later = np.exp(2j * math.pi * apart * math.cos(side))
        best = np.maximum(np.abs(steady + rest * one) ** 2, np.abs(steady * later + rest * other) ** 2)
        found.append(falls_per_second(best, x))
    expected = float(np.mean(found))
    assert float(diversity_crossing_rate_hz(x, k, apart, DOPPLER_HZ)) == pytest.approx(expected, rel=0.1)
