"""Compiled loops over samples that look for faults."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from linkwright.physics.compiled import kernel, quick_kernel
from linkwright.units import BoolArray, IntArray, SampleArray

#: What is kept of a hash.
KEY = 0x7FFFFFFFFF


@kernel
def constant_runs(x: SampleArray, begin: int, end: int, run: int, least: int, out: IntArray) -> tuple[int, int]:
    """Runs of one value, at least `least` samples, that end in begin..end, as rows first, past the last.

    x : samples; begin is at least 1. run : where the run that x[begin - 1] belongs to began, which may be before x.
    Returns how many runs were found and where the run that x[end - 1] belongs to began.
    """
    kept = 0
    if end <= begin:
        return kept, run
    if x[begin] != x[begin - 1] and begin - run >= least and out.shape[0]:
        out[0, 0], out[0, 1] = run, begin
        kept = 1
    i = begin
    while i < end:
        if x[i] != x[i - 1]:
            i += least - 1  # a run of `least` has as many less one pairs of equal neighbours: none is stepped over
            continue
        first = _began(x, i - 1, begin, run)
        last = i + 1
        while last < end and x[last] == x[i]:
            last += 1
        if last < end and last - first >= least and kept < out.shape[0]:
            out[kept, 0], out[kept, 1] = first, last
            kept += 1
        i = last + least - 1
    return kept, _began(x, end - 1, begin, run)


@kernel
def _began(x: SampleArray, i: int, begin: int, run: int) -> int:
    """Where the run that x[i] belongs to began; `run` where it goes on before x[begin]."""
    while i >= begin and x[i] == x[i - 1]:
        i -= 1
    return run if i < begin else i


@quick_kernel
def tops(x: SampleArray, begin: int, flags: BoolArray) -> None:
    """Whether each of x[begin:] that has a flag is a top: the largest of four neighbours on either side."""
    here = x[begin:]
    b1, b2, b3, b4 = x[begin - 1 :], x[begin - 2 :], x[begin - 3 :], x[begin - 4 :]
    a1, a2, a3, a4 = x[begin + 1 :], x[begin + 2 :], x[begin + 3 :], x[begin + 4 :]
    for i in range(flags.size):  # views, as an index that may be negative keeps the compiler from wide registers
        v = here[i]
        before = (v > b1[i]) & (v > b2[i]) & (v > b3[i]) & (v > b4[i])
        flags[i] = before & (v >= a1[i]) & (v >= a2[i]) & (v >= a3[i]) & (v >= a4[i])


# wide: compiled code takes arrays and numbers
@kernel
def repeats(
    x: SampleArray,
    tops: IntArray,
    base: int,
    table: IntArray,
    bits: NDArray[np.int32],
    most_lag: int,
    least: int,
    done: int,
    out: IntArray,
) -> tuple[int, int]:
    """Stretches of at least `least` samples that say again what stood at most `most_lag` samples before.

    Rows of `out`: first, past the last, lag. tops : places in x of its tops. base : absolute place of x[0]. table :
    absolute places by the bits of a top and its neighbours, -1 where there is none; carried on. bits : x seen as
    integers. done : absolute place up to which stretches were told. Returns how many, and the new `done`.
    """
    kept = 0
    mask = table.size - 1
    for at in tops:
        key = (np.int64(bits[at]) * 31 + np.int64(bits[at - 1]) * 1009 + np.int64(bits[at + 1]) * 65599) & KEY
        place = ((key * 2654435761) >> 12) & mask
        lag = base + at - table[place]
        known = table[place] >= 0
        table[place] = base + at
        if not known or lag > most_lag or lag > at - 1 or base + at < done:
            continue
        first, last = at, at
        while first > lag and x[first - 1] == x[first - 1 - lag] and base + first > done:
            first -= 1
        while last < x.size and x[last] == x[last - lag]:
            last += 1
        if last - first >= least and kept < out.shape[0]:
            out[kept, 0], out[kept, 1], out[kept, 2] = first, last, lag
            kept += 1
            done = base + last
    return kept, done


@quick_kernel
def envelope(x: SampleArray, width: int, top: SampleArray, bend: SampleArray) -> None:
    """Of each stretch of `width` samples the largest magnitude, and the largest third difference."""
    size = np.empty(top.size * width, np.float32)
    bent = np.empty(top.size * width, np.float32)
    bent[:3] = 0.0
    x1, x2, x3, after = x[1:], x[2:], x[3:], bent[3:]
    for j in range(size.size):
        size[j] = abs(x[j])
    for j in range(after.size):
        after[j] = abs(x3[j] - x[j] - np.float32(3.0) * (x2[j] - x1[j]))
    for i in range(top.size):
        largest, sharp = np.float32(0.0), np.float32(0.0)
        sizes, bends = size[i * width : (i + 1) * width], bent[i * width : (i + 1) * width]
        for j in range(width):
            largest = max(largest, sizes[j])
            sharp = max(sharp, bends[j])
        top[i], bend[i] = largest, sharp


# wide: compiled code takes arrays and numbers
@kernel
def holes(
    top: SampleArray,
    trail: SampleArray,
    depth: float,
    live: float,
    edge: int,
    half: int,
    least: int,
    most: int,
    out: IntArray,
) -> int:
    """Stretches of the envelope that fall steeply on both sides, as rows first, past the last. Returns how many.

    In a hole every bin is `depth` times under the level on both sides; that level is the lesser of the largest bins
    in the two halves of `half` bins that end (begin) `edge` bins away, so a lone click makes no side. trail : the
    largest of each bin and those before it, `half` in all. Both sides must reach `live`.
    """
    kept = 0
    active = 2 * half
    i = active + edge
    while i < top.size - active - edge:
        before = min(trail[i - edge - half - 1], trail[i - edge - 1])
        limit = before / depth
        if before < live or top[i] > limit or top[i - 1] <= limit:
            i += 1
            continue
        stop = i
        while stop < top.size and top[stop] <= limit and stop - i <= most:
            stop += 1
        if stop - i < least or stop - i > most or stop + edge + active > top.size:
            i += 1
            continue
        after = min(trail[stop + edge + half - 1], trail[stop + edge + active - 1])
        if after >= live and top[i:stop].max() * depth <= after and kept < out.shape[0]:
            out[kept, 0], out[kept, 1] = i, stop
            kept += 1
            i = stop
        i += 1
    return kept


# wide: compiled code takes arrays and numbers
@kernel
def gaps(
    top: SampleArray,
    trail: SampleArray,
    depth: float,
    leap: float,
    flat: float,
    live: float,
    edge: int,
    half: int,
    least: int,
    most: int,
    out: IntArray,
) -> int:
    """Stretches of the envelope that keep one level, `depth` times under both sides, as rows first, past the last.

    Unlike a hole's, its bins are held against its own median: at most `flat` times that, and within `edge` bins on
    both sides a bin that reaches `leap` times it. So sides of different levels do not matter. Zeros are no noise,
    and told elsewhere. The level of a side, `trail`, `half` and `live` are as in `holes`. Returns how many.
    """
    kept = 0
    active = 2 * half
    i = active + edge
    while i < top.size - active - edge - least:
        before = min(trail[i - edge - half - 1], trail[i - edge - 1])
        if before < live or top[i - 1] < 1.5 * top[i] or top[i : i + least].max() * depth > flat * before:
            i += 1
            continue
        inside = np.median(top[i : i + least])
        stop = i
        while stop < top.size and top[stop] <= flat * inside and stop - i <= most:
            stop += 1
        if stop - i < least or stop - i > most or stop + edge + active > top.size:
            i += 1
            continue
        inside = np.median(top[i:stop])
        sharp = min(top[i - edge : i].max(), top[stop : stop + edge].max())
        after = min(trail[stop + edge + half - 1], trail[stop + edge + active - 1])
        level = min(before, after) >= depth * inside and top[i:stop].max() <= flat * inside
        if inside > 0.0 and after >= live and level and sharp >= leap * inside and kept < out.shape[0]:
            out[kept, 0], out[kept, 1] = i, stop
            kept += 1
            i = stop
        i += 1
    return kept


@kernel
def amplitudes(x: SampleArray, full: float, run: int, counts: IntArray, out: IntArray) -> tuple[int, int]:
    """Count magnitudes into `counts` (its last bin is 1 and more), and find flat tops.

    A flat top is at least three neighbours of the same sign at `full` or over it: rows of `out` are first, past the
    last. run : samples of such a stretch at the end of what came before. Returns how many, and the new `run`.
    """
    kept = 0
    last = counts.size - 1
    for i in range(x.size):
        size = abs(x[i])
        # Compared before it is made whole: what is no audio (1e18, infinity, NaN) has no whole number that fits.
        counts[int(size * last) if size < 1.0 else last] += 1
        if size >= full and (run == 0 or i == 0 or (x[i] > 0) == (x[i - 1] > 0)):
            run += 1
            continue
        if run >= 3 and kept < out.shape[0]:
            out[kept, 0], out[kept, 1] = i - run, i
            kept += 1
        run = 1 if size >= full else 0
    return kept, run


@quick_kernel
def held_high(x: SampleArray, least: float, flags: BoolArray) -> None:
    """Whether each of x[1:] is its neighbour before over again, at `least` and more."""
    before, here, limit = x, x[1:], np.float32(least)
    for i in range(flags.size):
        flags[i] = (here[i] == before[i]) & (abs(here[i]) >= limit)


@kernel
def flat_tops(x: SampleArray, held: IntArray, out: IntArray, levels: SampleArray) -> int:
    """Runs of four and more samples of one value that are tops, but not of a smooth wave: first, past the last.

    What stands before and after is of the same sign, nearer to zero, at least half as large, and on one side four
    steps of 16 bits away; the top of a smooth wave is left in less than three. held : places that hold what stood
    before them. levels : the magnitude of each run. A run at an end of x is none. Returns how many.
    """
    kept, at = 0, 0
    while at < held.size:
        last = at
        while last + 1 < held.size and held[last + 1] == held[last] + 1:
            last += 1
        first, past = held[at] - 1, held[last] + 1
        at = last + 1
        if past - first < 4 or first < 1 or past >= x.size or kept >= out.shape[0]:
            continue
        size = abs(x[first])
        sign = np.float32(1.0) if x[first] > 0 else np.float32(-1.0)
        low, high = min(sign * x[first - 1], sign * x[past]), max(sign * x[first - 1], sign * x[past])
        if 0.5 * size <= low and high < size and size - low >= 4.0 / 32768.0:
            out[kept, 0], out[kept, 1], levels[kept] = first, past, size
            kept += 1
    return kept
