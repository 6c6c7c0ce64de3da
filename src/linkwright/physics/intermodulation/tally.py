"""Counts and powers of products on a map, kept up while carriers come and go one at a time."""

from __future__ import annotations

from typing import Final

import numpy as np

from linkwright.physics.intermodulation.enumeration import add_products as add_plain
from linkwright.physics.intermodulation.kinds import kinds_counted, patterns_of
from linkwright.physics.intermodulation.levels import gain
from linkwright.physics.intermodulation.maps import product_counts, product_powers_mw
from linkwright.units import FloatArray, IntArray

#: Up to so many carriers a change is made by arrays, without compiled loops.
FEW_CARRIERS: Final = 32


class Tally:
    """The map of one order's products over a range of cells, for a set of carriers that changes.

    `counts` (cells,) are always exact. `powers_mw` (cells,) [mW] carry the round-off of what was added and taken
    away since the last `resync`; `drift_mw` is an upper estimate of it. Where no product is left the power is
    exactly nil.
    """

    def __init__(self, cells: range, order: int, intercept_dbm: float) -> None:
        self.cells, self.order, self.intercept_dbm = cells, order, intercept_dbm
        self.carriers: IntArray = np.zeros(0, dtype=np.int64)
        self.levels_mw: FloatArray = np.zeros(0)
        self.counts: IntArray = np.zeros(len(cells), dtype=np.int64)
        self.powers_mw: FloatArray = np.zeros(len(cells))
        self.drift_mw = 0.0

    def add(self, carrier: int, level_mw: float) -> None:
        """A carrier more. Raises ValueError where one stands on its cell."""
        at = int(np.searchsorted(self.carriers, carrier))
        if at < self.carriers.size and self.carriers[at] == carrier:
            raise ValueError(f"a carrier stands on cell {carrier} already")
        self._change(carrier, level_mw, 1)
        self.carriers = np.insert(self.carriers, at, carrier)
        self.levels_mw = np.insert(self.levels_mw, at, level_mw)

    def remove(self, carrier: int) -> None:
        """A carrier less. Raises ValueError where none stands on that cell."""
        at = int(np.searchsorted(self.carriers, carrier))
        if at == self.carriers.size or self.carriers[at] != carrier:
            raise ValueError(f"no carrier stands on cell {carrier}")
        level_mw = float(self.levels_mw[at])
        self.carriers, self.levels_mw = np.delete(self.carriers, at), np.delete(self.levels_mw, at)
        self._change(carrier, level_mw, -1)

    def resync(self) -> None:
        """The powers made anew from the carriers: no drift."""
        arguments = self.carriers, self.levels_mw, self.cells, self.order, self.intercept_dbm
        self.powers_mw = product_powers_mw(*arguments)
        self.drift_mw = 0.0

    def set(self, carriers: IntArray, levels_mw: FloatArray) -> None:
        """All carriers at once, in place of those there were."""
        ascending = np.argsort(carriers)
        self.counts = product_counts(carriers, self.cells, self.order)
        self.carriers = np.asarray(carriers, dtype=np.int64)[ascending]
        self.levels_mw = np.asarray(levels_mw, dtype=np.float64)[ascending]
        self.resync()

    def _change(self, carrier: int, level_mw: float, sign: int) -> None:
        """Add or take away every product that a carrier makes with those that are there."""
        if self.carriers.size > FEW_CARRIERS and self.order == 3:
            from linkwright.physics.intermodulation.compiled_change import change_third

            two, three = (gain(kind, self.intercept_dbm) for kind in kinds_counted(3))
            largest_mw = change_third(
                self.counts, self.powers_mw, self.cells.start, self.carriers, self.levels_mw,
                carrier, level_mw, two, three, sign,
            )  # fmt: skip
        else:
            largest_mw = float(np.max(self.powers_mw, initial=0.0))
            self._change_by_slots(carrier, level_mw, sign)
            largest_mw = float(np.max(self.powers_mw, initial=largest_mw))
        self.drift_mw += float(np.finfo(np.float64).eps) * largest_mw

    def _change_by_slots(self, carrier: int, level_mw: float, sign: int) -> None:
        """The carrier stands in each slot in turn, one of those that are alike; others fill the other slots."""
        if self.carriers.size > FEW_CARRIERS:
            from linkwright.physics.intermodulation.compiled import add_products
        else:
            add_products = add_plain
        members, first = [np.arange(self.carriers.size)], self.cells.start
        ones = np.ones(self.carriers.size, dtype=np.int64)
        for kind in kinds_counted(self.order):
            (pattern,) = patterns_of(kind, 1)
            strength = sign * gain(kind, self.intercept_dbm)
            for c in sorted(set(kind.coefficients)):
                rest = list(pattern)
                rest.remove((c, 0))
                others, base = tuple(rest), c * carrier
                power = strength * level_mw ** abs(c)
                add_products(self.counts, first, self.carriers, ones, members, others, base, sign)
                add_products(self.powers_mw, first, self.carriers, self.levels_mw, members, others, base, power)
        self.powers_mw[(self.counts == 0) | (self.powers_mw < 0.0)] = 0.0
