"""Counts and powers of intermodulation products over a range of a lattice.

Carriers and products stand on cells of a lattice: cell c is at origin + c step for whatever origin and step, since
the coefficients of a product sum to one. Three ways give the same map: arrays (few carriers), compiled loops, and
spectra (many); the fastest by a measured rule is taken, and any can be asked for.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from fractions import Fraction
from typing import Final, Literal, TypeAlias

import numpy as np

from linkwright.physics.intermodulation.enumeration import Numbers
from linkwright.physics.intermodulation.kinds import (
    Pattern,
    ProductKind,
    kinds_counted,
    pattern_symmetry,
    patterns_of,
    two_carrier_kind,
)
from linkwright.physics.intermodulation.layers import (
    MOST_LAYERS,
    Lines,
    TooCoarse,
    counts_by_spectra,
    powers_by_spectra,
)
from linkwright.physics.intermodulation.levels import gain, relative_gain
from linkwright.physics.intermodulation.moebius import added
from linkwright.physics.intermodulation.spectra import reach_of
from linkwright.units import FloatArray, IntArray

#: How a map is made: "auto" is the fastest of the others.
Way: TypeAlias = Literal["auto", "plain", "loops", "spectra"]
#: Patterns with their strength relative to the weakest of a map, which is one.
Weighed: TypeAlias = Sequence[tuple[Pattern, Fraction]]

#: Up to so many products arrays are faster than loading compiled loops (0.5 s) and then running them.
PLAIN_PRODUCTS: Final = 30_000
#: Where spectra cannot tell powers, up to so many products are enumerated instead: about a minute.
MOST_LOOPED: Final = 50_000_000_000
#: What the compiled loops cost a product, and each start of the innermost [ns]; and what spectra cost a cell of
#: their length, by order: counts, powers, and powers in layers. Measured, see docs/intermodulation.md. A single
#: pass for powers may turn out not to do, so it counts double.
LOOP_NS: Final = 0.5
LAST_LOOP_NS: Final = 150.0
COUNT_CELL_NS: Final = {3: 40.0, 5: 80.0, 7: 32.0}
POWER_CELL_NS: Final = {3: 90.0, 5: 230.0, 7: 75.0}
LAYERS_CELL_NS: Final = {3: 500.0, 5: 5000.0, 7: 900.0}


def lattice_cells(frequencies_khz: IntArray, origin_khz: int, step_khz: int) -> IntArray:
    """The cells of frequencies [kHz] on the lattice origin + cell step. Raises ValueError for one that is not on
    it."""
    cells, off = np.divmod(np.asarray(frequencies_khz, dtype=np.int64) - origin_khz, step_khz)
    if np.any(off):
        wrong = int(np.asarray(frequencies_khz)[np.flatnonzero(off)[0]])
        raise ValueError(f"{wrong} kHz is not on the lattice of {step_khz} kHz from {origin_khz} kHz")
    return np.asarray(cells, dtype=np.int64)


def product_counts(carriers: IntArray, cells: range, order: int = 3, way: Way = "auto") -> IntArray:
    """How many products of an order fall on each of `cells`, shape (len(cells),).

    carriers : (n,) cells, pairwise distinct. All kinds of the order, over pairwise distinct carriers. Raises
    ValueError for carriers that are not distinct, and layers.TooCoarse where spectra cannot count so many.
    """
    return _counts(carriers, cells, kinds_counted(order), way)


def counts_by_kind(
    carriers: IntArray, cells: range, order: int = 3, way: Way = "auto"
) -> dict[ProductKind, IntArray]:
    """`product_counts` for each kind of the order apart."""
    return {kind: _counts(carriers, cells, (kind,), way) for kind in kinds_counted(order)}


def product_powers_mw(
    carriers: IntArray, levels_mw: FloatArray, cells: range, order: int, intercept_dbm: float, way: Way = "auto"
) -> FloatArray:
    """Power of all products of an order on each of `cells`, added up [mW], shape (len(cells),).

    carriers : (n,) cells, pairwise distinct; levels_mw : (n,) at the receiver's input. `intercept_dbm` is the input
    intercept point of the order (IIP3, IIP5, IIP7). Every way gives the same to 1e-6 dB where it is above -140 dBm.
    Raises ValueError as `product_counts`, and layers.TooCoarse.
    """
    widths = np.zeros(np.size(carriers))
    power = powers_by_widths_mw(carriers, widths, levels_mw, cells, order, intercept_dbm, way)
    return power.get((0.0,) * order, np.zeros(len(cells)))


def powers_by_kind_mw(
    carriers: IntArray, levels_mw: FloatArray, cells: range, order: int, intercept_dbm: float, way: Way = "auto"
) -> dict[ProductKind, FloatArray]:
    """`product_powers_mw` for each kind of the order apart."""
    cell, level = _checked(carriers, levels_mw)
    group = [np.arange(cell.size)]
    return {
        kind: _powers(cell, level, group, cells, [(patterns_of(kind, 1)[0], Fraction(1))], scale, way)
        for kind in kinds_counted(order)
        for scale in [gain(kind, intercept_dbm)]
    }


def powers_by_widths_mw(
    carriers: IntArray,
    widths: FloatArray,
    levels_mw: FloatArray,
    cells: range,
    order: int,
    intercept_dbm: float,
    way: Way = "auto",
) -> dict[tuple[float, ...], FloatArray]:
    """`product_powers_mw` for each set of widths that the factors of a product can have, ascending.

    widths : (n,) of the carriers, in any unit. A carrier with the coefficient c is |c| factors: 2A-B of carriers
    100 and 25 wide has the widths (25, 100, 100).
    """
    cell, level = _checked(carriers, levels_mw)
    sizes, group_of = np.unique(np.asarray(widths, dtype=np.float64)[np.argsort(carriers)], return_inverse=True)
    members = [np.flatnonzero(group_of == group) for group in range(sizes.size)]
    by_widths: dict[tuple[float, ...], list[tuple[Pattern, Fraction]]] = {}
    for kind in kinds_counted(order):
        for pattern in patterns_of(kind, len(members)):
            if _number([(pattern, Fraction(1))], members):
                factors = tuple(sorted(float(sizes[group]) for c, group in pattern for _ in range(abs(c))))
                by_widths.setdefault(factors, []).append((pattern, relative_gain(kind)))
    scale = gain(two_carrier_kind(order), intercept_dbm)
    return {
        factors: _powers(cell, level, members, cells, weighed, scale, way)
        for factors, weighed in sorted(by_widths.items())
    }


def _checked(carriers: IntArray, levels_mw: FloatArray | None = None) -> tuple[IntArray, FloatArray]:
    """Carriers ascending, and their levels with them."""
    given = np.asarray(carriers, dtype=np.int64)
    order = np.argsort(given)
    cell = given[order]
    if np.any(cell[1:] == cell[:-1]):
        raise ValueError("two carriers stand on one cell; products are of distinct carriers")
    level = np.ones(cell.size) if levels_mw is None else np.asarray(levels_mw, dtype=np.float64)[order]
    if np.any(level < 0.0):
        raise ValueError("a level cannot be negative [mW]")
    return cell, level


def _counts(carriers: IntArray, cells: range, kinds: Sequence[ProductKind], way: Way) -> IntArray:
    cell, _ = _checked(carriers)
    out = np.zeros(len(cells), dtype=np.int64)
    lines, part = _lines(cell, [np.arange(cell.size)], kinds[0].order, cells)
    if not lines.wanted:
        return out
    weighed = [(patterns_of(kind, 1)[0], Fraction(1)) for kind in kinds]
    way = _fastest(_number(weighed, lines.members), lines, COUNT_CELL_NS) if way == "auto" else way
    if way == "spectra":
        out[part] = counts_by_spectra(added(weighed), lines)
    else:
        out[part] = _enumerated(np.ones(cell.size, dtype=np.int64), lines, weighed, 1.0, way)
    return out


def _powers(
    cell: IntArray,
    level: FloatArray,
    members: list[IntArray],
    cells: range,
    weighed: Weighed,
    scale: float,
    way: Way,
) -> FloatArray:
    out = np.zeros(len(cells))
    lines, part = _lines(cell, members, sum(abs(c) for c, _ in weighed[0][0]), cells)
    if not lines.wanted:
        return out
    number = _number(weighed, members)
    taken = _fastest(number, lines, POWER_CELL_NS) if way == "auto" else way
    if taken == "spectra":
        layers_pay = way != "auto" or _fastest(number, lines, LAYERS_CELL_NS) == "spectra"
        try:
            out[part] = powers_by_spectra(added(weighed), lines, level, scale, MOST_LAYERS if layers_pay else 1)
            return out
        except TooCoarse:
            if way != "auto" or number > MOST_LOOPED:
                raise
            taken = "loops"
    out[part] = _enumerated(level, lines, weighed, scale, taken)
    return out


def _lines(cell: IntArray, members: list[IntArray], order: int, cells: range) -> tuple[Lines, slice]:
    """The carriers on the widest lattice that they share, from the lowest of them, and where its cells are in
    `cells`.

    Products fall on that lattice and on no other cell. Raises ValueError for cells that skip any.
    """
    if cells.step != 1:
        raise ValueError(f"a map has every cell of its range, not one in {cells.step}")
    if cell.size < 2:
        return Lines(cell, members, order, range(0)), slice(0)
    lowest, step = int(cell[0]), int(np.gcd.reduce(np.diff(cell)))
    low, high = reach_of(order, cell)
    first, stop = max(cells.start, low), min(cells.stop, high + 1)
    first += (lowest - first) % step
    begin = (first - lowest) // step
    wanted = range(begin, begin + max(0, -(-(stop - first) // step)))
    return Lines((cell - lowest) // step, members, order, wanted), slice(
        first - cells.start, stop - cells.start, step
    )


def _number(weighed: Weighed, members: list[IntArray]) -> int:
    """How many products the patterns have, wherever they fall."""
    total = 0
    for pattern, _ in weighed:
        taken = Counter(group for _, group in pattern)
        assignments = math.prod(math.perm(members[group].size, count) for group, count in taken.items())
        total += assignments // pattern_symmetry(pattern)
    return total


def _fastest(number: int, lines: Lines, cell_ns: Mapping[int, float]) -> Way:
    """The fastest way, by what was measured."""
    if number <= PLAIN_PRODUCTS:
        return "plain"
    loops_ns = number * (LOOP_NS + LAST_LOOP_NS / lines.cells.size)
    return "loops" if loops_ns < lines.length() * cell_ns[lines.order] else "spectra"


def _enumerated(weights: Numbers, lines: Lines, weighed: Weighed, scale: float, way: Way) -> Numbers:
    """Every product of the patterns added to a map, one by one."""
    if way == "loops":
        from linkwright.physics.intermodulation.compiled import add_products
    else:
        from linkwright.physics.intermodulation.enumeration import add_products
    out = np.zeros(len(lines.wanted), dtype=weights.dtype)
    for pattern, factor in weighed:
        add_products(
            out, lines.wanted.start, lines.cells, weights, lines.members, pattern, 0, scale * float(factor)
        )
    return out
