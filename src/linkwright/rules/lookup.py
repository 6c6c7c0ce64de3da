"""May this carrier be used, with how much power, and under which row?

Decided for many carriers at once. A row decides where the whole occupied bandwidth lies inside it, the
carrier keeps its raster, its permit is held, its last day has not passed and no closed range is touched.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from linkwright.rules.hazards import closing_warnings
from linkwright.rules.limits import Limits
from linkwright.rules.models import Closed, Kind, Row, Territory
from linkwright.rules.power import conducted_mw
from linkwright.rules.terms import NO_TERMS, Terms, licence_row, meets, on_licence
from linkwright.rules.tv import tv_channels
from linkwright.shoot.errors import InputError, did_you_mean
from linkwright.shoot.permits import PermitHeld
from linkwright.units import BoolArray, FloatArray, IntArray


@dataclass(frozen=True)
class Allowance:
    """What the rules allow at n carriers.

    most_mw : (n,) most conducted power [mW]; 0 where nothing is allowed.
    row : (n,) index into `rows` of the row that decides; -1 where none does.
    rows : the territory's rows, and after them one for each licence that holds.
    """

    most_mw: FloatArray
    row: IntArray
    rows: tuple[Row, ...]

    def row_at(self, index: int) -> Row | None:
        """The row that decides for the carrier at `index`; None where it is not allowed."""
        row = int(self.row[index])
        return self.rows[row] if row >= 0 else None


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
    return tuple(
        sorted(
            (closed_range for closed_range in territory.closed if closed_range.holds(on)),
            key=lambda closed_range: closed_range.from_khz,
        )
    )


# wide: a figure of the transmitter or of the day each
def allowance(
    territory: Territory,
    permits: Iterable[str],
    carriers_khz: IntArray,
    bandwidth_khz: int,
    form: str,
    antenna_gain_dbi: float,
    on: datetime.date,
    kind: Kind = "microphone",
    terms: Terms = NO_TERMS,
) -> Allowance:
    """What the rules allow at each of `carriers_khz` (n,) [kHz] on the day `on`.

    bandwidth_khz : occupied bandwidth [kHz]; form : how the transmitter is carried; antenna_gain_dbi : of the
    transmitter's antenna [dBi]; kind : rows for other equipment never decide; terms : place and licences.
    Where several rows allow a carrier, the highest conducted power decides, then a row with a limit of its own,
    then a stated row before an assumed one, then a permit that is held before exempt use. A licence that was typed
    in decides on the carriers that it lists. Raises InputError for a permit that the territory does not know.
    """
    carriers = np.asarray(carriers_khz, dtype=np.int64)
    held = check_permits(territory, permits)
    limits = Limits(territory, carriers, bandwidth_khz, form, antenna_gain_dbi, kind)
    row_index = np.full(carriers.shape, -1, dtype=np.int64)
    most_mw = np.zeros(carriers.shape, dtype=np.float64)
    is_free = ~in_closed(closures(territory, on, held, terms), carriers, bandwidth_khz)
    for index in sorted(range(len(territory.rows)), key=lambda i: _preference(territory.rows[i])):
        row = territory.rows[index]
        if _is_open(row, held, bandwidth_khz, on, kind) and meets(row, terms):
            here = is_free & fits(row, carriers, bandwidth_khz)
            if row.inside_channel:
                here &= in_one_channel(territory, carriers, bandwidth_khz)
            _take(here, index, limits.of(row) if here.any() else most_mw, row_index, most_mw)
    if terms.only:
        row_index[:], most_mw[:] = -1, 0.0
    licensed = np.zeros(carriers.shape, dtype=np.bool_)
    for n, licence in enumerate(terms.licences):
        shut = closures(territory, on, held, terms, frozenset(licence.outranks))
        listed = on_licence(licence, carriers, bandwidth_khz) & ~in_closed(shut, carriers, bandwidth_khz)
        limit_mw = _licensed_mw(limits, licence, on, terms)
        here = listed & ((limit_mw > most_mw) | ~licensed) & (limit_mw > 0.0)
        row_index[here], most_mw[here] = len(territory.rows) + n, limit_mw[here]
        licensed |= here
    return Allowance(
        most_mw, row_index, (*territory.rows, *(licence_row(licence_held, on) for licence_held in terms.licences))
    )


def _take(here: BoolArray, index: int, limit_mw: FloatArray, row_index: IntArray, most_mw: FloatArray) -> None:
    """Let a row decide where it allows more than those before it."""
    more = here & (limit_mw > most_mw)
    row_index[more], most_mw[more] = index, limit_mw[more]


def _licensed_mw(limits: Limits, licence: PermitHeld, on: datetime.date, terms: Terms) -> FloatArray:
    """(n,) what a licence allows where it lists a carrier [mW]: no more than its own limit, or without one the
    strictest known, and no more than the rows there that it does not outrank; 0 where those forbid the place."""
    own = np.full(limits.carriers_khz.shape, np.inf)
    if licence.max_mw is not None and licence.power_reference is not None:
        own[:] = conducted_mw(licence.max_mw, licence.power_reference, limits.antenna_gain_dbi)
    else:
        own = limits.strictest()
    most, covered = np.zeros(own.shape), np.zeros(own.shape, dtype=np.bool_)
    for row in limits.territory.rows:
        if row.kind != limits.kind or row.listed_only or row.ended(on) or row.id in licence.outranks:
            continue
        here = fits(row, limits.carriers_khz, limits.bandwidth_khz)
        covered |= here
        if meets(row, terms) and here.any():
            most[here] = np.maximum(most[here], limits.of(row)[here])
    return np.where(covered, np.minimum(own, most), own)


def _preference(row: Row) -> tuple[bool, bool, bool, str]:
    """Sorts the row that is to decide first, of those that allow the same."""
    return (row.max_mw is None, row.evidence != "stated", row.permit is None, row.id)


def _is_open(row: Row, held: frozenset[str], bandwidth_khz: int, on: datetime.date, kind: Kind) -> bool:
    return (
        row.kind == kind
        and not row.listed_only
        and not row.ended(on)
        and (row.permit is None or row.permit in held)
        and (row.bandwidth_khz is None or bandwidth_khz <= row.bandwidth_khz)
    )


def closures(
    territory: Territory,
    on: datetime.date,
    held: frozenset[str],
    terms: Terms,
    outranked: frozenset[str] = frozenset(),
) -> tuple[Closed, ...]:
    """What is closed under these terms: the closed ranges, and what the program warns of there, unless it is
    settled by a permit, accepted by name, or outranked."""
    warned = closing_warnings(territory, terms.position, held | terms.accepts)
    return tuple(
        closed_range
        for closed_range in (*closed_ranges(territory, on), *warned)
        if closed_range.id not in outranked
    )


def in_closed(closed: Iterable[Closed], carriers_khz: IntArray, bandwidth_khz: int) -> BoolArray:
    """(n,) whether the occupied bandwidth about each carrier [kHz] reaches into a closed range."""
    twice = 2 * carriers_khz
    touched = np.zeros(carriers_khz.shape, dtype=np.bool_)
    for closed_range in closed:
        touched |= (twice + bandwidth_khz > 2 * closed_range.from_khz) & (
            twice - bandwidth_khz < 2 * closed_range.to_khz
        )
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


def in_one_channel(territory: Territory, carriers_khz: IntArray, bandwidth_khz: int) -> BoolArray:
    """(n,) whether the occupied bandwidth about each carrier [kHz] lies inside one TV channel."""
    twice = 2 * carriers_khz
    inside_one = np.zeros(carriers_khz.shape, dtype=np.bool_)
    for channel in tv_channels(territory):
        low, high = 2 * channel.from_khz, 2 * channel.to_khz
        inside_one |= (twice - bandwidth_khz >= low) & (twice + bandwidth_khz <= high)
    return inside_one


def on_raster(row: Row, carriers_khz: IntArray) -> BoolArray:
    """(n,) whether each carrier [kHz] is one of the row's, or lies at its lower edge + n * its raster, where it has
    either."""
    if row.carriers_khz:
        return np.isin(carriers_khz, row.carriers_khz)
    if row.raster_khz is None:
        return np.ones(carriers_khz.shape, dtype=np.bool_)
    return np.asarray((carriers_khz - row.from_khz) % row.raster_khz == 0)
