"""Thermal noise and field strength, one a value, with where it comes from."""

from __future__ import annotations

import pytest

from linkwright.physics.noise import field_dbuv_m, thermal_noise_dbm
from linkwright.rules import territory, tv_channel

#: Gain of a half-wave dipole [dBi]; ITU Radio Regulations Nos. 1.161-1.162.
DIPOLE_DBI = 2.15


@pytest.mark.published("k T0 at 290 K (ITU-R P.372): -173.98 dBm/Hz")
def test_noise_in_one_hertz() -> None:
    assert thermal_noise_dbm(0.001) == pytest.approx(-173.98, abs=0.005)


@pytest.mark.published("k T0 B at 290 K (ITU-R P.372): 200 kHz, -120.96 dBm")
def test_noise_in_200_khz() -> None:
    assert thermal_noise_dbm(200.0) == pytest.approx(-120.96, abs=0.01)


@pytest.mark.published("k T0 B at 290 K (ITU-R P.372): 6 MHz, -106.2 dBm")
def test_noise_in_6_mhz() -> None:
    assert thermal_noise_dbm(6000.0) == pytest.approx(-106.2, abs=0.05)


@pytest.mark.arithmetic("definition of the noise figure (ITU-R P.372): 6 dB more noise for 6 dB")
def test_noise_figure_adds_in_decibels() -> None:
    assert thermal_noise_dbm(200.0, 6.0) == pytest.approx(-114.96, abs=0.01)


@pytest.mark.arithmetic("47 CFR 74.802(b)(2)(ii): -84 dBm in a dipole at 569 MHz is 46.15 dBuV/m (computed)")
def test_field_of_84_dbm_under_in_a_dipole_on_channel_30() -> None:
    middle_mhz = tv_channel(territory("US"), "30").centre_khz / 1000.0
    assert field_dbuv_m(-84.0, middle_mhz, DIPOLE_DBI) == pytest.approx(46.15, abs=0.01)


@pytest.mark.published("OET Bulletin 69, dipole factor at 69 MHz: 111.8 dB (seen second hand)")
def test_dipole_factor_at_69_mhz() -> None:
    assert field_dbuv_m(0.0, 69.0, DIPOLE_DBI) == pytest.approx(111.8, abs=0.05)


@pytest.mark.published("OET Bulletin 69, dipole factor at 194 MHz: 120.8 dB (seen second hand)")
def test_dipole_factor_at_194_mhz() -> None:
    assert field_dbuv_m(0.0, 194.0, DIPOLE_DBI) == pytest.approx(120.8, abs=0.05)


@pytest.mark.published("OET Bulletin 69, dipole factor at 615 MHz: 130.8 dB (seen second hand)")
def test_dipole_factor_at_615_mhz() -> None:
    assert field_dbuv_m(0.0, 615.0, DIPOLE_DBI) == pytest.approx(130.8, abs=0.05)
