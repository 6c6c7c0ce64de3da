"""Basic transmission loss, one a value, with the Recommendation it was computed from."""

from __future__ import annotations

import pytest

from linkwright.physics.pathloss import (
    P1238,
    P1411_URBAN_DB,
    free_space_db,
    p1238_db,
    p1411_sight_distance_m,
    p1411_terminals_db,
)
from linkwright.physics.streets import P1411_STREET, street_db, two_ray


def p1411(distance_m: float, environment: str, share: float) -> float:
    return float(p1411_terminals_db(600.0, distance_m, P1411_URBAN_DB[environment], share))


@pytest.mark.published("ITU-R P.525: 600 MHz, 100 m, 68.011 dB (independent implementation)")
def test_free_space_600_mhz_100_m() -> None:
    assert float(free_space_db(600.0, 100.0)) == pytest.approx(68.011, abs=0.001)


@pytest.mark.published("ITU-R P.525: 1 MHz, 1 km, 32.4478 dB")
def test_free_space_constant() -> None:
    assert float(free_space_db(1.0, 1000.0)) == pytest.approx(32.4478, abs=0.0001)


@pytest.mark.own("worked chain, computed independently: 17 dBm - 10 dB body, 50 m, 600 MHz: C -54.99 dBm")
def test_wanted_level_of_the_worked_chain() -> None:
    assert 17.0 - 10.0 - float(free_space_db(600.0, 50.0)) == pytest.approx(-54.99, abs=0.01)


@pytest.mark.published(
    "ITU-R P.1411 section 4.3.1: 600 MHz, 100 m, suburban, 50 %: 94.517 dB (independent implementation)"
)
def test_p1411_100_m_suburban_median() -> None:
    assert p1411(100.0, "suburban", 0.5) == pytest.approx(94.517, abs=0.001)


@pytest.mark.published(
    "ITU-R P.1411 section 4.3.1: 600 MHz, 100 m, urban, 90 %: 110.288 dB (independent implementation)"
)
def test_p1411_100_m_urban_90_percent() -> None:
    assert p1411(100.0, "urban", 0.9) == pytest.approx(110.288, abs=0.001)


@pytest.mark.published(
    "ITU-R P.1411 section 4.3.1: 600 MHz, 30 m, suburban, 90 %: 78.694 dB (independent implementation)"
)
def test_p1411_30_m_suburban_90_percent() -> None:
    assert p1411(30.0, "suburban", 0.9) == pytest.approx(78.694, abs=0.001)


@pytest.mark.published("ITU-R P.1411 section 4.3.1, step 5: line of sight at 50 % of locations to 44.2 m")
def test_p1411_sight_distance_at_the_median() -> None:
    assert float(p1411_sight_distance_m(0.5)) == pytest.approx(44.2, abs=0.001)


@pytest.mark.published("ITU-R P.1411 section 4.3.1, step 5: line of sight at 10 % of locations to 276 m")
def test_p1411_sight_distance_at_a_tenth() -> None:
    # By hand: log10(0.1) = -1, 212 + 64.
    assert float(p1411_sight_distance_m(0.1)) == pytest.approx(276.0, abs=0.001)


@pytest.mark.published("ITU-R P.1238-11 site-general: office, sight, 600 MHz, 10 m: 44.72 dB")
def test_p1238_office_with_sight() -> None:
    assert float(p1238_db(P1238["office, sight"], 600.0, 10.0)) == pytest.approx(44.72, abs=0.005)


@pytest.mark.published("ITU-R P.1238-11 site-general: office, no sight, 600 MHz, 20 m: 56.26 dB")
def test_p1238_office_without_sight() -> None:
    assert float(p1238_db(P1238["office, no sight"], 600.0, 20.0)) == pytest.approx(56.26, abs=0.005)


@pytest.mark.published("ITU-R P.1238-11, table of the site-general model: alpha, beta, gamma, sigma")
@pytest.mark.parametrize(
    ("row", "figures"),
    [
        ("office, sight", (1.46, 34.62, 2.03, 3.76)),
        ("office, no sight", (2.46, 29.53, 2.38, 5.04)),
        ("corridor, sight", (1.63, 28.12, 2.25, 4.07)),
        ("corridor, no sight", (2.77, 29.27, 2.48, 7.63)),
        ("industrial, sight", (2.31, 24.52, 2.06, 2.69)),
        ("industrial, no sight", (3.79, 21.01, 1.34, 9.05)),
    ],
)
def test_p1238_table(row: str, figures: tuple[float, float, float, float]) -> None:
    # At 1 GHz and 1 m only beta is left; a decade of distance costs 10 alpha, of frequency 10 gamma.
    alpha, beta, gamma, sigma_db = figures
    at = P1238[row]
    assert float(p1238_db(at, 1000.0, 1.0)) == pytest.approx(beta, abs=1e-9)
    assert float(p1238_db(at, 1000.0, 10.0)) == pytest.approx(beta + 10.0 * alpha, abs=1e-9)
    assert float(p1238_db(at, 10_000.0, 1.0)) == pytest.approx(beta + 10.0 * gamma, abs=1e-9)
    assert at.sigma_db == sigma_db


@pytest.mark.published(
    "ITU-R P.1411, section 4.1.1, residential without sight: reference_p1411.csv of eeveetza/p1411 @1950eda"
)
@pytest.mark.parametrize(
    ("frequency_mhz", "distance_m", "loss_db"),
    [
        (800.0, 30.0, 61.2553125),
        (10_000.0, 100.0, 99.7),
        (28_000.0, 100.0, 108.9561712),
        (73_000.0, 170.0, 124.5072957),
    ],
)
def test_p1411_residential_street(frequency_mhz: float, distance_m: float, loss_db: float) -> None:
    row = P1411_STREET["residential, no sight"]
    assert float(street_db(row, frequency_mhz, distance_m)) == pytest.approx(loss_db, abs=1e-6)


@pytest.mark.published(
    "ITU-R P.1411 section 4.1.2: 600 MHz, 1.5 and 2 m, 100 m: 74.380 / 80.380 / 94.380 dB, break at 24.016 m"
)
def test_two_ray_bounds() -> None:
    found = two_ray(600.0, 100.0, 1.5, 2.0)
    bounds = [float(x) for x in (found.lower_db, found.median_db, found.upper_db, found.break_m)]
    assert bounds == pytest.approx([74.380, 80.380, 94.380, 24.016], abs=0.001)
