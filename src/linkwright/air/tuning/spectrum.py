"""Levels of the samples of one look, by Welch's method, and whether the receiver was driven over its full scale."""

from __future__ import annotations

import math
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from linkwright.air.tuning.retuning import Passband
from linkwright.units import FloatArray

#: Complex samples with full scale 1.
Samples = NDArray[np.complex64]
#: So much of what a receiver samples lies in the flat part of its passband, on either side of the middle [share of
#: the rate], and so far beside the middle [kHz] and [bins] its own line may show (both assumed; the main lobe of a
#: Hann window reaches two bins).
FLAT_SHARE: Final = 0.375
MIDDLE_KHZ: Final = 50.0
MIDDLE_BINS: Final = 3
#: A sample of this size and more is at full scale (converters of 8 bits end at 0.99), and a look with such a share
#: of them is overdriven (assumed).
FULL_SCALE: Final = 0.985
OVERDRIVEN_SHARE: Final = 1e-3


def passband_of(rate_hz: float, size: int) -> Passband:
    """What is used of a transform of `size` at so many samples a second. Raises ValueError where it is nothing."""
    inner = max(MIDDLE_BINS, math.ceil(MIDDLE_KHZ * 1e3 * size / rate_hz)) + 1
    return Passband(inner, math.floor(FLAT_SHARE * size))


def levels_db(samples: Samples, size: int) -> FloatArray:
    """(size) levels over full scale [dB], lowest frequency first: a sine of full scale on a bin has 0.

    Welch's method: Hann window, half overlap, power mean of all segments at once (P. D. Welch, IEEE Trans. Audio
    Electroacoust. 15 (1967) 70, from memory; `scipy.signal.welch` gives the same, segment by segment). Noise of
    power s (mean of |x|^2) stands at 1.5 s / size in every bin.
    """
    from scipy.fft import fft

    window = np.hanning(size + 1)[:-1].astype(np.float32)
    segments = np.lib.stride_tricks.sliding_window_view(samples, size)[:: size // 2]
    spectra = fft(segments * (window / window.sum()), axis=1)
    power = np.mean(spectra.real**2 + spectra.imag**2, axis=0, dtype=np.float64)
    return np.asarray(10.0 * np.log10(np.maximum(np.fft.fftshift(power), 1e-30)), np.float64)


def is_overdriven(samples: Samples) -> bool:
    """Whether so many samples stand at full scale that what is seen may be made by the receiver itself."""
    parts: Any = np.abs(samples.view(np.float32))
    return bool(np.mean(parts >= FULL_SCALE) > OVERDRIVEN_SHARE)
