"""The histograms of `kernels` in plain numpy: for small problems, and what the compiled ones are tested against.

Loading compiled code costs most of a second; a dozen links are placed here in less than that.
"""

from __future__ import annotations

import functools
from typing import Final

import numpy as np

from linkwright.assign.histograms import Histograms
from linkwright.units import CountArray, FloatArray, IntArray

#: Up to this many stretches of cells are added one by one, which is quicker then.
ONE_BY_ONE: Final = 80


def spans(counts: CountArray, low: IntArray, high: IntArray, sign: int) -> None:
    """Add `sign` to counts[low..high] for each pair, cells outside left out: one by one where they are few, else by
    the ends, then summed up."""
    if low.size <= ONE_BY_ONE:
        for first, last in zip(np.maximum(low, 0).tolist(), high.tolist(), strict=True):
            if first <= last:
                counts[first : last + 1] += sign
        return
    low, high = np.maximum(low, 0), np.minimum(high, counts.size - 1)
    some = low <= high
    ends = np.bincount(low[some], minlength=counts.size + 1) - np.bincount(
        high[some] + 1, minlength=counts.size + 1
    )
    counts += (sign * np.cumsum(ends[: counts.size])).astype(counts.dtype)


@functools.lru_cache(maxsize=64)
def _pairs(count: int) -> tuple[IntArray, IntArray, IntArray, IntArray]:
    """Both of all ordered pairs, and of all pairs once, of so many."""
    return *np.nonzero(~np.eye(count, dtype=np.bool_)), *np.triu_indices(count, k=1)  # type: ignore[return-value]


def change(counts: Histograms, call: int, reach: IntArray, cell: int, sign: int) -> None:
    """`kernels.change`, arguments and effect alike."""
    prod, near, others = counts.prod[call], counts.near[call], counts.members[call, : counts.sizes[call]]
    for s in range(near.shape[0]):
        spans(near[s], np.array([cell - reach[s]]), np.array([cell + reach[s]]), sign)
    two = np.concatenate([2 * cell - others, 2 * others - cell])
    spans(prod, two - counts.wide, two + counts.wide, sign)
    middle = cell + others
    spans(counts.mid[call], (middle - counts.wide + 1) // 2, (middle + counts.wide) // 2, sign)
    a, b, first, second = _pairs(others.size)
    three = np.concatenate([cell + others[a] - others[b], others[first] + others[second] - cell])
    spans(prod, three - counts.narrow, three + counts.narrow, sign)


def scan(slots: IntArray, klass: int, calls: IntArray, counts: Histograms, weight: int, out: IntArray) -> None:
    """`kernels.scan`, arguments and effect alike."""
    out[:] = 0
    for k in calls:
        near = counts.near[k, klass, slots].astype(np.int64)
        out += counts.prod[k, slots] + counts.mid[k, slots] + weight * near


def quietest(
    slots: IntArray, rise_db: FloatArray, free: IntArray, taken: IntArray, step_khz: int, far_khz: int
) -> int:
    """`kernels.quietest`, arguments and answer alike."""
    rise = np.round(2.0 * rise_db[free])
    free = free[rise == rise.min()]
    if not taken.size:
        return int(free[0])
    cells = slots[free]
    right = np.searchsorted(taken, cells)
    above = np.abs(taken[np.minimum(right, taken.size - 1)] - cells)
    below = np.abs(taken[np.maximum(right - 1, 0)] - cells)
    return int(free[np.argmax(np.minimum(np.minimum(above, below) * step_khz, far_khz))])


def put(cell: int, sign: int, calls: IntArray, reach: IntArray, counts: Histograms) -> None:
    """`kernels.put`, arguments and effect alike."""
    members, sizes = counts.members, counts.sizes
    for k in calls:
        if sign < 0:
            at = int(np.flatnonzero(members[k, : sizes[k]] == cell)[0])
            sizes[k] -= 1
            members[k, at] = members[k, sizes[k]]
        change(counts, int(k), reach, cell, sign)
        if sign > 0:
            members[k, sizes[k]] = cell
            sizes[k] += 1
