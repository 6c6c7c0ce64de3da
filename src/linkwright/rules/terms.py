"""Under which terms a link asks: what kind of place, what the crew has checked, and the licences that it holds."""

from __future__ import annotations

import datetime
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from linkwright.physics.geodesy import great_circle_km
from linkwright.rules.models import Row
from linkwright.shoot.permits import PermitHeld
from linkwright.units import BoolArray, IntArray, khz_from_mhz

#: A position [degrees north, degrees east], or None where it is not known.
Position = tuple[float, float] | None
#: From when to when, both with an offset.
When = tuple[datetime.datetime, datetime.datetime]


@dataclass(frozen=True)
class Terms:
    """Where and under what a link asks.

    indoor : the site is a building; position : where it is. accepts : ids that the crew has checked.
    licences : those that hold for the link there and then; only : names of those that leave no other carrier.
    """

    indoor: bool = False
    position: Position = None
    accepts: frozenset[str] = frozenset()
    licences: tuple[PermitHeld, ...] = ()
    only: tuple[str, ...] = ()


#: Out of doors, somewhere, with nothing checked and no licence typed in.
NO_TERMS = Terms()


def meets(row: Row, terms: Terms) -> bool:
    """Whether a row's conditions on the place and its primary service are met, or accepted by name."""
    indoors = not row.indoor or terms.indoor or row.outdoors_id in terms.accepts
    return indoors and (row.service is None or row.id in terms.accepts)


def licences_for(
    permits: Iterable[PermitHeld], link: str, position: Position, times: Iterable[When]
) -> tuple[tuple[PermitHeld, ...], tuple[str, ...]]:
    """The permits that hold for a link at a position through all `times`, and the names of those that leave it no
    other carrier during any of them.

    A permit with a place does not hold where the position is not known.
    """
    spans = tuple(times)
    here = [
        permit for permit in permits if (not permit.links or link in permit.links) and _reaches(permit, position)
    ]
    held = tuple(licence for licence in here if all(_covers(licence, *span) for span in spans))
    only = tuple(licence.name for licence in here if licence.only and any(_meets(licence, *span) for span in spans))
    return held, only


def misfit(permit: PermitHeld, region: str, position: Position, on: datetime.date, zone: datetime.tzinfo) -> str:
    """Why a permit does not hold in a region, on a day, at a position; "" where it does, or nobody knows."""
    if permit.region not in (None, region):
        return f"it is of {permit.region}"
    day = datetime.datetime.combine(on, datetime.time(), zone)
    if not _meets(permit, day, day + datetime.timedelta(days=1)):
        held = [f"{word} {at}" for word, at in (("from", permit.starts), ("to", permit.ends)) if at is not None]
        return f"it holds {' '.join(held)}, and the day is {on}"
    if permit.place is None or position is None or _reaches(permit, position):
        return ""
    return f"{place_of(permit)}, {great_circle_km(*position, *permit.place):.1f} km from here"


def place_of(permit: PermitHeld) -> str:
    """Where a permit with a place holds, as the middle of a sentence."""
    latitude, longitude = permit.place or (0.0, 0.0)
    return f"it holds within {permit.radius_m or 0.0:g} m of {latitude:g}, {longitude:g}"


def _reaches(permit: PermitHeld, position: Position) -> bool:
    if permit.place is None or permit.radius_m is None:
        return True
    return position is not None and 1000.0 * great_circle_km(*position, *permit.place) <= permit.radius_m


def _begins(permit: PermitHeld, zone: datetime.tzinfo | None) -> datetime.datetime | None:
    return None if permit.starts is None else _moment(permit.starts, zone, 0)


def _ends(permit: PermitHeld, zone: datetime.tzinfo | None) -> datetime.datetime | None:
    return None if permit.ends is None else _moment(permit.ends, zone, 1)


def _moment(when: datetime.date, zone: datetime.tzinfo | None, days: int) -> datetime.datetime:
    if isinstance(when, datetime.datetime):
        return when
    return datetime.datetime.combine(when + datetime.timedelta(days=days), datetime.time(), zone)


def _covers(permit: PermitHeld, start: datetime.datetime, end: datetime.datetime) -> bool:
    begins, ends = _begins(permit, start.tzinfo), _ends(permit, start.tzinfo)
    return (begins is None or begins <= start) and (ends is None or end <= ends)


def _meets(permit: PermitHeld, start: datetime.datetime, end: datetime.datetime) -> bool:
    begins, ends = _begins(permit, start.tzinfo), _ends(permit, start.tzinfo)
    return (begins is None or begins < end) and (ends is None or start < ends)


def on_licence(permit: PermitHeld, carriers_khz: IntArray, bandwidth_khz: int) -> BoolArray:
    """(n,) whether each carrier [kHz] is one of a permit's, or lies with its bandwidth in one of its ranges."""
    listed = np.array([khz_from_mhz(mhz) for mhz in permit.carriers_mhz], dtype=np.int64)
    inside: BoolArray = np.isin(carriers_khz, listed)
    for low, high in permit.ranges_mhz:
        inside |= (2 * carriers_khz - bandwidth_khz >= 2 * khz_from_mhz(low)) & (
            2 * carriers_khz + bandwidth_khz <= 2 * khz_from_mhz(high)
        )
    return inside


def licence_text(permit: PermitHeld) -> str:
    """A permit as people name it: 'permit "Quay, May", number 1234567/1'."""
    number = f", number {permit.number}" if permit.number else ""
    return f'permit "{permit.name}"{number}'


def licence_row(permit: PermitHeld, on: datetime.date) -> Row:
    """A permit as the row that decides on its carriers: what it lists was read, and it is told by its own name."""
    edges = [khz_from_mhz(mhz) for mhz in permit.carriers_mhz]
    edges += [khz_from_mhz(mhz) for low_high in permit.ranges_mhz for mhz in low_high]
    words = "".join(c if c.isascii() and c.isalnum() else " " for c in permit.name.lower()).split()
    stated = permit.max_mw is not None
    return Row(
        id="-".join(["permit", *(words or ["held"])]),
        from_khz=min(edges) - (min(edges) == max(edges)),
        to_khz=max(edges),
        use=licence_text(permit),
        max_mw=permit.max_mw,
        power_reference=permit.power_reference,
        source=permit.document or licence_text(permit),
        basis="seen" if stated else "memory",
        evidence="stated" if stated else "assumed",
        as_of=on,
        is_licence=True,
    )
