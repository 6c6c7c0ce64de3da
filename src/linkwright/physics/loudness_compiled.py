"""Compiled loops over samples: K-weighted energies and true peak."""

from __future__ import annotations

import numpy as np

from linkwright.physics.compiled import kernel
from linkwright.units import FloatArray, SampleArray


@kernel
def energies(x: SampleArray, hop: int, k: FloatArray, state: FloatArray, out: FloatArray) -> None:
    """Sums over whole hops into `out`, shape (hops, 5): K-weighted square, value, square, largest magnitude, and
    the square of what each sample differs by from the one before.

    x : samples, full scale 1, at least hops * hop of them. k : coefficients of `k_weighting`. state : shape (2, 2),
    the filters' memory, zeros at the beginning; carried on.
    """
    b0, b1, b2, a1, a2 = k[0, 0], k[0, 1], k[0, 2], k[0, 3], k[0, 4]
    c0, c1, c2, d1, d2 = k[1, 0], k[1, 1], k[1, 2], k[1, 3], k[1, 4]
    s1, s2, t1, t2 = state[0, 0], state[0, 1], state[1, 0], state[1, 1]
    at = 0
    before = float(x[0]) if x.size else 0.0
    for i in range(out.shape[0]):
        weighted, total, square, top, bent = 0.0, 0.0, 0.0, 0.0, 0.0
        for _ in range(hop):
            v = float(x[at])
            at += 1
            bent += (v - before) * (v - before)
            before = v
            total += v
            square += v * v
            top = max(top, abs(v))
            y = b0 * v + s1
            s1 = b1 * v - a1 * y + s2
            s2 = b2 * v - a2 * y
            z = c0 * y + t1
            t1 = c1 * y - d1 * z + t2
            t2 = c2 * y - d2 * z
            weighted += z * z
        if abs(s1) + abs(s2) + abs(t1) + abs(t2) < 1e-18:  # numbers below 1e-308 are a hundred times as slow
            s1, s2, t1, t2 = 0.0, 0.0, 0.0, 0.0
        out[i, 0], out[i, 1], out[i, 2], out[i, 3], out[i, 4] = weighted, total, square, top, bent
    state[0, 0], state[0, 1], state[1, 0], state[1, 1] = s1, s2, t1, t2


@kernel
def true_peak(x: SampleArray, taps: SampleArray, bound: float, peak: float) -> float:
    """The largest magnitude between the samples of `x`, at least `peak`.

    x : samples with taps.shape[1] - 1 of context; the first place looked at is that after sample half_width - 1.
    taps : of `oversampling`; its first row is the samples themselves. bound : largest sum of magnitudes of a row; a
    stretch whose samples times it stay under the peak found so far cannot hold a larger one, and is passed over. So
    is one that, looked at twice as densely, stays under peak / 1.5: between such places a sine rises by at most
    1 / cos(45 deg) = 1.42.
    """
    width = taps.shape[1]
    places = x.size - width + 1
    stretch = 64
    half = taps.shape[0] // 2
    sums = np.empty(stretch, np.float32)
    for begin in range(0, places, stretch):
        count = min(stretch, places - begin)
        top = 0.0
        for i in range(begin, begin + count + width - 1):
            top = max(top, abs(float(x[i])))
        if top * bound <= peak:
            continue
        peak = max(peak, top)
        top = max(top, _row_peak(x, taps[half], begin, count, sums))
        peak = max(peak, top)
        if top * 1.5 <= peak:
            continue
        for row in range(1, taps.shape[0]):
            if row != half:
                peak = max(peak, _row_peak(x, taps[row], begin, count, sums))
    return peak


@kernel
def _row_peak(x: SampleArray, taps: SampleArray, begin: int, count: int, sums: SampleArray) -> float:
    sums[:count] = 0.0
    for j in range(taps.size):  # the inner loop runs along the samples: such loops use the wide registers
        tap = taps[j]
        for i in range(count):
            sums[i] += tap * x[begin + j + i]
    top = 0.0
    for i in range(count):
        top = max(top, abs(float(sums[i])))
    return top


@kernel
def means(x: SampleArray, every: int, out: SampleArray) -> None:
    """Means of `every` neighbours into `out`, as many as it has places."""
    at = 0
    for i in range(out.size):
        total = np.float32(0.0)
        for _ in range(every):
            total += x[at]
            at += 1
        out[i] = total / every


@kernel
def filtered(x: SampleArray, sections: FloatArray, state: FloatArray, out: FloatArray) -> None:
    """`x` through sections of second order, rows of b0 b1 b2 a1 a2; state : (sections, 2), carried on."""
    for i in range(x.size):
        v = float(x[i])
        for k in range(sections.shape[0]):
            y = sections[k, 0] * v + state[k, 0]
            state[k, 0] = sections[k, 1] * v - sections[k, 3] * y + state[k, 1]
            state[k, 1] = sections[k, 2] * v - sections[k, 4] * y
            v = y
        out[i] = v
    for k in range(sections.shape[0]):
        if abs(state[k, 0]) + abs(state[k, 1]) < 1e-18:
            state[k, 0], state[k, 1] = 0.0, 0.0
