"""Decibels, milliwatts and kilohertz: there and back again."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from linkwright.units import (
    NOTHING_DBM,
    dbm_from_mw,
    dbm_from_mw_array,
    khz_from_mhz,
    mhz_text,
    mw_from_dbm,
    mw_from_dbm_array,
    sum_dbm,
)

levels = st.floats(-250.0, 100.0)


@given(levels)
def test_levels_there_and_back(level: float) -> None:
    assert dbm_from_mw(mw_from_dbm(level)) == pytest.approx(level, abs=1e-9)


@given(st.lists(levels, max_size=8))
def test_arrays_agree_with_numbers(some: list[float]) -> None:
    array = np.array(some, dtype=np.float64)
    assert mw_from_dbm_array(array).tolist() == pytest.approx([mw_from_dbm(level) for level in some])
    assert dbm_from_mw_array(mw_from_dbm_array(array)).tolist() == pytest.approx(some, abs=1e-9)


@given(st.lists(levels, min_size=1, max_size=8))
def test_a_sum_is_at_least_the_strongest_and_at_most_n_of_it(some: list[float]) -> None:
    total = sum_dbm(some)
    assert max(some) - 1e-9 <= total <= max(some) + 10.0 * math.log10(len(some)) + 1e-9


def test_nothing_is_nothing() -> None:
    assert dbm_from_mw(0.0) == NOTHING_DBM
    assert sum_dbm([]) == NOTHING_DBM
    assert dbm_from_mw_array(np.zeros(2)).tolist() == pytest.approx([NOTHING_DBM] * 2)


def test_a_negative_power_is_refused() -> None:
    with pytest.raises(ValueError, match="cannot be negative: -1"):
        dbm_from_mw(-1.0)


@given(st.integers(1, 10_000_000))
def test_every_whole_kilohertz_survives_a_decimal_fraction_of_megahertz(khz: int) -> None:
    assert khz_from_mhz(float(f"{khz // 1000}.{khz % 1000:03d}")) == khz
    assert mhz_text(khz) == f"{khz // 1000}.{khz % 1000:03d}"


@pytest.mark.parametrize("mhz", [571.1255, 0.0005, math.nan, math.inf, 606.300_4])
def test_a_fraction_of_a_kilohertz_is_refused(mhz: float) -> None:
    with pytest.raises(ValueError, match="is not a whole number of kHz"):
        khz_from_mhz(mhz)
