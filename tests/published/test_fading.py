"""Fading, diversity and level crossings, one a value, with the book or the identity it comes from."""

from __future__ import annotations

import pytest

from linkwright.physics.fading import (
    branch_correlation,
    correlation_of,
    crossing_rate_hz,
    diversity_outage,
    marcum_q1,
    mean_fade_s,
    rayleigh_outage,
    rice_outage,
    selection_outage,
)

#: A threshold of 7 dB against a mean of 15 dB, as a ratio of powers.
GOLDSMITH_X = 10.0**-0.8
SIX_DB = 10.0**0.6


@pytest.mark.published("Goldsmith, Wireless Communications, example 7.1: one branch, outage 0.1466")
def test_one_branch_8_db_under_the_mean() -> None:
    assert float(rayleigh_outage(GOLDSMITH_X)) == pytest.approx(0.1466, abs=0.0001)


@pytest.mark.published("Goldsmith, Wireless Communications, example 7.1: two branches, outage 0.0215")
def test_two_branches_8_db_under_the_mean() -> None:
    assert float(selection_outage(GOLDSMITH_X, 0.0)) == pytest.approx(0.0215, abs=0.0001)


@pytest.mark.arithmetic("exact, Rayleigh: 1 - exp(-0.1) = 0.0952")
def test_one_branch_with_10_db_of_margin() -> None:
    assert float(rayleigh_outage(0.1)) == pytest.approx(0.0952, abs=0.0001)


@pytest.mark.arithmetic("Schwartz, Bennett and Stein, chapter 10: x = 0.1, rho = 0.5, 0.016506 (computed)")
def test_two_branches_correlated_by_half() -> None:
    assert float(selection_outage(0.1, 0.5)) == pytest.approx(0.016506, abs=1e-6)


@pytest.mark.arithmetic("Schwartz, Bennett and Stein, chapter 10: x = 0.1, rho = 0.9, 0.046791 (computed)")
def test_two_branches_correlated_by_nine_tenths() -> None:
    assert float(selection_outage(0.1, 0.9)) == pytest.approx(0.046791, abs=1e-6)


@pytest.mark.arithmetic("the same through the general function: x = 0.1, rho = 0.5, K = 0, 0.016506 (computed)")
def test_two_rayleigh_branches_by_the_general_function() -> None:
    apart = 0.179266  # wavelengths: J0(2 pi c)^2 = 0.5
    assert correlation_of(apart) == pytest.approx(0.5, abs=1e-5)
    assert float(diversity_outage(0.1, 0.0, apart)) == pytest.approx(0.016506, abs=1e-6)


@pytest.mark.arithmetic("Rice distribution: K = 6 dB at -15 dB, outage 0.003641 (computed)")
def test_rice_6_db_at_15_db_under_the_mean() -> None:
    assert float(rice_outage(10.0**-1.5, SIX_DB)) == pytest.approx(0.003641, abs=1e-6)


@pytest.mark.arithmetic("Marcum's Q: Q1(0, b) = exp(-b^2/2), b = 2: 0.135335")
def test_marcum_q_without_a_steady_wave() -> None:
    assert float(marcum_q1(0.0, 2.0)) == pytest.approx(0.135335, abs=1e-6)


@pytest.mark.arithmetic("Clarke, J0(2 pi d / lambda)^2: 600 MHz, 10 cm, 0.412")
def test_branches_10_cm_apart() -> None:
    assert branch_correlation(600.0, 0.10) == pytest.approx(0.412, abs=0.001)


@pytest.mark.arithmetic("Clarke, J0(2 pi d / lambda)^2: 600 MHz, 15 cm, 0.084")
def test_branches_15_cm_apart() -> None:
    assert branch_correlation(600.0, 0.15) == pytest.approx(0.084, abs=0.001)


@pytest.mark.published("Rappaport, Wireless Communications, chapter 5: fd 20 Hz, r = 1, 18.44 crossings a second")
def test_crossings_of_the_rms_level() -> None:
    assert float(crossing_rate_hz(1.0, 0.0, 20.0)) == pytest.approx(18.44, abs=0.01)


@pytest.mark.published("Rappaport, Wireless Communications, chapter 5: fd 200 Hz, r = 0.01, 19.9 us")
def test_mean_fade_40_db_under() -> None:
    assert mean_fade_s(0.01, 200.0) == pytest.approx(19.9e-6, abs=0.1e-6)


@pytest.mark.published("Rappaport, Wireless Communications, chapter 5: fd 200 Hz, r = 0.1, 200 us")
def test_mean_fade_20_db_under() -> None:
    assert mean_fade_s(0.1, 200.0) == pytest.approx(200e-6, abs=1e-6)


@pytest.mark.published("Rappaport, Wireless Communications, chapter 5: fd 200 Hz, r = 1, 3.43 ms")
def test_mean_fade_at_the_rms_level() -> None:
    assert mean_fade_s(1.0, 200.0) == pytest.approx(3.43e-3, abs=0.01e-3)
