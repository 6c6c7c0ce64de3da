"""Masks, rejection and blocking, one value a test, with where it comes from."""

from __future__ import annotations

import math

import pytest

from linkwright.physics.masks import (
    DEFAULT_MASK,
    DEFAULT_SELECTIVITY,
    Shape,
    blocking_dbm,
    interference_over_noise_db,
    rejection_db,
)
from linkwright.units import sum_dbm

BRICK = Shape((-100.0, 100.0), (0.0, 0.0))


@pytest.mark.arithmetic("ITU-R SM.337's definition by hand: a box half inside a steep filter: 3.01 dB")
def test_a_box_half_inside() -> None:
    steep = Shape((-100.001, -100.0, 100.0, 100.001), (-200.0, 0.0, 0.0, -200.0))
    assert float(rejection_db(BRICK, steep, 100.0)) == pytest.approx(3.01, abs=0.005)


@pytest.mark.arithmetic("ITU-R SM.337's definition by hand: ten times as wide as the filter: 10 dB on tune")
def test_a_wide_transmitter_into_a_narrow_filter() -> None:
    steep = Shape((-100.001, -100.0, 100.0, 100.001), (-200.0, 0.0, 0.0, -200.0))
    assert float(rejection_db(BRICK.scaled(10.0), steep, 0.0)) == pytest.approx(10.0, abs=1e-4)


@pytest.mark.arithmetic("integral by hand: 1 kHz into a gain of -10 dB per kHz: 10 lg(ln 10 / 0.9) = 4.08 dB")
def test_a_slope_in_decibels() -> None:
    flat, slope = Shape((0.0, 1.0), (0.0, 0.0)), Shape((0.0, 1.0), (0.0, -10.0))
    assert float(rejection_db(flat, slope, 0.0)) == pytest.approx(
        10.0 * math.log10(math.log(10.0) / 0.9), abs=1e-12
    )


@pytest.mark.own("the design's prototype, assumed shapes: about 20, 40, 50, 60 dB at 205, 230, 260, 310 kHz")
@pytest.mark.parametrize(("offset_khz", "about_db"), [(205.0, 20.0), (230.0, 40.0), (260.0, 50.0), (310.0, 60.0)])
def test_the_default_shapes(offset_khz: float, about_db: float) -> None:
    assert float(rejection_db(DEFAULT_MASK, DEFAULT_SELECTIVITY, offset_khz)) == pytest.approx(about_db, abs=0.5)


@pytest.mark.published("CEPT handbook (ECC Report 252), 4.2.3: -54.5 dBm behind 59 dB amounts to -113.5 dBm")
def test_what_a_blocking_signal_amounts_to() -> None:
    # The same receiver by its blocking level: noise -110 dBm and I/N 0 dB stand where 59 dB keep out B = -51 dBm.
    blocked = blocking_dbm([-54.5], -110.0, -110.0 + 59.0, 10.0 * math.log10(2.0))
    assert blocked == pytest.approx(-113.5, abs=1e-9)


@pytest.mark.arithmetic("sum of powers: noise rises by 3 dB at I/N 0 dB, by 1 dB at -5.87 dB (by hand)")
@pytest.mark.parametrize(("rise_db", "i_over_n_db"), [(3.0103, 0.0), (1.0, -5.87)])
def test_interference_over_noise(rise_db: float, i_over_n_db: float) -> None:
    assert interference_over_noise_db(rise_db) == pytest.approx(i_over_n_db, abs=0.005)
    assert sum_dbm([-110.0, -110.0 + i_over_n_db]) == pytest.approx(-110.0 + rise_db, abs=0.002)
