"""Enumeration as compiled loops. Importing this loads numba (0.5 s): `maps` and `tally` do so only when it pays."""

from __future__ import annotations

import numpy as np

from linkwright.physics.compiled import kernel
from linkwright.physics.intermodulation.enumeration import Numbers
from linkwright.physics.intermodulation.kinds import Pattern
from linkwright.units import BoolArray, IntArray


# wide: compiled code takes arrays and numbers
def add_products(
    out: Numbers,
    first: int,
    cells: IntArray,
    weights: Numbers,
    members: list[IntArray],
    pattern: Pattern,
    base: int,
    weight: float,
) -> None:
    """As `enumeration.add_products`. The carriers of each group must be ascending."""
    order = np.concatenate(members)
    ends = np.cumsum([0, *(group.size for group in members)])
    low = np.array([ends[group] for _, group in pattern], dtype=np.int64)
    high = np.array([ends[group + 1] for _, group in pattern], dtype=np.int64)
    tied = np.array([n > 0 and pattern[n] == pattern[n - 1] for n in range(len(pattern))], dtype=np.bool_)
    coefficients = np.array([c for c, _ in pattern], dtype=np.int64)
    raised = weights[order] ** abs(int(coefficients[-1]))
    scalar: float = out.dtype.type(weight).item()  # a whole number where counts are added
    _add(
        out,
        cells[order],
        weights[order],
        raised,
        low,
        high,
        tied,
        coefficients,
        base - first,
        scalar,
    )


@kernel
def _first_from(cells: IntArray, low: int, high: int, least: int) -> int:
    """The first index in low..high, cells ascending between them, whose cell is at least `least`."""
    while low < high:
        middle = (low + high) // 2
        if cells[middle] < least:
            low = middle + 1
        else:
            high = middle
    return low


# wide: compiled code takes arrays and numbers
@kernel
def _add_last(
    out: Numbers,
    cells: IntArray,
    raised: Numbers,
    low: int,
    high: int,
    c: int,
    place: int,
    weight: float,
    taken: IntArray,
) -> None:
    """Every carrier low..high in the last slot, but those taken (ascending), as far as the product is on the
    map."""
    size = out.size
    if c > 0:  # 0 <= place + c cell < size
        begin = _first_from(cells, low, high, -(place // c))
        end = _first_from(cells, begin, high, (size - 1 - place) // c + 1)
    else:
        begin = _first_from(cells, low, high, (place - size) // -c + 1)
        end = _first_from(cells, begin, high, place // -c + 1)
    for n in range(taken.size + 1):
        stop = end if n == taken.size else min(end, taken[n])
        for d in range(begin, stop):
            out[place + c * cells[d]] += weight * raised[d]
        if n < taken.size:
            begin = max(begin, taken[n] + 1)


@kernel
def _take(taken: IntArray, count: int, carrier: int) -> bool:
    """Put a carrier in its place among the first `count` of taken, ascending; False where it is there already."""
    n = count
    while n > 0 and taken[n - 1] >= carrier:
        if taken[n - 1] == carrier:
            return False
        n -= 1
    for move in range(count, n, -1):
        taken[move] = taken[move - 1]
    taken[n] = carrier
    return True


@kernel
def _leave(taken: IntArray, count: int, carrier: int) -> None:
    """Take a carrier out of the first `count` of taken."""
    n = 0
    while taken[n] != carrier:
        n += 1
    for move in range(n, count - 1):
        taken[move] = taken[move + 1]


# wide: compiled code takes arrays and numbers
@kernel
def _add(
    out: Numbers,
    cells: IntArray,
    weights: Numbers,
    raised: Numbers,
    low: IntArray,
    high: IntArray,
    tied: BoolArray,
    coefficients: IntArray,
    place: int,
    weight: float,
) -> None:
    """All products of a pattern: a stack of loops, one a slot, the last of them by `_add_last`.

    low, high, tied, coefficients : (slots,). A tied slot's carrier comes after the one before it.
    """
    last = coefficients.size - 1
    at, taken = np.zeros(last + 1, dtype=np.int64), np.zeros(last, dtype=np.int64)
    held = np.zeros(last + 1, dtype=np.bool_)
    places, powers = np.zeros(last + 1, dtype=np.int64), np.zeros(last + 1, dtype=out.dtype)
    places[0], powers[0], at[0] = place, weight, low[0] - 1
    slot = 0
    while slot >= 0:
        if slot == last:
            begin = at[slot] + 1
            _add_last(out, cells, raised, begin, high[slot], coefficients[slot], places[slot], powers[slot], taken)
            slot -= 1
            continue
        if held[slot]:
            _leave(taken, slot + 1, at[slot])
        at[slot] += 1
        while at[slot] < high[slot] and not _take(taken, slot, at[slot]):
            at[slot] += 1
        held[slot] = at[slot] < high[slot]
        if not held[slot]:
            slot -= 1
            continue
        places[slot + 1] = places[slot] + coefficients[slot] * cells[at[slot]]
        powers[slot + 1] = powers[slot]
        for _ in range(abs(coefficients[slot])):
            powers[slot + 1] *= weights[at[slot]]
        slot += 1
        at[slot] = at[slot - 1] if tied[slot] else low[slot] - 1
