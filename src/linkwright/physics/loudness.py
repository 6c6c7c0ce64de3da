"""Loudness and true peak: K-weighting, gating, range (ITU-R BS.1770-5, EBU Tech 3341 and 3342)."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from linkwright.units import FloatArray, SampleArray

#: Loudness of a mean square of 1 after K-weighting [LUFS]; BS.1770-5, annex 1, equation (2).
OFFSET_LUFS: Final = -0.691
#: Gates; BS.1770-5, annex 1, equations (3) to (7), and EBU Tech 3342, section 3.
ABSOLUTE_GATE_LUFS: Final = -70.0
RELATIVE_GATE_LU: Final = -10.0
RANGE_GATE_LU: Final = -20.0
#: A full-scale sine reads 0 dBFS rms (AES17): this much is added to 10 log10 of the mean square [dB].
AES17_DB: Final = 10.0 * float(np.log10(2.0))
#: Weights of the channels L, R, C, LFE, Ls, Rs; BS.1770-5, annex 1, table 3 (the LFE is left out).
SURROUND_WEIGHTS: Final = (1.0, 1.0, 1.0, 0.0, 1.41, 1.41)
#: The two stages of K-weighting as analogue prototypes, from which the table for 48 kHz in BS.1770-5, annex 1,
#: comes by the bilinear transform: frequency [Hz], Q, and for the shelf its gain [dB]. Fitted to the table.
SHELF: Final = (1681.974450955533, 0.7071752369554196, 3.999843853973347)
HIGH_PASS: Final = (38.13547087602444, 0.5003270373238773)
#: Exponent of the shelf's middle gain, of the same fit.
SHELF_EXPONENT: Final = 0.4996667741545416


def k_weighting(rate_hz: float) -> FloatArray:
    """Coefficients of the K-weighting at any sample rate: two rows (shelf, high pass) of b0 b1 b2 a1 a2.

    At 48 kHz they are those of ITU-R BS.1770-5, annex 1, tables 1 and 2.
    """
    frequency, q, gain_db = SHELF
    k = np.tan(np.pi * frequency / rate_hz)
    high = 10.0 ** (gain_db / 20.0)
    middle = high**SHELF_EXPONENT
    a0 = 1.0 + k / q + k * k
    shelf = [
        (high + middle * k / q + k * k) / a0,
        2.0 * (k * k - high) / a0,
        (high - middle * k / q + k * k) / a0,
        2.0 * (k * k - 1.0) / a0,
        (1.0 - k / q + k * k) / a0,
    ]
    frequency, q = HIGH_PASS
    k = np.tan(np.pi * frequency / rate_hz)
    a0 = 1.0 + k / q + k * k
    return np.array([shelf, [1.0, -2.0, 1.0, 2.0 * (k * k - 1.0) / a0, (1.0 - k / q + k * k) / a0]])


def loudness_lufs(mean_square: FloatArray | float) -> FloatArray:
    """Loudness of K-weighted mean squares, summed over weighted channels; BS.1770-5, equation (2). -inf for 0."""
    with np.errstate(divide="ignore"):
        return np.asarray(OFFSET_LUFS + 10.0 * np.log10(np.asarray(mean_square, float)))


def mean_square_of(lufs: float) -> float:
    """The mean square that has this loudness."""
    return float(10.0 ** ((lufs - OFFSET_LUFS) / 10.0))


def windows(sums: FloatArray, count: int) -> FloatArray:
    """Means over every `count` neighbours of `sums`, shape (n,) to (n - count + 1,); empty where too short."""
    if sums.size < count:
        return np.empty(0)
    total = np.concatenate(([0.0], np.cumsum(sums, dtype=float)))
    return np.maximum((total[count:] - total[:-count]) / count, 0.0)


def integrated_lufs(blocks: FloatArray, counts: FloatArray | None = None) -> float | None:
    """Gated loudness of mean squares of 400 ms blocks, 100 ms apart; None where nothing passes the gates.

    counts : how many blocks each stands for; one without. Source: ITU-R BS.1770-5, annex 1, equations (3) to (7).
    """
    number = np.ones(blocks.size) if counts is None else counts
    loud = (blocks > mean_square_of(ABSOLUTE_GATE_LUFS)) & (number > 0)
    if not loud.any():
        return None
    blocks, number = blocks[loud], number[loud]
    kept = blocks > np.average(blocks, weights=number) * 10.0 ** (RELATIVE_GATE_LU / 10.0)
    return float(loudness_lufs(float(np.average(blocks[kept], weights=number[kept]))))


def loudness_range_lu(short_term: FloatArray, counts: FloatArray | None = None) -> float | None:
    """Loudness range of mean squares of 3 s windows, 100 ms apart; None where nothing passes the gates.

    counts : how many windows each stands for; one without. Source: EBU Tech 3342, section 3: from the 10th to the
    95th percentile of what is over both gates.
    """
    number = np.ones(short_term.size) if counts is None else counts
    loud = (short_term >= mean_square_of(ABSOLUTE_GATE_LUFS)) & (number > 0)
    if not loud.any():
        return None
    windowed, number = short_term[loud], number[loud]
    kept = windowed >= np.average(windowed, weights=number) * 10.0 ** (RANGE_GATE_LU / 10.0)
    order = np.argsort(windowed[kept], kind="stable")
    ranked, up_to = windowed[kept][order], np.cumsum(number[kept][order])
    places = (np.floor((up_to[-1] - 1) * share + 0.5) for share in (0.10, 0.95))
    low, high = (ranked[int(np.searchsorted(up_to, place, side="right"))] for place in places)
    return float(loudness_lufs(high) - loudness_lufs(low))


def weighted_sum(channels: Sequence[FloatArray], weights: Sequence[float]) -> FloatArray:
    """The channels' mean squares with their weights; BS.1770-5, equation (2)."""
    return np.asarray(sum(weight * channel for weight, channel in zip(weights, channels, strict=True)))


def oversampling(factor: int = 8, half_width: int = 12) -> SampleArray:
    """Interpolator for the true peak, shape (factor, 2 * half_width): one row for each place between samples.

    A sinc under a Kaiser window (beta 6). BS.1770-5, annex 2, asks for at least four places a sample at 48 kHz;
    with eight a sine is read at most 0.17 dB low at any frequency (ibid., attachment 1, under-read formula).
    """
    at = np.arange(-half_width + 1, half_width + 1)[None, :] - np.arange(factor)[:, None] / factor
    window = np.i0(6.0 * np.sqrt(np.maximum(1.0 - (at / half_width) ** 2, 0.0))) / np.i0(6.0)
    taps = np.sinc(at) * window
    return np.asarray(taps / taps.sum(axis=1, keepdims=True), np.float32)


def level_dbfs(mean_square: float) -> float | None:
    """Rms level of a mean square, a full-scale sine being 0 dBFS (AES17); None for digital silence."""
    return None if mean_square <= 0.0 else 10.0 * float(np.log10(mean_square)) + AES17_DB


def peak_db(peak: float) -> float | None:
    """A peak against full scale [dB]; None for digital silence."""
    return None if peak <= 0.0 else 20.0 * float(np.log10(peak))
