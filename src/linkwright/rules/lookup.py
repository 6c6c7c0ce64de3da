"""May this carrier be used, with how much power, and under which row?

Decided for many carriers at once. A row decides where the whole occupied bandwidth lies inside it, the
carrier keeps its raster, its permit is held, its last day has not passed and no closed range is touched.
"""

from __future__ import annotations

import datetime
import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from linkwright.rules.models import Closed, Kind, Row, Territory
from linkwright.rules.power import most_conducted_mw
from linkwright.shoot.errors import InputError, did_you_mean
from linkwright.units import BoolArray, FloatArray, IntArray


@dataclass(frozen=True)
class Allowance:
    """What the rules allow at n carriers.

    most_mw : (n,) most conducted power [mW]; 0 where nothing is allowed, inf where a row states no limit.
    row : (n,) index into `rows` of the row that decides; -1 where none does.
    rows : the territory's rows.
    """

    most_mw: FloatArray
    row: IntArray
    rows: tuple[Row, ...]

    def row_at(self, index: int) -> Row | None:
        """The row that decides for the carrier at `index`; None where it is not allowed."""
        found = int(self.row[index])
        return self.rows[found] if found >= 0 else None


def check_permits(territory: Territory, permits: Iterable[str]) -> frozenset[str]:
    """The ids of the permits held, with other names for them replaced.

    Raises InputError for one that the territory does not know, with those that it knows.
    """
    names = {name: permit.id for permit in territory.permits for name in (permit.id, *permit.also)}
    held = set()
    for asked in permits:
        if asked not in names:
            known = ", ".join(permit.id for permit in territory.permits) or "none"
            near = did_you_mean(asked, names)
            raise InputError(f'"{asked}" is no permit in region {territory.code} (known: {known}){near}')
        held.add(names[asked])
    return frozenset(held)


def check_ids(territory: Territory, ids: Iterable[str], about: str) -> frozenset[str]:
    """The ids of rows, closed ranges and warnings that a shoot names. `about` : who names them, for the sentence.

    Raises InputError for one that the territory has not, with the nearest that it has.
    """
    known = territory.ids
    for asked in ids:
        if asked not in known:
            near = did_you_mean(asked, known) or f'; "linkwright rules {territory.code}" lists the ids'
            raise InputError(f'{about} "{asked}", which is no id of the {territory.code} rules{near}')
    return frozenset(ids)


def closed_ranges(territory: Territory, on: datetime.date) -> tuple[Closed, ...]:
    """The ranges that are closed on the day `on`, from the lowest upwards."""
    return tuple(sorted((one for one in territory.closed if one.holds(on)), key=lambda one: one.from_khz))


def allowance(
    territory: Territory,
    permits: Iterable[str],
    carriers_khz: IntArray,
    bandwidth_khz: int,
    form: str,
    antenna_gain_dbi: float,
    on: datetime.date,
    kind: Kind = "microphone",
) -> Allowance:
    """What the rules allow at each of `carriers_khz` (n,) [kHz] on the day `on`.

    bandwidth_khz : occupied bandwidth [kHz]; form : how the transmitter is carried; antenna_gain_dbi : of the
    transmitter's antenna [dBi]; kind : only rows for this kind of equipment decide.
    Where several rows allow a carrier, the highest conducted power decides (a known limit before none), then
    a stated row before an assumed one, then a permit that is held before exempt use.
    Raises InputError for a permit that the territory does not know.
    """
    carriers = np.asarray(carriers_khz, dtype=np.int64)
    held = check_permits(territory, permits)
    limits_mw = [most_conducted_mw(row, antenna_gain_dbi, form) for row in territory.rows]
    found = np.full(carriers.shape, -1, dtype=np.int64)
    most_mw = np.zeros(carriers.shape, dtype=np.float64)
    is_free = ~in_closed(closed_ranges(territory, on), carriers, bandwidth_khz)
    for index in sorted(range(len(limits_mw)), key=lambda i: _preference(territory.rows[i], limits_mw[i])):
        row = territory.rows[index]
        if _is_open(row, held, bandwidth_khz, on, kind):
            here = is_free & (found < 0) & fits(row, carriers, bandwidth_khz)
            found[here] = index
            most_mw[here] = limits_mw[index]
    return Allowance(most_mw, found, territory.rows)


def _preference(row: Row, limit_mw: float) -> tuple[bool, float, bool, bool, str]:
    """Sorts the row that is to decide first."""
    return (math.isinf(limit_mw), -limit_mw, row.evidence != "stated", row.permit is None, row.id)


def _is_open(row: Row, held: frozenset[str], bandwidth_khz: int, on: datetime.date, kind: Kind) -> bool:
    return (
        row.kind == kind
        and not row.listed_only
        and not row.ended(on)
        and (row.permit is None or row.permit in held)
        and (row.bandwidth_khz is None or bandwidth_khz <= row.bandwidth_khz)
    )


def in_closed(closed: Iterable[Closed], carriers_khz: IntArray, bandwidth_khz: int) -> BoolArray:
    """(n,) whether the occupied bandwidth about each carrier [kHz] reaches into a closed range."""
    twice = 2 * carriers_khz
    touched = np.zeros(carriers_khz.shape, dtype=np.bool_)
    for one in closed:
        touched |= (twice + bandwidth_khz > 2 * one.from_khz) & (twice - bandwidth_khz < 2 * one.to_khz)
    return touched


def fits(row: Row, carriers_khz: IntArray, bandwidth_khz: int) -> BoolArray:
    """(n,) whether each carrier [kHz] with its occupied bandwidth lies inside `row` and on its raster."""
    return inside(row, carriers_khz, bandwidth_khz) & on_raster(row, carriers_khz)


def inside(row: Row, carriers_khz: IntArray, bandwidth_khz: int) -> BoolArray:
    """(n,) whether each carrier [kHz] and its occupied bandwidth lie inside `row` and among its carriers."""
    twice = 2 * carriers_khz
    good: BoolArray = (twice - bandwidth_khz >= 2 * row.from_khz) & (twice + bandwidth_khz <= 2 * row.to_khz)
    if row.carriers_from_khz is not None:
        good &= carriers_khz >= row.carriers_from_khz
    if row.carriers_to_khz is not None:
        good &= carriers_khz <= row.carriers_to_khz
    return good


def on_raster(row: Row, carriers_khz: IntArray) -> BoolArray:
    """(n,) whether each carrier [kHz] lies at the row's lower edge + n * its raster; always, without one."""
    if row.raster_khz is None:
        return np.ones(carriers_khz.shape, dtype=np.bool_)
    return np.asarray((carriers_khz - row.from_khz) % row.raster_khz == 0)
