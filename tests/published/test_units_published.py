"""Decibels and milliwatts: values of the project's worked chain, one a value."""

from __future__ import annotations

import pytest

from linkwright.physics.fading import doppler_hz
from linkwright.units import dbm_from_mw, mw_from_dbm, sum_dbm


@pytest.mark.arithmetic("definition of the dBm: 1 mW = 0 dBm")
def test_one_milliwatt_is_0_dbm() -> None:
    assert dbm_from_mw(1.0) == 0.0


@pytest.mark.arithmetic("definition of the dBm: 50 mW = 16.99 dBm")
def test_50_milliwatts_are_16_99_dbm() -> None:
    assert dbm_from_mw(50.0) == pytest.approx(16.99, abs=0.005)


@pytest.mark.arithmetic("definition of the dBm: 20 dBm = 100 mW")
def test_20_dbm_are_100_milliwatts() -> None:
    assert mw_from_dbm(20.0) == pytest.approx(100.0, rel=1e-12)


@pytest.mark.arithmetic("two equal powers: +3.01 dB")
def test_two_equal_powers_are_3_01_db_more() -> None:
    assert sum_dbm([-90.0, -90.0]) == pytest.approx(-86.99, abs=0.005)


@pytest.mark.own("worked chain, computed independently: -114.99 and -102.73 dBm = -102.48 dBm")
def test_noise_and_interference_of_the_worked_chain() -> None:
    assert sum_dbm([-114.99, -102.73]) == pytest.approx(-102.48, abs=0.01)


@pytest.mark.arithmetic("Clarke's model, v f / c: walking at 1.4 m/s at 600 MHz, 2.8 Hz")
def test_doppler_of_a_walker() -> None:
    assert doppler_hz(600.0, 1.4) == pytest.approx(2.8, abs=0.01)
