"""One plain sentence about a single carrier: what lets it be used, or what stands in its way."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Iterable
from dataclasses import dataclass

import numpy as np

from linkwright.rules.acceptance import acceptable
from linkwright.rules.lookup import allowance, check_permits, closures, in_closed, in_one_channel, inside, on_raster
from linkwright.rules.models import Kind, Row, Territory
from linkwright.rules.opening import opened_by, openings
from linkwright.rules.power import power_text
from linkwright.rules.terms import NO_TERMS, Terms, on_licence
from linkwright.units import IntArray, mhz_text

#: What a row of another kind of equipment is for, in words.
KIND_TEXT: dict[Kind, str] = {
    "microphone": "a narrow-band microphone",
    "wideband": "a wideband multichannel system",
    "data": "digital or hopping data equipment",
}


@dataclass(frozen=True)
class _Use:
    """The use that is asked about; carrier and bandwidth [kHz]."""

    territory: Territory
    held: frozenset[str]
    carrier_khz: int
    bandwidth_khz: int
    on: datetime.date
    kind: Kind
    terms: Terms

    def carriers(self) -> IntArray:
        return np.array([self.carrier_khz], dtype=np.int64)


def range_text(from_khz: int, to_khz: int) -> str:
    """A range as people read it: "606.5-613.5 MHz"."""
    return f"{from_khz / 1000:.7g}-{to_khz / 1000:.7g} MHz"


# wide: the arguments of `allowance`
def why_not(
    territory: Territory,
    permits: Iterable[str],
    carrier_khz: int,
    bandwidth_khz: int,
    form: str,
    antenna_gain_dbi: float,
    on: datetime.date,
    kind: Kind = "microphone",
    terms: Terms = NO_TERMS,
    least_mw: float = 0.0,
) -> str:
    """Why `carrier_khz` may not be used, or under which row it may; arguments as for `allowance`, and the
    transmitter's least step [mW].

    Names the closed range, the permit that would open it, the row whose last day has passed, or the rows
    beside it. Raises InputError for a permit that the territory does not know.
    """
    use = _Use(territory, check_permits(territory, permits), carrier_khz, bandwidth_khz, on, kind, terms)
    allowed = allowance(
        territory, use.held, use.carriers(), bandwidth_khz, form, antenna_gain_dbi, on, kind=kind, terms=terms
    )
    row, most_mw = allowed.row_at(0), float(allowed.most_mw[0])
    if row is None:
        reason = _not_on_licence(use) or _closed(use) or _obstacles(use) or _nothing(use)
        return "; ".join([f"{mhz_text(carrier_khz)} MHz {reason}", *_notes(use)]) + "."
    told = _cited(row) if row.max_mw is not None else f"{_cited(row)}, by the strictest limit that is known there"
    if most_mw < least_mw:
        least = f"the least step is {power_text(least_mw)}"
        return f"{mhz_text(carrier_khz)} MHz: nothing above {power_text(most_mw)}; {least}: {told}."
    open_here = openings(territory, on, use.held, terms)
    opened = "".join(f"; {says}" for says in opened_by(open_here, row, carrier_khz, bandwidth_khz, terms))
    return f"{mhz_text(carrier_khz)} MHz may be used, up to {power_text(most_mw)} conducted: {told}{opened}."


def _cited(row: Row) -> str:
    if row.is_licence:
        return f"{row.use} ({row.source})" if row.source != row.use else row.use
    read = f"; read by you, {row.read_on.isoformat()}" if row.read_on else ""
    return f"row {row.id} ({range_text(row.from_khz, row.to_khz)}; {row.source}; {row.evidence}{read})"


def _not_on_licence(use: _Use) -> str | None:
    """A permit that leaves no other carrier, where this is none of its own."""
    if not use.terms.only:
        return None
    names = " and ".join(f'"{name}"' for name in use.terms.only)
    listed = [
        licence for licence in use.terms.licences if on_licence(licence, use.carriers(), use.bandwidth_khz)[0]
    ]
    return None if listed else f"is on no permit that holds here and then, and {names} leaves no other carrier"


def _closed(use: _Use) -> str | None:
    for closure in closures(use.territory, use.on, use.held, use.terms):
        if in_closed([closure], use.carriers(), use.bandwidth_khz)[0]:
            reaches = closure.from_khz <= use.carrier_khz <= closure.to_khz
            where = "lies in" if reaches else f"with its {use.bandwidth_khz} kHz reaches into"
            span = range_text(closure.from_khz, closure.to_khz)
            if closure.to_khz - closure.from_khz > 9_000_000:
                where, span = "lies, as every frequency here,", "near a service that must not be disturbed"
            by_name = f' or accepts = ["{closure.id}"]' if closure.id in acceptable(use.territory) else ""
            opens = f'; a [[permit]] that outranks "{closure.id}"{by_name} opens it'
            return f"{where} {span}, which is closed: {closure.why} ({closure.source}; {closure.evidence}){opens}"
    return None


def _wrong_kind(row: Row, use: _Use) -> str | None:
    return f"is open to {KIND_TEXT[row.kind]} only" if row.kind != use.kind else None


def _listed_only(row: Row, use: _Use) -> str | None:  # noqa: ARG001
    if not row.listed_only:
        return None
    return f"cannot be decided from what is known here ({row.conditions[-1] if row.conditions else row.use})"


def _ended(row: Row, use: _Use) -> str | None:
    if not row.ended(use.on):
        return None
    return f"was open until {row.until}; find the act that followed and correct the row, or type in a [[permit]]"


def _outdoors(row: Row, use: _Use) -> str | None:
    if not row.indoor or use.terms.indoor or row.outdoors_id in use.terms.accepts:
        return None
    return f'is for indoors, and this is out of doors (a [[permit]] or accepts = ["{row.outdoors_id}"] opens it)'


def _service(row: Row, use: _Use) -> str | None:
    if row.service is None or row.id in use.terms.accepts:
        return None
    return f'is first of all for {row.service} use: closed until a [[permit]] or accepts = ["{row.id}"] opens it'


def _no_limit(row: Row, use: _Use) -> str | None:  # noqa: ARG001
    return "has no known limit of power: a [[permit]] with max_mw opens it" if row.max_mw is None else None


def _permit(row: Row, use: _Use) -> str | None:
    if row.permit is None or row.permit in use.held:
        return None
    name = next(permit.name for permit in use.territory.permits if permit.id == row.permit)
    return f"needs the permit {row.permit} ({name})"


def _too_wide(row: Row, use: _Use) -> str | None:
    if row.bandwidth_khz is None or use.bandwidth_khz <= row.bandwidth_khz:
        return None
    return f"is open to {row.bandwidth_khz} kHz at most, and this is {use.bandwidth_khz} kHz wide"


def _over_edge(row: Row, use: _Use) -> str | None:
    if inside(row, use.carriers(), use.bandwidth_khz)[0]:
        return None
    low_khz = max(row.from_khz + use.bandwidth_khz / 2, row.carriers_from_khz or 0)
    high_khz = min(row.to_khz - use.bandwidth_khz / 2, row.carriers_to_khz or row.to_khz)
    if low_khz > high_khz:
        return f"lies in {range_text(row.from_khz, row.to_khz)}, too narrow for {use.bandwidth_khz} kHz"
    return (
        f"is too near to an edge: with {use.bandwidth_khz} kHz, carriers go from {low_khz / 1000:.3f} to "
        f"{high_khz / 1000:.3f} MHz"
    )


def _over_channels(row: Row, use: _Use) -> str | None:
    if not row.inside_channel or in_one_channel(use.territory, use.carriers(), use.bandwidth_khz)[0]:
        return None
    return f"is for what lies inside one TV channel, and with {use.bandwidth_khz} kHz this does not"


def _off_raster(row: Row, use: _Use) -> str | None:
    if on_raster(row, use.carriers())[0] or (row.raster_khz is None and not row.carriers_khz):
        return None
    if row.carriers_khz:
        return f"is none of its carriers ({', '.join(map(mhz_text, row.carriers_khz))} MHz)"
    return f"is off the raster: carriers lie at {mhz_text(row.from_khz)} MHz + n x {row.raster_khz} kHz"


#: What may stand between a carrier and a row, the most lasting first.
CHECKS: tuple[Callable[[Row, _Use], str | None], ...] = (
    _wrong_kind,
    _listed_only,
    _ended,
    _permit,
    _outdoors,
    _service,
    _too_wide,
    _over_edge,
    _over_channels,
    _off_raster,
    _no_limit,
)


def _obstacles(use: _Use) -> str | None:
    """What stands in the way at the rows about the carrier that come nearest to allowing it."""
    obstacles: list[tuple[int, str, Row]] = []
    for row in use.territory.rows:
        if row.from_khz <= use.carrier_khz <= row.to_khz:
            stops = ((rank, check(row, use)) for rank, check in enumerate(CHECKS))
            rank, says = next((rank, says) for rank, says in stops if says is not None)
            obstacles.append((rank, says, row))
    if not obstacles:
        return None
    nearest = max(rank for rank, _, _ in obstacles)
    rows_by_text: dict[str, list[Row]] = {}
    for rank, says, row in obstacles:
        if rank == nearest:
            rows_by_text.setdefault(says, []).append(row)
    return ", or ".join(
        f"{says}: {' and '.join(_cited(row) for row in rows)}" for says, rows in rows_by_text.items()
    )


def _nothing(use: _Use) -> str:
    """No row covers the carrier: which ones lie beside it."""
    rows = [row for row in use.territory.rows if row.kind == use.kind and not row.ended(use.on)]
    below = max((row for row in rows if row.to_khz < use.carrier_khz), key=lambda row: row.to_khz, default=None)
    above = min((row for row in rows if row.from_khz > use.carrier_khz), key=lambda row: row.from_khz, default=None)
    beside = [
        f"{range_text(row.from_khz, row.to_khz)} {word} it (row {row.id})"
        for row, word in ((below, "below"), (above, "above"))
        if row is not None
    ]
    tail = f"; nearest are {' and '.join(beside)}" if beside else ""
    return f"may not be used under the {use.territory.code} rules as they are known here{tail}"


def _notes(use: _Use) -> list[str]:
    low_khz, high_khz = use.carrier_khz - use.bandwidth_khz / 2, use.carrier_khz + use.bandwidth_khz / 2
    return [
        f"{note.says} ({note.source}; {note.evidence})"
        for note in use.territory.notes
        if low_khz < note.to_khz and high_khz > note.from_khz
    ]
