"""The voice: its level, its fundamental, and what a low cut does to it."""

from __future__ import annotations

from typing import Final

import numpy as np

from linkwright.units import FloatArray

#: Overall levels of speech 1 m before the lips [dB SPL], ANSI S3.5-1997, table 1. "casual" is from memory.
VOICE_DB: Final = {"casual": 56.0, "normal": 62.35, "raised": 68.34, "loud": 74.85, "shouted": 82.30}
#: What one pascal is [dB SPL], with 20 uPa as 0 dB (ISO 1683), and 0 dBu in volts (0.6 V squared, 600 ohm).
PASCAL_DB: Final = 20.0 * float(np.log10(1.0 / 20e-6))
DBU_V: Final = float(np.sqrt(0.6))
#: Peaks of speech over its rms [dB]: what to plan with (own choice, of project measurements).
CREST_DB: Final = 20.0
#: A sine's peak over its rms [dB]: a full-scale sine is 0 dBFS rms (AES17) and peaks there too.
SINE_CREST_DB: Final = 10.0 * float(np.log10(2.0))
#: Talkers' fundamentals [Hz], and how alike two periods of a voiced frame are at least (both common practice).
F0_HZ: Final = (60.0, 400.0)
VOICED: Final = 0.75


def voice_spl_db(effort: str, distance_m: float) -> float:
    """Level of a voice at a distance [dB SPL], falling with 20 log10 of it; KeyError for an unknown effort.

    Source: ANSI S3.5-1997, table 1, and free field.
    """
    return VOICE_DB[effort] - 20.0 * float(np.log10(distance_m))


def microphone_dbu(sensitivity_mv_pa: float, spl_db: float) -> float:
    """What a microphone gives [dBu] at a sound pressure level."""
    return 20.0 * float(np.log10(sensitivity_mv_pa * 1e-3 / DBU_V)) + spl_db - PASCAL_DB


def low_cut_db(frequency_hz: FloatArray | float, corner_hz: float, order: int) -> FloatArray:
    """Response of a Butterworth low cut [dB]; 0 where the corner is 0. |H|^2 = 1 / (1 + (fc/f)^2n)."""
    frequency = np.maximum(np.asarray(frequency_hz, float), 1e-9)
    return np.asarray(-10.0 * np.log10(1.0 + (corner_hz / frequency) ** (2 * order)))


def highest_corner_hz(f0_hz: float, order: int, loss_db: float = 1.0) -> float:
    """The corner at which a Butterworth low cut takes `loss_db` from a fundamental: 0.798 F0 for order 3, 1 dB."""
    return float(f0_hz * (10.0 ** (loss_db / 10.0) - 1.0) ** (1.0 / (2 * order)))


def fundamentals_hz(frames: FloatArray, rate_hz: float) -> FloatArray:
    """Fundamental of each frame, shape (n, samples) to (n,); NaN where the frame is not voiced.

    By the autocorrelation divided by the overlapping parts' powers; the first peak that comes within a tenth of the
    highest is taken, between its neighbours by a parabola. A frame holds at least two periods.
    """
    from scipy.fft import irfft, rfft

    count, size = frames.shape
    if not count:
        return np.empty(0)
    x = frames - frames.mean(axis=1, keepdims=True)
    length = 1 << int(np.ceil(np.log2(2 * size)))
    spectrum = rfft(x.astype(np.float32), length, axis=1)
    raw = irfft(spectrum.real**2 + spectrum.imag**2, length, axis=1)
    shortest, longest = int(rate_hz / F0_HZ[1]), min(int(np.ceil(rate_hz / F0_HZ[0])), size - 2)
    power = np.concatenate((np.zeros((count, 1)), np.cumsum(x**2, axis=1)), axis=1)
    lags = np.arange(shortest - 1, longest + 2)
    parts = np.sqrt(power[:, size - lags] * np.maximum(power[:, [-1]] - power[:, lags], 0.0))
    alike = raw[:, lags] / np.maximum(parts, 1e-20)
    middle = alike[:, 1:-1]
    peak = (middle >= alike[:, :-2]) & (middle > alike[:, 2:])
    best = np.where(peak, middle, -1.0).max(axis=1)
    first = np.argmax(peak & (middle >= 0.9 * best[:, None]), axis=1)
    row = np.arange(count)
    left, top, right = (alike[row, first + i] for i in range(3))
    bend = left - 2.0 * top + right
    shift = np.where(bend < -1e-12, 0.5 * (left - right) / np.where(bend < -1e-12, bend, 1.0), 0.0)
    return np.asarray(np.where(best >= VOICED, rate_hz / (lags[1 + first] + shift), np.nan))
