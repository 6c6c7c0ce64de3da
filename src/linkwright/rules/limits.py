"""How much power a row allows on each carrier: its own limit, its steps at the edges, else the strictest known."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from linkwright.rules.library import rows_beside
from linkwright.rules.models import Kind, Row, Step, Territory
from linkwright.rules.power import conducted_mw, most_conducted_mw
from linkwright.units import BoolArray, FloatArray, IntArray


@dataclass(frozen=True, eq=False)
class Limits:
    """The limits of a territory for one kind of transmitter on `carriers_khz` (n,), as conducted powers [mW]."""

    territory: Territory
    carriers_khz: IntArray
    bandwidth_khz: int
    form: str
    antenna_gain_dbi: float
    kind: Kind

    def of(self, row: Row) -> FloatArray:
        """(n,) what a row allows on each carrier [mW], whether or not it covers it; 0 where no limit is known."""
        most_mw = self._own(row)
        if row.max_mw is None:
            most_mw = np.minimum(most_mw, self.strictest(row))
        return most_mw

    def strictest(self, but: Row | None = None) -> FloatArray:
        """(n,) the least known limit of the rows that touch each carrier [mW], CEPT's own beside the country's.

        Where none does, the least of the territory; 0 where nothing is known.
        """
        known = [row for row in self._of_kind(self.territory.rows) if row is not but]
        there = np.full(self.carriers_khz.shape, np.inf)
        for row in (*known, *self._of_kind(rows_beside(self.territory.code))):
            here = self._touches(row.from_khz, row.to_khz)
            there[here] = np.minimum(there[here], self._own(row)[here])
        least = min((float(self._own(row).min(initial=np.inf)) for row in known), default=np.inf)
        filled = np.where(np.isinf(there), least, there)
        return np.where(np.isinf(filled), 0.0, filled)

    def _of_kind(self, rows: Iterable[Row]) -> list[Row]:
        return [row for row in rows if row.kind == self.kind and row.max_mw is not None]

    def _own(self, row: Row) -> FloatArray:
        most_mw = np.full(self.carriers_khz.shape, most_conducted_mw(row, self.antenna_gain_dbi, self.form))
        for step in row.steps:
            here = self._touches(step.from_khz, step.to_khz)
            most_mw[here] = np.minimum(most_mw[here], self._step_mw(row, step))
        return most_mw

    def _step_mw(self, row: Row, step: Step) -> float:
        assert row.power_reference is not None, "a row with steps has a reference"
        return conducted_mw(step.limit_mw(self.form), row.power_reference, self.antenna_gain_dbi)

    def _touches(self, from_khz: int, to_khz: int) -> BoolArray:
        twice = 2 * self.carriers_khz
        touched: BoolArray = (twice + self.bandwidth_khz > 2 * from_khz) & (twice - self.bandwidth_khz < 2 * to_khz)
        return touched
