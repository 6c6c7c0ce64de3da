"""One carrier more or less on a third-order map, counts and powers in one go. Importing this loads numba."""

from __future__ import annotations

from linkwright.physics.compiled import kernel
from linkwright.units import FloatArray, IntArray


# wide: compiled code takes arrays and numbers
@kernel
def change_third(
    counts: IntArray,
    powers: FloatArray,
    first: int,
    cells: IntArray,
    weights: FloatArray,
    carrier: int,
    weight: float,
    two: float,
    three: float,
    sign: int,
) -> float:
    """Add (sign 1) or take away (-1) every third-order product of a carrier with the others.

    counts, powers : the map from cell `first` on. cells, weights : (n,) of the others. two, three : gains of 2A-B
    and A+B-C. Returns the largest power that was on a cell it touched; one without products gets no power at all.
    """
    size, largest = counts.size, 0.0
    here = carrier - first
    for a in range(cells.size):
        apart = cells[a] - carrier
        for at, power in (
            (here - apart, two * weight * weight * weights[a]),
            (here + 2 * apart, two * weight * weights[a] * weights[a]),
        ):
            if 0 <= at < size:
                largest = max(largest, _put(counts, powers, at, power, sign))
        with_a = three * weight * weights[a]
        for b in range(a):
            between, power = cells[a] - cells[b], with_a * weights[b]
            for at in (here + between, here - between, here + apart + cells[b] - carrier):
                if 0 <= at < size:
                    largest = max(largest, _put(counts, powers, at, power, sign))
    return largest


@kernel
def _put(counts: IntArray, powers: FloatArray, at: int, power: float, sign: int) -> float:
    """One product more or less on a cell; the larger of its powers before and after."""
    before = powers[at]
    counts[at] += sign
    after = max(before + sign * power, 0.0) if counts[at] > 0 else 0.0
    powers[at] = after
    return float(max(before, after))
