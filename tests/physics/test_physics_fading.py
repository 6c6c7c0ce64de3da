"""Laws of the fading functions, and their values against other implementations."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, special, stats

from linkwright.physics.fading import (
    branch_correlation,
    crossing_rate_hz,
    diversity_outage,
    marcum_q1,
    mean_fade_s,
    rayleigh_outage,
    rice_outage,
    selection_outage,
)

x_values = st.floats(1e-6, 100.0)
k_values = st.floats(0.0, 30.0)
rho_values = st.floats(0.0, 1.0)
#: Spacings of two branches in wavelengths.
spacings = st.floats(0.0, 3.0)


@settings(max_examples=40, deadline=None)
@given(x_values, k_values, st.none() | spacings)
def test_outage_is_a_share(x: float, k: float, apart: float | None) -> None:
    assert 0.0 <= float(diversity_outage(x, k, apart)) <= 1.0


@settings(max_examples=40, deadline=None)
@given(x_values, st.floats(1.0, 10.0), k_values, st.none() | spacings)
def test_outage_grows_with_the_threshold(x: float, more: float, k: float, apart: float | None) -> None:
    assert float(diversity_outage(x * more, k, apart)) >= float(diversity_outage(x, k, apart)) - 1e-12


@settings(max_examples=40, deadline=None)
@given(x_values, k_values, spacings)
def test_two_branches_are_never_worse_than_one(x: float, k: float, apart: float) -> None:
    assert float(diversity_outage(x, k, apart)) <= float(diversity_outage(x, k, None))


@given(x_values, rho_values, rho_values)
def test_less_correlation_is_never_worse(x: float, a: float, b: float) -> None:
    low, high = sorted([a, b])
    assert float(selection_outage(x, low)) <= float(selection_outage(x, high)) + 1e-9


@given(st.floats(1e-4, 20.0))
def test_independent_branches_fail_as_often_as_both_fail(x: float) -> None:
    assert float(selection_outage(x, 0.0)) == pytest.approx(float(rayleigh_outage(x)) ** 2, rel=1e-9, abs=1e-15)


@given(st.floats(1e-3, 20.0), k_values)
def test_rice_is_the_distribution_of_another_library(x: float, k: float) -> None:
    """scipy.stats.rice: amplitude with shape b, mean power 2 + b^2 at scale 1."""
    b = math.sqrt(2.0 * k)
    expected = float(stats.rice.cdf(math.sqrt(x * (2.0 + b * b)), b))
    assert float(rice_outage(x, k)) == pytest.approx(expected, rel=1e-6, abs=1e-12)


@pytest.mark.parametrize(("a", "b"), [(0.0, 1.0), (0.5, 0.2), (1.0, 2.0), (3.0, 2.5), (2.0, 6.0)])
def test_marcum_q_is_its_integral(a: float, b: float) -> None:
    tail, _ = integrate.quad(lambda t: t * math.exp(-((t - a) ** 2) / 2.0) * special.i0e(a * t), b, b + 60.0)
    assert float(marcum_q1(a, b)) == pytest.approx(tail, rel=1e-7, abs=1e-12)


@pytest.mark.parametrize("x", [0.02, 0.3, 1.0, 4.0])
@pytest.mark.parametrize("rho", [0.1, 0.5, 0.9, 0.99])
def test_selection_is_the_integral_of_two_correlated_branches(x: float, rho: float) -> None:
    """Given one branch's power u, the other's is a noncentral chi-square of two degrees (its definition)."""

    def both_below(u: float) -> float:
        other = stats.ncx2.cdf(2.0 * x / (1.0 - rho), 2.0, 2.0 * rho * u / (1.0 - rho))
        return float(math.exp(-u) * other)

    expected, _ = integrate.quad(both_below, 0.0, x, limit=200)
    assert float(selection_outage(x, rho)) == pytest.approx(expected, rel=1e-5, abs=1e-10)


def test_a_correlation_beyond_one_is_refused() -> None:
    with pytest.raises(ValueError, match=r"lies in 0\.\.1: 1\.5"):
        selection_outage(0.1, 1.5)


def test_the_ends_of_the_correlation_are_one_branch_and_two() -> None:
    x = np.array([0.01, 0.1, 1.0])
    assert diversity_outage(x, 0.0, 0.0) == pytest.approx(rayleigh_outage(x))
    assert branch_correlation(600.0, 0.0) == 1.0


@given(st.floats(0.01, 3.0), st.floats(0.5, 200.0))
def test_crossings_times_mean_fade_is_the_outage(r: float, doppler: float) -> None:
    share = float(crossing_rate_hz(r * r, 0.0, doppler)) * mean_fade_s(r, doppler)
    assert share == pytest.approx(float(rayleigh_outage(r * r)), rel=1e-9)


@settings(max_examples=40, deadline=None)
@given(x_values, k_values, st.none() | st.floats(-1.0, 1.0), st.floats(0.1, 200.0))
def test_a_crossing_rate_is_finite_and_grows_with_the_speed(
    x: float, k: float, towards: float | None, doppler: float
) -> None:
    slow = float(crossing_rate_hz(x, k, doppler, towards))
    assert math.isfinite(slow)
    assert slow >= 0.0
    assert float(crossing_rate_hz(x, k, 2.0 * doppler, towards)) == pytest.approx(2.0 * slow)


@given(x_values, st.floats(0.0, 10.0))
def test_crossings_over_all_ways_lie_between_those_across_and_along(x: float, k: float) -> None:
    across, along = (float(crossing_rate_hz(x, k, 1.0, towards)) for towards in (0.0, 1.0))
    assert across * (1.0 - 1e-9) <= float(crossing_rate_hz(x, k, 1.0)) <= along * (1.0 + 1e-9) + 1e-300


@pytest.mark.parametrize("x", [0.02, 0.1, 0.4, 1.0])
@pytest.mark.parametrize(("k", "apart", "weaker_db"), [(4.0, 0.15, 0.0), (2.0, 0.6, 0.0), (4.0, 0.3, 6.0)])
def test_a_pair_with_a_steady_wave_is_its_integral(x: float, k: float, apart: float, weaker_db: float) -> None:
    """The joint density of two amplitudes, integrated over the first one's disc by another rule."""
    alike = float(special.j0(2.0 * math.pi * apart))
    steady, scattered, left = math.sqrt(k / (k + 1.0)), 1.0 / (k + 1.0), (1.0 - alike**2) / (k + 1.0)
    node, weight = np.polynomial.legendre.leggauss(60)
    radius = (node + 1.0) / 2.0 * math.sqrt(x)
    angle = (np.arange(80) + 0.5) * math.pi / 40.0
    first = radius[:, None] * np.exp(1j * angle[None, :])
    density = np.exp(-(np.abs(first - steady) ** 2) / scattered) / (math.pi * scattered) * radius[:, None]
    total = 0.0
    for direction in (np.arange(64) + 0.5) * math.pi / 64.0:
        later = steady * np.exp(2j * math.pi * apart * math.cos(direction))
        mean = later + alike * (first - steady)
        below = stats.ncx2.cdf(2.0 * x * 10.0 ** (weaker_db / 10.0) / left, 2.0, 2.0 * np.abs(mean) ** 2 / left)
        total += float((weight @ (density * below)).sum()) * math.sqrt(x) / 2.0 * (math.pi / 40.0) / 64.0
    assert float(diversity_outage(x, k, apart, weaker_db)) == pytest.approx(total, rel=2e-3)
