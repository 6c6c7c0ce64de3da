"""Maps by spectra, made exact: counts by rounding, powers by keeping strong and weak carriers apart.

A transform's round-off is a part in 10^16 of the *largest* lines, everywhere. Beside a product of 0 dBm one of
-160 dBm drowns in it. So where it matters the carriers are sorted into layers of `width` dB below the strongest;
a product's layer is the sum of its factors' layers. Within one layer products differ by less than order x width
dB, so a cell holds either a whole product or only round-off, which is told apart and set to nothing. What lies
below the last layer is one more layer, whose round-off is below what is asked for. That it all came out is
checked cell by cell, not assumed.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from linkwright.physics.intermodulation.moebius import Terms, for_counts
from linkwright.physics.intermodulation.spectra import (
    Summed,
    Waves,
    fast_length,
    reach_of,
    sum_over_distinct,
)
from linkwright.units import FloatArray, IntArray

#: Round-off of a map at any cell, in machine epsilons of what its terms could add up to if none cancelled.
ROUND_OFF: Final = 4.0
#: Round-off at one cell from adding that cell's own terms, in machine epsilons of their sizes.
LOCAL_ROUND_OFF: Final = 8.0
#: A count may be this far from a whole number, and its estimated round-off this large.
WHOLE: Final = 0.1
#: Powers are to be right to 1e-6 dB; half of it is left to the enumeration that they are compared with.
TOLERANCE: Final = 10.0**0.5e-7 - 1.0
#: Above this level [mW]: -140 dBm.
FLOOR_MW: Final = 1e-14
#: What a layer's width is less than the most that it may be, over all factors of a product [dB].
MARGIN_DB: Final = 6.0
#: More layers than this are not tried.
MOST_LAYERS: Final = 40


class TooCoarse(ArithmeticError):
    """Spectra of 53 bits cannot tell this map to what is asked; enumerate."""


@dataclass(frozen=True, slots=True)
class Lines:
    """Carriers of one map: cells (n,), the indices of each group's carriers, the order, and the wanted cells, which
    lie within the products' reach."""

    cells: IntArray
    members: list[IntArray]
    order: int
    wanted: range

    def length(self) -> int:
        """How long the transforms are: no product may wrap into the wanted cells."""
        low, high = reach_of(self.order, self.cells)
        return fast_length(max(high - self.wanted.start, self.wanted.stop - 1 - low, len(self.wanted)) + 1)

    def waves(self, weights: FloatArray, layer: IntArray, layers: int) -> Waves:
        """The carriers' spectra, cells counted from the lowest carrier."""
        return Waves(self.cells - int(self.cells.min()), weights, self.members, layer, layers, self.length())

    def from_lowest(self) -> range:
        """The wanted cells, counted from the lowest carrier."""
        base = int(self.cells.min())
        return range(self.wanted.start - base, self.wanted.stop - base)

    def in_one(self, terms: Terms, weights: FloatArray) -> Summed:
        """The map of the terms, all carriers in one layer."""
        waves = self.waves(weights, np.zeros(self.cells.size, dtype=np.int64), 1)
        return sum_over_distinct(terms, waves, self.from_lowest())


def _round_off(summed: Summed) -> FloatArray:
    """An upper estimate of each cell's round-off, (layers, cells)."""
    epsilon = np.finfo(np.float64).eps
    return np.asarray(epsilon * (ROUND_OFF * summed.most[:, None] + LOCAL_ROUND_OFF * summed.local))


def counts_by_spectra(terms: Terms, lines: Lines) -> IntArray:
    """How many products fall on each wanted cell.

    Raises TooCoarse where the result is not within 0.1 of whole numbers, or its round-off may be larger.
    """
    summed = lines.in_one(for_counts(terms), np.ones(lines.cells.size))
    whole = np.rint(summed.maps[0])
    off = max(float(np.abs(summed.maps[0] - whole).max()), float(_round_off(summed).max()))
    if off > WHOLE:
        raise TooCoarse(f"the counts of {lines.cells.size} carriers may be {off:.2g} from whole numbers; enumerate")
    return np.asarray(whole, dtype=np.int64)


def powers_by_spectra(
    terms: Terms, lines: Lines, levels_mw: FloatArray, gain: float, most_layers: int = MOST_LAYERS
) -> FloatArray:
    """Power of the products on each wanted cell [mW], right to 0.5e-6 dB wherever it is above -140 dBm.

    The least weight of a product in `terms` is one, and means a gain of `gain` [mW^(1-order)]. Raises TooCoarse
    where that cannot be had in at most so many layers.
    """
    strongest = float(levels_mw.max())
    if strongest <= 0.0:
        return np.zeros(len(lines.wanted))
    weights, scale = levels_mw / strongest, gain * strongest**lines.order
    floor = FLOOR_MW / scale
    summed = lines.in_one(terms, weights)
    powers, doubt = np.maximum(summed.maps[0], 0.0), _round_off(summed)[0]
    if np.all(doubt <= TOLERANCE * np.maximum(powers, floor)):
        return np.asarray(scale * powers)
    width_db = _width_db(lines.order, float(powers.mean()))
    missing_db = 10.0 * math.log10(float(doubt.max()) / (TOLERANCE * floor))
    layers = 1
    while (layers := layers + 1 + max(0, math.ceil(missing_db / width_db))) <= most_layers:
        split, missing_db = _in_layers(terms, lines, weights, floor, width_db, layers)
        if split is not None:
            return np.asarray(scale * split)
        if missing_db <= 0.0:
            width_db *= 0.7
    raise TooCoarse(f"the powers of {lines.cells.size} carriers range too far for spectra; enumerate them")


def _width_db(order: int, crowd: float) -> float:
    """How wide a layer may be: its weakest product must stand clear of the round-off of `crowd` of its
    strongest."""
    clear = TOLERANCE / (ROUND_OFF * float(np.finfo(np.float64).eps) * max(crowd, 1.0))
    return max(MARGIN_DB, 10.0 * math.log10(clear) - MARGIN_DB) / order


def _in_layers(
    terms: Terms, lines: Lines, weights: FloatArray, floor: float, width_db: float, layers: int
) -> tuple[FloatArray | None, float]:
    """The map with the carriers in layers; or none, and by how many dB the last layer's round-off is too large.

    Where it is not, the layers are too wide: round-off cannot be told from their weakest products.
    """
    down_db = -10.0 * np.log10(np.maximum(weights, 1e-300))
    layer = np.minimum(down_db // width_db, layers - 1).astype(np.int64)
    summed = sum_over_distinct(terms, lines.waves(weights, layer, layers), lines.from_lowest())
    doubt = _round_off(summed)
    least = 10.0 ** (-(np.arange(layers - 1) + lines.order) * width_db / 10.0)[:, None]
    if np.any(doubt[:-1] > 0.25 * least):
        return None, 0.0
    nothing = summed.maps[:-1] < 0.5 * least
    summed.maps[:-1][nothing] = 0.0
    doubt[:-1][nothing] = 0.0
    powers = np.maximum(summed.maps.sum(axis=0), 0.0)
    allowed = TOLERANCE * np.maximum(powers, floor)
    if np.all(doubt.sum(axis=0) <= allowed):
        return np.asarray(powers), 0.0
    last_db = 10.0 * math.log10(max(float((2.0 * doubt[-1] / allowed).max()), 1e-300))
    return None, max(last_db, 0.0)
