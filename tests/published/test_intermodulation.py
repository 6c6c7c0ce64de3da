"""Third-order products: counts, places and levels, one a value, with the identity it comes from."""

from __future__ import annotations

import numpy as np
import pytest

from linkwright.physics.intermodulation import (
    filter_share,
    hits_on,
    products_in_band,
    three_carrier_dbm,
    three_carrier_products,
    two_carrier_dbm,
    two_carrier_products,
)
from linkwright.units import dbm_from_mw, mw_from_dbm

TEN = np.arange(10, dtype=np.int64) * 1000


@pytest.mark.arithmetic("combinatorics: N (N-1), N = 10: 90 products 2A-B")
def test_ten_carriers_have_90_two_carrier_products() -> None:
    assert two_carrier_products(TEN).shape == (90,)


@pytest.mark.arithmetic("combinatorics: N (N-1)(N-2)/2, N = 10: 360 products A+B-C")
def test_ten_carriers_have_360_three_carrier_products() -> None:
    assert three_carrier_products(TEN).shape == (360,)


@pytest.mark.arithmetic("combinatorics: N (N-1) and N (N-1)(N-2)/2, by hand for other N")
@pytest.mark.parametrize(
    ("carriers", "two", "three"),
    [(0, 0, 0), (1, 0, 0), (2, 2, 0), (3, 6, 3), (4, 12, 12), (5, 20, 30), (24, 552, 6072), (100, 9900, 485_100)],
)
def test_counts_of_products(carriers: int, two: int, three: int) -> None:
    comb = np.arange(carriers, dtype=np.int64) * 25
    assert (two_carrier_products(comb).size, three_carrier_products(comb).size) == (two, three)


@pytest.mark.arithmetic("definition: 2A-B and A+B-C of 1, 2, 4, by hand")
def test_products_of_three_carriers_by_hand() -> None:
    carriers = np.array([1, 2, 4])
    assert sorted(two_carrier_products(carriers)) == [-2, 0, 0, 3, 6, 7]
    assert sorted(three_carrier_products(carriers)) == [-1, 3, 5]


@pytest.mark.published("Westcott's closed form for a comb: N = 16, carrier 9: 7 of 2A-B and 77 of A+B-C")
def test_comb_of_16_at_carrier_9() -> None:
    assert hits_on(9, np.arange(1, 17)) == (7, 77)


@pytest.mark.published("Westcott's closed form for a comb: N = 64, carrier 33: 31 of 2A-B and 1457 of A+B-C")
def test_comb_of_64_at_carrier_33() -> None:
    assert hits_on(33, np.arange(1, 65)) == (31, 1457)


@pytest.mark.arithmetic("third-order intercept (form of ITU-R SM.1134): two at -30 dBm, IIP3 0 dBm: -90 dBm")
def test_two_tones_at_30_dbm_under() -> None:
    assert two_carrier_dbm(-30.0, -30.0, 0.0) == pytest.approx(-90.0, abs=1e-9)


@pytest.mark.arithmetic("power series, 6/4 against 3/4 of a3: three at -30 dBm, IIP3 0 dBm: -84 dBm")
def test_three_tones_at_30_dbm_under() -> None:
    assert three_carrier_dbm(-30.0, -30.0, -30.0, 0.0) == pytest.approx(-83.98, abs=0.005)


@pytest.mark.arithmetic("definition of the intercept: at IIP3 itself the product is as strong as the tones")
def test_at_the_intercept_the_product_meets_the_tones() -> None:
    assert two_carrier_dbm(-7.0, -7.0, -7.0) == pytest.approx(-7.0, abs=1e-9)


def enumerated_dbm(carriers_khz: list[int], centre_khz: int) -> float:
    """The sum that the enumeration finds in a filter wide enough for a whole product [dBm]."""
    widths_khz, levels_mw = np.full(len(carriers_khz), 1.0), np.full(len(carriers_khz), mw_from_dbm(-30.0))
    total_mw, _, _ = products_in_band(np.array(carriers_khz), widths_khz, levels_mw, centre_khz, 10.0, 0.0, 1e-30)
    return dbm_from_mw(total_mw)


@pytest.mark.arithmetic("third-order intercept identity, by the enumeration: two at -30 dBm, IIP3 0 dBm: -90 dBm")
def test_enumerated_two_carrier_product() -> None:
    assert enumerated_dbm([1000, 1100], 900) == pytest.approx(-90.0, abs=1e-6)


@pytest.mark.arithmetic("power series, by the enumeration: three at -30 dBm, IIP3 0 dBm: -84 dBm")
def test_enumerated_three_carrier_product() -> None:
    # 1000 + 1100 - 1400 = 700 and nothing else falls near it.
    assert enumerated_dbm([1000, 1100, 1400], 700) == pytest.approx(-83.98, abs=0.005)


@pytest.mark.arithmetic(
    "sum of three uniform variables (Irwin 1927, Hall 1927): two thirds lie in the middle third, exact arithmetic"
)
def test_a_filter_takes_two_thirds_of_a_product_three_times_as_wide() -> None:
    assert float(filter_share(0.0, (200.0, 200.0, 200.0), 200.0)) == pytest.approx(2 / 3, abs=1e-12)


@pytest.mark.published(
    "sum of three uniform variables (Irwin 1927, Hall 1927): one sixth below a third of the range"
)
def test_a_filter_beside_takes_a_sixth() -> None:
    assert float(filter_share(200.0, (200.0, 200.0, 200.0), 200.0)) == pytest.approx(1 / 6, abs=1e-12)
    assert float(filter_share(400.0, (200.0, 200.0, 200.0), 200.0)) == 0.0
