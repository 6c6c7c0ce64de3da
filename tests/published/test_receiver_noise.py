"""Noise in the bins of a receiver's sweep against what a window passes and what a resistor gives."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.constants import Boltzmann
from tests.air.recorded_band import Band

from linkwright.air.tuning.spectrum import levels_db, passband_of
from linkwright.air.tuning.sweeping import Sweeping, SweepWanted

HARRIS = "F. J. Harris, Proc. IEEE 66 (1978) 51, table 1: the Hann window's equivalent noise bandwidth, 1.50 bins"
KTB = "exact, k T B (Nyquist 1928; k of the SI, 290 K) in 1.5 bins of Hann, on simulated noise (numpy's generator)"


@pytest.mark.published(HARRIS)
@pytest.mark.parametrize("size", [64, 256, 2048])
def test_noise_of_known_power_in_a_bin(size: int) -> None:
    """White noise of power 1 over all bins stands at 1.50 / size in each: 10 log10 of the mean of its powers."""
    samples = Band(noise_db=0.0, seed=size).samples(600e6, 2_000_000)
    mean = np.mean(10.0 ** (levels_db(samples, size) / 10.0))
    assert mean * size == pytest.approx(1.50, rel=0.005)


class Resistor:
    """A calibrated receiver without noise of its own, at a resistor of 290 K: k T times its rate, in all."""

    def __init__(self, offset_db: float) -> None:
        self.name, self.rate_hz, self.lost = "resistor", 2.4e6, 0
        noise_dbm = 10.0 * math.log10(Boltzmann * 290.0 * self.rate_hz * 1e3)
        self.band = Band(noise_db=noise_dbm - offset_db, rate_hz=self.rate_hz)

    def places_hz(self) -> None:
        return

    def look(self, centre_hz: float, count: int) -> tuple[float, np.ndarray[tuple[int], np.dtype[np.complex64]]]:
        return centre_hz, self.band.samples(centre_hz, count)

    def now_s(self) -> float:
        return 0.0

    def close(self) -> None:
        pass


@pytest.mark.arithmetic(KTB)
def test_thermal_noise_in_a_bin_of_a_sweep() -> None:
    """-173.98 dBm/Hz in 14.06 kHz: -132.50 dBm."""
    sweeping = Sweeping(Resistor(-70.0), SweepWanted(600_000.0, 610_000.0, offset_db=-70.0))
    line = next(sweeping.lines())
    mean_dbm = 10.0 * math.log10(np.mean(10.0 ** (np.array(line.split(b","), np.float64) / 10.0)))
    assert sweeping.options.resolution_khz == pytest.approx(14.0625)
    assert mean_dbm == pytest.approx(-132.50, abs=0.02)


@pytest.mark.own("what this project leaves out of a look: 50 kHz about the middle, and a quarter at the edges")
def test_what_is_used_of_a_look() -> None:
    band = passband_of(2.4e6, 256)
    assert (band.inner, band.outer) == (7, 96)
    assert band.inner * 9.375 > 50.0 + 9.375
    assert band.outer * 9.375 <= 900.0
