"""The tables and the cases against draws that know nothing of the formulas: seeded, with stated tolerances."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import special, stats

from linkwright.physics.fading import cycles
from linkwright.physics.harm import Kinds, outage_curves, read_curves
from linkwright.reach.doubt import CASES, LOCATIONS, SHARED, Own, alike, case_at, cases, laid
from linkwright.shoot.place import Site

DRAWS = 400_000
ComplexArray = np.ndarray[tuple[int, ...], np.dtype[np.complex128]]


def told_outage(margin_db: float, kinds: Kinds) -> float:
    return float(np.exp(read_curves(outage_curves(kinds), np.int64(0), np.asarray(margin_db))))


def scattered(draw: np.random.Generator) -> ComplexArray:
    """Independent complex Gaussian amplitudes of mean power 1."""
    return np.asarray((draw.normal(size=DRAWS) + 1j * draw.normal(size=DRAWS)) / math.sqrt(2.0))


def interval(share: float) -> float:
    """Four standard deviations of a share counted in the draws."""
    return 4.0 * math.sqrt(max(share, 10.0 / DRAWS) / DRAWS)


def simulated_pair_outage(margin_db: float, k: float, apart: float, weaker_db: float) -> float:
    """Two branches `apart` wavelengths: a steady wave from any side, the others from all around."""
    draw = np.random.default_rng(20270514)
    steady, rest = math.sqrt(k / (k + 1.0)), math.sqrt(1.0 / (k + 1.0))
    correlation = float(special.j0(2.0 * math.pi * apart))
    first = scattered(draw)
    second = correlation * first + math.sqrt(1.0 - correlation * correlation) * scattered(draw)
    later = np.exp(2j * math.pi * apart * np.cos(draw.uniform(0.0, 2.0 * math.pi, DRAWS)))
    other = np.abs(steady * later + rest * second) ** 2 * 10.0 ** (-weaker_db / 10.0)
    best = np.maximum(np.abs(steady + rest * first) ** 2, other)
    return float(np.mean(10.0 * np.log10(best) + margin_db < 0.0))


@pytest.mark.parametrize("margin_db", [0.0, 5.0, 10.0, 15.0])
@pytest.mark.parametrize("k", [0.0, 2.0, 4.0])
@pytest.mark.parametrize(("spacing_m", "weaker_db"), [(0.05, 0.0), (0.15, 0.0), (0.3, 0.0), (1.0, 0.0), (0.3, 6.0)])
def test_correlated_branches_with_a_steady_wave_are_as_simulated(
    margin_db: float, k: float, spacing_m: float, weaker_db: float
) -> None:
    """At 600 MHz; four standard deviations of the count, and what lies between the tables' points."""
    apart = cycles(600.0, spacing_m)
    expected = simulated_pair_outage(margin_db, k, apart, weaker_db)
    kinds = Kinds.of(10.0 * math.log10(k) if k > 0.0 else -12.0, apart, weaker_db, 2.8, 3.0)
    assert told_outage(margin_db, kinds) == pytest.approx(expected, rel=0.06, abs=interval(expected))


# Cases.


def test_cases_are_one_fixed_set_of_normal_parts_without_correlation() -> None:
    first, more = cases(6), cases(40)
    assert first.shape == (CASES, 6)
    assert np.array_equal(first, more[:, :6])
    assert more.mean(axis=0) == pytest.approx(np.zeros(40), abs=0.02)
    assert more.T @ more / CASES == pytest.approx(np.eye(40), abs=0.01)
    for column in first.T:
        assert stats.kstest(column, "norm").statistic < 0.06


@pytest.mark.parametrize("sure", [0.5, 0.8, 0.9, 0.95])
def test_a_sum_of_parts_has_the_quantile_of_its_normal_distribution(sure: float) -> None:
    """Body 3, kit 2.5 and a place's 5 dB: 6.34 dB in all."""
    total = cases(4) @ np.array([3.0, 2.5, 0.0, 5.0])
    expected = stats.norm.ppf(1.0 - sure) * math.sqrt(3.0**2 + 2.5**2 + 5.0**2)
    assert np.sort(total)[case_at(1.0 - sure)] == pytest.approx(expected, abs=0.6)
    plain = laid(Own(np.array([5.0]), np.array([False])), np.array([math.hypot(3.0, 2.5)]), total[:, None])
    assert np.sort(plain[:, 0])[case_at(1.0 - sure)] == pytest.approx(expected, abs=0.1)
    assert np.argsort(plain[:, 0]).tolist() == np.argsort(total).tolist()


def test_the_sight_law_with_common_parts_has_the_quantiles_of_draws() -> None:
    rng = np.random.default_rng(20270514)
    drawn = -1.5624 * 7.0 * (rng.rayleigh(size=DRAWS) - 1.1774) + rng.normal(0.0, 3.9, DRAWS)
    found = laid(Own(np.array([7.0]), np.array([True])), np.array([3.9]), cases(1))[:, 0]
    for share in (0.05, 0.1, 0.3, 0.5, 0.8):
        assert np.sort(found)[case_at(share)] == pytest.approx(float(np.quantile(drawn, share)), abs=0.15)


def test_the_sight_law_is_a_rayleigh_variable_about_its_median_and_ends_where_it_is_known() -> None:
    """P.1411 section 4.3.1: the loss exceeds its median by 1.5624 x 7 dB times (a Rayleigh variable - 1.1774)."""
    law = stats.rayleigh(loc=-1.5624 * 7.0 * 1.1774, scale=1.5624 * 7.0)
    own = Own(np.array([7.0]), np.array([True]))
    score = stats.norm.ppf(np.array([0.05, 0.3, 0.5, 0.9]))[:, None]
    assert -own.deviation_db(-score)[:, 0] == pytest.approx(law.ppf([0.05, 0.3, 0.5, 0.9]), abs=0.01)
    ends = own.deviation_db(np.array([[-6.0], [6.0]]))[:, 0]
    assert -ends == pytest.approx(law.ppf([LOCATIONS[1], LOCATIONS[0]]), abs=0.01)
    assert float(own.spread_db[0]) == pytest.approx(float(law.std()), rel=1e-3)


def test_places_are_alike_by_their_distance_and_by_the_site() -> None:
    talents = np.array([[0.0, 0.0, 1.5], [10.0, 0.0, 1.5], [1e4, 0.0, 1.5]])
    found = alike(Site(name="S"), talents, np.zeros((3, 3)))
    assert np.diag(found).tolist() == [1.0, 1.0, 1.0]
    assert found[0, 1] == pytest.approx(SHARED + (1.0 - SHARED) * math.exp(-1.0))
    assert found[0, 2] == pytest.approx(SHARED)
    inside = alike(Site(name="S", surroundings="office"), talents, np.zeros((3, 3)))
    assert inside[0, 1] < found[0, 1]
