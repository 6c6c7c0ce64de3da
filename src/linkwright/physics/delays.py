"""Two tracks against each other: delay by GCC-PHAT, its drift by Theil-Sen, and its jumps.

Sign, here and everywhere: a positive delay means that the second track (b) is later than the first (a).
Sources: Knapp and Carter, "The generalized correlation method for estimation of time delay", IEEE Trans. ASSP 24
(1976), 320-327, for the phase transform; Sen, J. Am. Stat. Assoc. 63 (1968), 1379-1389, for the slope. Thresholds
are own choices.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from linkwright.units import FloatArray, IntArray, SampleArray

Spectra = NDArray[np.complex64]

#: The band whose phases are compared [Hz]: voices, and what narrow links let through.
BAND_HZ: Final = (80.0, 7000.0)
#: A peak that stands less than this over the rms of all lags is no common sound.
LEAST_QUALITY: Final = 12.0
#: The delay before and after a jump is taken over so many windows, the fewest that make a new level.
BEFORE, AFTER = 5, 3
#: A jump is at least this many samples, and this many times what the delay wavers by.
LEAST_JUMP: Final = 0.75
OVER_WAVER: Final = 8.0
#: Drift is told from so many windows on, and from so long on [s].
DRIFT_WINDOWS: Final = 6
DRIFT_SPAN_S: Final = 3.0


def band(count: int, rate_hz: float, highest_hz: float = BAND_HZ[1]) -> tuple[int, int]:
    """First and past the last bin that are compared, of the spectrum of `count` samples padded to twice that."""
    step = rate_hz / (2 * count)
    return max(1, int(np.ceil(BAND_HZ[0] / step))), max(2, int(min(highest_hz, 0.45 * rate_hz) / step))


@functools.lru_cache(maxsize=4)
def _taper(count: int) -> SampleArray:
    """Rises and falls over a sixteenth of so many samples."""
    ramp = np.minimum(np.arange(count) + 1, np.arange(count, 0, -1)) * (16.0 / count)
    return np.minimum(1.0, ramp).astype(np.float32)


def phases(x: SampleArray, rate_hz: float, highest_hz: float = BAND_HZ[1]) -> Spectra:
    """Spectrum of each track in the band, every bin of magnitude 1, shape (tracks, samples) to (tracks, bins)."""
    from scipy.fft import rfft

    count = x.shape[1]
    first, last = band(count, rate_hz, highest_hz)
    spectrum = rfft(x * _taper(count), 2 * count, axis=1)[:, first:last]
    size = np.abs(spectrum)
    return np.asarray(spectrum / np.maximum(size, np.float32(1e-20)), np.complex64)


def correlation(a: Spectra, b: Spectra, count: int, rate_hz: float, highest_hz: float = BAND_HZ[1]) -> SampleArray:
    """GCC-PHAT of two tracks' `phases`, 1 for equal ones; lag 0 first, negative lags last.

    Its lags lie `lag_s` apart: at least twice as densely as the band asks for.
    """
    from scipy.fft import irfft

    first, last = band(count, rate_hz, highest_hz)
    size = lags(count, rate_hz, highest_hz)
    full = np.zeros(size // 2 + 1, np.complex64)
    full[first:last] = np.conj(a) * b
    return np.asarray(irfft(full, size) * np.float32(size / (2.0 * (last - first))), np.float32)


def lags(count: int, rate_hz: float, highest_hz: float = BAND_HZ[1]) -> int:
    """How many lags `correlation` gives."""
    return 1 << int(np.ceil(np.log2(4 * band(count, rate_hz, highest_hz)[1])))


@dataclass(frozen=True)
class Peak:
    """The highest peak of a correlation: delay [s], whether it points down, and its height over the rms."""

    delay_s: float
    inverted: bool
    quality: float


def highest(correlated: SampleArray, span_s: float, most_s: float) -> Peak:
    """The highest peak within `most_s` of lag 0, between its neighbours by a parabola.

    span_s : what all lags together span. Quality is 0 where there is nothing at all.
    """
    size = correlated.size
    reach = min(int(most_s / span_s * size), size // 2 - 2)
    near = np.concatenate((correlated[-reach - 1 :], correlated[: reach + 2])).astype(float)
    rms = float(np.sqrt(np.mean(near**2)))
    at = 1 + int(np.argmax(np.abs(near[1:-1])))
    top = near[at]
    sign = -1.0 if top < 0.0 else 1.0
    left, middle, right = (sign * near[at + i] for i in (-1, 0, 1))
    bend = left - 2.0 * middle + right
    shift = 0.5 * (left - right) / bend if bend < 0.0 else 0.0
    quality = abs(top) / rms if rms > 0.0 and np.isfinite(rms) else 0.0
    return Peak((at + shift - reach - 1) * span_s / size, sign < 0.0, quality)


@dataclass(frozen=True)
class Jump:
    """The delay jumps by `by_s` after the window at `after_s` and before that at `before_s` [s]."""

    after_s: float
    before_s: float
    by_s: float


@dataclass(frozen=True)
class DelayCourse:
    """How a delay goes: delay_s at time 0, then drift (a ratio, None where it can not be told), and jumps.

    drift_low, drift_high : 95 % interval of Theil-Sen. alternates : it goes back and forth between levels, so that
    its steps are no jumps.
    """

    delay_s: float
    drift: float | None
    drift_low: float | None
    drift_high: float | None
    jumps: tuple[Jump, ...]
    alternates: bool


def course(time_s: FloatArray, delay_s: FloatArray, rate_hz: float) -> DelayCourse:
    """Delay, drift and jumps of delays measured in windows, in the order of time; at least one.

    A window that stands alone is passed over; a new level is one that three neighbours agree on.
    """
    slope = _neighbours_slope(time_s, delay_s)
    flat = delay_s - slope * time_s
    steps = np.abs(np.diff(flat))
    waver = float(np.median(steps)) if steps.size else 0.0
    least = max(LEAST_JUMP / rate_hz, OVER_WAVER * waver)
    level, jumps = _levels(flat, least)
    told = tuple(Jump(float(time_s[i]), float(time_s[j]), by) for i, j, by in jumps)
    alternates = _alternates([by for _, _, by in jumps], least)
    kept = level > -1
    base = np.concatenate(([0.0], np.cumsum([by for _, _, by in jumps])))
    level_s = base[np.maximum(level, 0)]
    delays = (delay_s - level_s)[kept]
    times = time_s[kept]
    drift, low, high = _drift(times, delays)
    if alternates:
        return DelayCourse(float(np.median(delay_s)), None, None, None, (), True)
    first = float(np.median(delays - (drift or 0.0) * times))
    return DelayCourse(first, drift, low, high, told, False)


def _neighbours_slope(time_s: FloatArray, delay_s: FloatArray) -> float:
    """Slope over pairs a few windows apart: jumps, and windows that stand alone, fall out of the median."""
    apart = min(BEFORE, time_s.size - 1)
    if apart < 1:
        return 0.0
    return float(np.median((delay_s[apart:] - delay_s[:-apart]) / (time_s[apart:] - time_s[:-apart])))


def _levels(flat: FloatArray, least: float) -> tuple[IntArray, list[tuple[int, int, float]]]:
    """The level each window belongs to, -1 for one that stands alone; jumps as last before, first after, by."""
    level = np.full(flat.size, -1, np.int64)
    jumps: list[tuple[int, int, float]] = []
    kept: list[int] = []
    start = _steady(flat, 0, least)
    for i in range(start, flat.size):
        if not kept or abs(flat[i] - np.median(flat[kept[-BEFORE:]])) < least:
            kept.append(i)
        elif len(kept) >= AFTER and i + AFTER <= flat.size and np.ptp(flat[i : i + AFTER]) < least:
            by = float(np.median(flat[i : i + BEFORE][:BEFORE]) - np.median(flat[kept[-BEFORE:]]))
            if np.ptp(flat[i : i + BEFORE]) >= least:
                by = float(np.median(flat[i : i + AFTER]) - np.median(flat[kept[-BEFORE:]]))
            jumps.append((kept[-1], i, by))
            kept = [i]
        else:
            continue
        level[i] = len(jumps)
    return level, jumps


def _steady(flat: FloatArray, begin: int, least: float) -> int:
    """The first window that the next ones agree with; the first of all where there is none."""
    for i in range(begin, flat.size - AFTER + 1):
        if np.ptp(flat[i : i + AFTER]) < least:
            return i
    return begin


def _alternates(by: list[float], least: float) -> bool:
    """Whether the steps go back and forth: at least three, and two of them undo the one before."""
    undone = sum(abs(first + second) < 2.0 * least for first, second in pairwise(by))
    return len(by) >= 3 and undone >= 2


def _drift(time_s: FloatArray, delay_s: FloatArray) -> tuple[float | None, float | None, float | None]:
    from scipy.stats import theilslopes

    if time_s.size < DRIFT_WINDOWS or time_s[-1] - time_s[0] < DRIFT_SPAN_S:
        return None, None, None
    slopes = theilslopes(delay_s, time_s)
    return float(slopes[0]), float(slopes[2]), float(slopes[3])


def place_of_jump(a: FloatArray, before: FloatArray, after: FloatArray) -> tuple[int, float]:
    """Where the second track goes over from one delay to the other: a place in `a`, and how well that fits.

    before, after : the second track brought level with `a` by either delay. The place parts `a` so that the first
    part agrees best with `before` and the second with `after`. The fit is the lesser agreement of the two parts,
    1 at most; 0 or less where a part agrees better with the other delay.
    """
    lead = np.cumsum(a * (before - after))
    place = int(np.argmax(lead)) + 1 if lead.size and lead.max() > 0.0 else 0
    fits = []
    for part, ours in ((slice(0, place), before), (slice(place, None), after)):
        power = float(np.sqrt((a[part] ** 2).sum() * (ours[part] ** 2).sum()))
        fits.append(float((a[part] * ours[part]).sum()) / power if power > 0.0 else 0.0)
    return place, min(fits)
