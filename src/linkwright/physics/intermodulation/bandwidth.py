"""Products with their width: how much of a map of lines falls into receivers' filters."""

from __future__ import annotations

import math

import numpy as np

from linkwright.physics.intermodulation.maps import Way, powers_by_widths_mw
from linkwright.physics.intermodulation.shares import filter_share
from linkwright.units import FloatArray, IntArray


def margin_cells(product_khz: float, filter_khz: float, step_khz: float) -> int:
    """How many cells beyond a filter's centre a product still reaches into it or its edge."""
    return math.floor((product_khz + filter_khz) / 2.0 / step_khz)


def spread(lines_mw: FloatArray, widths_khz: tuple[float, ...], filter_khz: float, step_khz: float) -> FloatArray:
    """Power in a filter centred on each cell [mW], for products on the lines, shape as `lines_mw`.

    `widths_khz` are the widths of a product's factors, as for `shares.filter_share`. The sum is cell by cell and
    not by running sums: those would leave the round-off of the strongest line on every cell after it. Cells beyond
    the ends count as empty: give `margin_cells` more on either side than are wanted.
    """
    margin = margin_cells(math.fsum(widths_khz), filter_khz, step_khz)
    offsets = step_khz * np.arange(-margin, margin + 1, dtype=np.float64)
    padded = np.pad(np.asarray(lines_mw, dtype=np.float64), margin)
    return np.convolve(padded, filter_share(offsets, widths_khz, filter_khz), mode="valid")


# wide: a quantity of the formula each
def power_in_filters_mw(
    carriers: IntArray,
    widths_khz: FloatArray,
    levels_mw: FloatArray,
    cells: range,
    step_khz: float,
    filter_khz: float,
    order: int,
    intercept_dbm: float,
    way: Way = "auto",
) -> FloatArray:
    """Power of all products of an order in a filter centred on each of `cells` [mW], their widths counted.

    carriers (n,) are cells of the lattice of `step_khz`, widths_khz (n,) their occupied widths, levels_mw (n,) at
    the receiver's input. Carriers of equal width are one group; a map is made for each set of widths that the
    factors of a product can have.
    """
    most_khz = order * float(np.max(widths_khz, initial=0.0))
    margin = margin_cells(most_khz, filter_khz, step_khz)
    around = range(cells.start - margin, cells.stop + margin)
    maps = powers_by_widths_mw(carriers, widths_khz, levels_mw, around, order, intercept_dbm, way)
    total = sum(spread(lines, widths, filter_khz, step_khz) for widths, lines in maps.items())
    return np.asarray(total)[margin : margin + len(cells)]
