"""What stands open only because somebody opened it, and by what: a permit, or an acceptance by name."""

from __future__ import annotations

import datetime
from collections.abc import Iterator
from dataclasses import dataclass

from linkwright.rules.hazards import hard_warnings
from linkwright.rules.lookup import closures
from linkwright.rules.models import Row, Territory
from linkwright.rules.terms import Terms, licence_text


@dataclass(frozen=True)
class OpenedRange:
    """A range [kHz] that would be closed, why, by what it is open, and the licence that has to decide there."""

    from_khz: int
    to_khz: int
    says: str
    by: str
    licence: str | None = None

    def at(self, carrier_khz: int, bandwidth_khz: int, row: Row) -> bool:
        """Whether a carrier that `row` decides stands on it."""
        touches = 2 * carrier_khz + bandwidth_khz > 2 * self.from_khz and (
            2 * carrier_khz - bandwidth_khz < 2 * self.to_khz
        )
        return touches and self.licence in (None, row.use)


def openings(
    territory: Territory, on: datetime.date, held: frozenset[str], terms: Terms
) -> tuple[OpenedRange, ...]:
    """What would be closed under these terms, but for a permit or an acceptance."""
    opened_ranges = []
    latitude, longitude = terms.position or (None, None)
    for hard_warning in hard_warnings(territory, latitude, longitude, [(1, 10_000_000)]):
        by = hard_warning.opened_by(held | terms.accepts) if hard_warning.closes else None
        if by is not None:
            opened_ranges.append(OpenedRange(hard_warning.from_khz, hard_warning.to_khz, hard_warning.says, by))
    for licence in terms.licences if any(licence_held.outranks for licence_held in terms.licences) else ():
        opened_ranges += [
            OpenedRange(closure.from_khz, closure.to_khz, closure.why, licence_text(licence), licence_text(licence))
            for closure in closures(territory, on, held, terms)
            if closure.id in licence.outranks
        ]
    return tuple(opened_ranges)


def opened_by(
    opened: tuple[OpenedRange, ...], row: Row, carrier_khz: int, bandwidth_khz: int, terms: Terms
) -> Iterator[str]:
    """By what a carrier that `row` decides is open where it would be closed, a clause each."""
    for opening in opened:
        if opening.at(carrier_khz, bandwidth_khz, row):
            yield f"{opening.by} opens it ({opening.says})"
    if row.indoor and not terms.indoor:
        yield f"{row.outdoors_id} opens it out of doors"
    if row.service is not None:
        yield f"{row.id} opens it ({row.service} use comes first)"
