"""The simulator's fading field, against published shares, crossing rates and lengths of fades."""

from __future__ import annotations

import math

import numpy as np
import pytest

from linkwright.watch.play.simulate import A_CYCLE, CYCLES, scattered

#: Fields to average over: one has waves from 24 directions only. Fades are shorter than a sample: so many between
#: two.
FIELDS = 12
FINER = 8


def finer(field: np.ndarray) -> np.ndarray:
    """The same field with more samples: its spectrum has nothing beyond one turn a wavelength."""
    spectrum, half = np.fft.fft(field), field.size // 2
    wide = np.zeros(FINER * field.size, dtype=complex)
    wide[:half], wide[-half:] = spectrum[:half], spectrum[-half:]
    return np.asarray(np.fft.ifft(wide) * FINER)


def counted(r: float) -> tuple[float, float]:
    """Share of the time under r times the root mean square, and falls through it for a Doppler shift of 1 Hz."""
    below = falls = 0
    for seed in range(FIELDS):
        under = np.abs(finer(scattered(seed, 0.0)[0])) < r
        below += int(under.sum())
        falls += int((under & ~np.roll(under, 1)).sum())
    samples = FIELDS * A_CYCLE * CYCLES * FINER
    return below / samples, falls / (FIELDS * CYCLES)


@pytest.mark.published(
    "Rappaport, Wireless Communications, example 5.7: r = 1, fd = 20 Hz, 18.44 crossings a second"
)
def test_crossing_rate() -> None:
    assert 20.0 * counted(1.0)[1] == pytest.approx(18.44, rel=0.03)


@pytest.mark.published("Rappaport, example 5.8: mean fade at fd = 200 Hz: r = 0.1 200 us, r = 1 3.43 ms")
@pytest.mark.parametrize(("r", "mean_s"), [(0.1, 200e-6), (1.0, 3.43e-3)])
def test_mean_length_of_a_fade(r: float, mean_s: float) -> None:
    share, falls = counted(r)
    assert share / (200.0 * falls) == pytest.approx(mean_s, rel=0.15 if r < 1.0 else 0.05)


@pytest.mark.arithmetic("exact, Rayleigh: 1 - exp(-0.1) = 0.0952 of the time 10 dB under the mean")
def test_share_of_the_time_in_a_fade() -> None:
    assert counted(math.sqrt(0.1))[0] == pytest.approx(0.0952, rel=0.1)


@pytest.mark.arithmetic(
    "Clarke: correlation of the powers of branches 0.2 wavelengths apart, J0(0.4 pi)^2 = 0.4129"
)
def test_correlation_of_the_branches() -> None:
    found = []
    for seed in range(FIELDS):
        power = np.abs(scattered(seed, 0.2)) ** 2
        found.append(np.corrcoef(power)[0, 1])
    assert float(np.mean(found)) == pytest.approx(0.4129, abs=0.05)
