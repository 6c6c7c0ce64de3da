"""Where a recording lies on another's time, by what is heard anywhere in both: for time codes that disagree.

The onsets of a few bands, 50 a second, are held against each other at every lag at once (by the fast Fourier
transform). What a voice begins with is the same at any microphone, gain and room; no level is compared. Own
choices, measured in docs/sound.md.
"""

from __future__ import annotations

from itertools import pairwise
from typing import Final

import numpy as np

from linkwright.sound.recordings import Reader
from linkwright.units import FloatArray, SampleArray

#: Looks a second, and the bands whose onsets are looked at [Hz].
LOOKS_HZ: Final = 50.0
EDGES_HZ: Final = (150.0, 300.0, 600.0, 1200.0, 2400.0, 4800.0)
#: More looks than this are not held: of longer recordings they lie further apart.
MOST_LOOKS: Final = 2_000_000
#: Looks that are read at once.
AT_ONCE: Final = 4096
#: Both must share so much [s].
LEAST_COMMON_S: Final = 5.0
#: The best lag stands out of all by so many standard deviations, and so many times over any other lag.
LEAST_DEVIATIONS: Final = 9.0
OVER_OTHERS: Final = 1.4
#: Lags so near to each other are one [s].
ONE_S: Final = 0.5
#: An onset over so many times the usual counts as so many, so that a clap does not decide alone.
MOST_ONSET: Final = 3.0


def begins_after(first: Reader, other: Reader) -> float | None:
    """How many seconds after the first recording the other begins, to a hundredth or two; None where nothing in
    them is surely the same."""
    longest_s = max(first.recording.length_s, other.recording.length_s)
    looks_hz = min(LOOKS_HZ, MOST_LOOKS / longest_s)
    a, b = _onsets(first, looks_hz), _onsets(other, looks_hz)
    least = round(LEAST_COMMON_S * looks_hz)
    if min(a.shape[1], b.shape[1]) < least:
        return None
    deviations = _deviations(a, b)
    lags = np.arange(deviations.size) - (b.shape[1] - 1)
    common = np.minimum(a.shape[1], lags + b.shape[1]) - np.maximum(0, lags)
    deviations[common < least] = 0.0
    best = int(np.argmax(deviations))
    others = np.abs(np.arange(deviations.size) - best) > ONE_S * looks_hz
    rival = float(deviations[others].max(initial=0.0))
    if deviations[best] < max(LEAST_DEVIATIONS, OVER_OTHERS * rival):
        return None
    return float(lags[best]) / looks_hz


def _deviations(a: FloatArray, b: FloatArray) -> FloatArray:
    """How many standard deviations each lag of b on a stands out, from -(len(b) - 1) to len(a) - 1."""
    from scipy.fft import irfft, next_fast_len, rfft

    size = next_fast_len(a.shape[1] + b.shape[1] - 1, real=True)
    total: FloatArray = np.zeros(size)
    for first, second in zip(a, b, strict=True):
        total += irfft(rfft(first, size) * np.conj(rfft(second, size)), size)
    lags = np.arange(-(b.shape[1] - 1), a.shape[1])
    common = np.minimum(a.shape[1], lags + b.shape[1]) - np.maximum(0, lags)
    return np.asarray(total[lags] / np.sqrt(np.maximum(common, 1) * len(a)))


def _onsets(reader: Reader, looks_hz: float) -> FloatArray:
    """How much louder each band is than a look before, of all tracks together; (bands, looks), mean 0, rms 1."""
    recording = reader.recording
    frame = round(recording.rate_hz / looks_hz)
    looks = recording.frames // frame
    bands = np.zeros((len(EDGES_HZ) - 1, looks), np.float32)
    for at in range(0, looks, AT_ONCE):
        many = min(AT_ONCE, looks - at)
        bands[:, at : at + many] = _bands(reader.read(at * frame, many * frame), frame, recording.rate_hz)
    rises = np.maximum(np.diff(bands, axis=1), 0.0).astype(float)
    usual = np.sqrt(np.mean(rises**2, axis=1, keepdims=True))
    rises = np.minimum(rises / np.maximum(usual, 1e-12), MOST_ONSET)
    rises -= rises.mean(axis=1, keepdims=True)
    return np.asarray(rises / np.maximum(rises.std(axis=1, keepdims=True), 1e-12))


def _bands(x: SampleArray, frame: int, rate_hz: int) -> FloatArray:
    """The level of each band in each look, all tracks together [dB], (bands, looks)."""
    from scipy.fft import rfft

    window = np.hanning(frame).astype(np.float32)
    edges = [max(1, round(edge * frame / rate_hz)) for edge in EDGES_HZ]
    power = np.zeros((frame // 2 + 1, x.shape[1] // frame), np.float32)
    for track in x:
        power += np.abs(rfft(track.reshape(-1, frame) * window, axis=1).T) ** 2
    bands = [power[low : max(high, low + 1)].sum(axis=0) for low, high in pairwise(edges)]
    return np.asarray(10.0 * np.log10(np.array(bands) + 1e-9))
