"""Acceptances by name: which ids a shoot can accept, and which of those it names do nothing."""

from __future__ import annotations

import datetime
from collections.abc import Iterable

from linkwright.rules.models import Row, Territory
from linkwright.shoot.errors import InputError, did_you_mean


def acceptable(territory: Territory) -> frozenset[str]:
    """The ids that an acceptance may name: rows that are assumed or lent by a service, indoor rows used out of
    doors, and warnings that are no stop."""
    rows = [row.id for row in territory.rows if row.evidence == "assumed" or row.service is not None]
    rows += [row.outdoors_id for row in territory.rows if row.indoor]
    warnings = [warning.id for warning in territory.warnings if warning.severity == "warn"]
    return frozenset([*rows, *warnings, *territory.place_ids])


def check_accepts(
    territory: Territory, accepts: Iterable[str], held: frozenset[str], on: datetime.date
) -> frozenset[str]:
    """The ids that a shoot accepts. Raises InputError for one that does nothing, with what would."""
    known = acceptable(territory)
    rows = {row.id: row for row in territory.rows}
    for asked in accepts:
        row = rows.get(asked.removesuffix("/outdoors"))
        why = _idle(row, held, on) if row is not None else None
        if why is None and asked not in known:
            why = _unknown(territory, asked, known, rows)
        if why is not None:
            raise InputError(f'accepts "{asked}" does nothing: {why}')
    return frozenset(accepts)


def _idle(row: Row, held: frozenset[str], on: datetime.date) -> str | None:
    """Why accepting a row cannot open it."""
    if row.ended(on):
        return f"the row ended on {row.until}; correct it from the act that followed, or type in a [[permit]]"
    if row.listed_only:
        return "the row is too coarse to decide by; correct it from its document, or type in a [[permit]]"
    if row.permit is not None and row.permit not in held:
        return f'the row needs the permit {row.permit}; put permits = ["{row.permit}"] under [shoot]'
    return None


def _unknown(territory: Territory, asked: str, known: frozenset[str], rows: dict[str, Row]) -> str:
    if asked in rows:
        return "the row is stated, so there is nothing to accept"
    if asked in territory.ids:
        return "it is closed, which only a [[permit]] opens that names it under outranks"
    near = did_you_mean(asked, known) or f'; "linkwright rules {territory.code}" lists the ids'
    return f"the {territory.code} rules have no such id{near}"
