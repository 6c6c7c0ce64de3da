"""How many links can there be at most? Upper limits that are proved, whatever anybody's search finds.

Clean sets. Let n carriers lie within a span L, and let all differences of two of them be at least g apart and
at least g long (g is the least guard, or the raster where that is coarser). Take r from 1 to k and, for each,
the n-r differences of carriers r places apart. These m = kn - k(k+1)/2 differences are distinct, so they add up
to at least g + 2g + ... + mg = g m(m+1)/2; and for each r they telescope to at most r L, so they add up to at
most L k(k+1)/2. Hence g m(m+1) <= L k(k+1) for every k (the argument of Erdos and Turan 1941 and of Lindstrom
1969). Where g is one step of the lattice, n carriers need the length of the optimal Golomb ruler of n marks
(OEIS A003022), which is known by exhaustive search.

Any set. Carriers keep their spacing, so no more fit than a scan from the bottom takes at the least spacing.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass
from typing import Final

import numpy as np

from linkwright.assign.problem import Problem
from linkwright.units import IntArray

#: Length of the optimal Golomb ruler of n = 1, 2, 3... marks; OEIS A003022.
GOLOMB_LENGTHS: Final = (
    0, 1, 3, 6, 11, 17, 25, 34, 44, 55, 72, 85, 106, 127, 151, 177, 199, 216, 246, 283, 333, 356, 372, 425,
    480, 492, 553, 585,
)  # fmt: skip


@functools.lru_cache(maxsize=1024)
def clean_bound(span_khz: int, guard_khz: int, raster_khz: int) -> int:
    """The most carriers of a clean set within `span_khz`, from lowest to highest carrier.

    `guard_khz` is the least of the guards and the spacing (0 or less: none is kept), `raster_khz` the lattice.
    """
    if guard_khz <= 0:
        return span_khz // raster_khz + 1
    apart = -(-guard_khz // raster_khz) * raster_khz
    by_sums = _bound_by_sums(span_khz, apart)
    if apart > raster_khz:
        return by_sums
    steps = span_khz // raster_khz
    fitting = sum(length <= steps for length in GOLOMB_LENGTHS)
    return min(by_sums, fitting) if fitting < len(GOLOMB_LENGTHS) else by_sums


def _bound_by_sums(span_khz: int, apart_khz: int) -> int:
    allowed, not_allowed = 1, 2
    while _sums_allow(not_allowed, span_khz, apart_khz):  # every sum grows with n: double, then halve
        allowed, not_allowed = not_allowed, 2 * not_allowed
    while not_allowed - allowed > 1:
        middle = (allowed + not_allowed) // 2
        if _sums_allow(middle, span_khz, apart_khz):
            allowed = middle
        else:
            not_allowed = middle
    return allowed


def _sums_allow(n: int, span_khz: int, apart_khz: int) -> bool:
    k = np.arange(1, n, dtype=np.int64)
    m = k * n - k * (k + 1) // 2
    return bool(np.all(apart_khz * m * (m + 1) <= span_khz * k * (k + 1)))


def spacing_bound(slots_khz: IntArray, spacing_khz: int) -> int:
    """The most carriers that keep `spacing_khz` on these slots (ascending): the scan from the bottom is best."""
    behind = np.searchsorted(slots_khz, slots_khz + max(spacing_khz, 1)).tolist()
    count, at = 0, 0
    while at < slots_khz.size:
        count, at = count + 1, behind[at]
    return count


def bounds_of_call(problem: Problem, call: tuple[int, ...]) -> tuple[int, int]:
    """(clean, any): the most links of the call's kinds that a clean plan, and any plan, could place."""
    wishes = [problem.wishes[i] for i in call if problem.wishes[i].slots_khz.size]
    if not wishes:
        return 0, 0
    arrays = {id(wish.slots_khz): wish.slots_khz for wish in wishes}
    kinds = tuple(_Slots(arrays[key]) for key in sorted(arrays))
    guard = min(problem.guard_two_khz, problem.guard_three_khz)
    return _bounds_of_kinds(kinds, min(wish.spacing_khz for wish in wishes), guard)


@dataclass(frozen=True, slots=True, eq=False)
class _Slots:
    """An array of slots that is equal to itself alone: links of one kind share theirs."""

    khz: IntArray

    def __hash__(self) -> int:
        return id(self.khz)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Slots) and self.khz is other.khz


@functools.lru_cache(maxsize=64)
def _bounds_of_kinds(kinds: tuple[_Slots, ...], spacing_khz: int, guard_khz: int) -> tuple[int, int]:
    slots = np.sort(np.concatenate([kind.khz for kind in kinds]), kind="stable")
    slots = slots[np.diff(slots, prepend=slots[0] - 1) > 0]
    span = int(slots[-1] - slots[0])
    raster = int(np.gcd.reduce(np.array([np.gcd.reduce(kind.khz - slots[0]) for kind in kinds]))) or 1
    packed = spacing_bound(slots, spacing_khz)
    return min(clean_bound(span, min(guard_khz, spacing_khz), raster), packed), packed
