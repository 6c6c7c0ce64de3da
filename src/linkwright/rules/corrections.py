"""Rows that a person corrected from the document itself: what they change, and who is told so."""

from __future__ import annotations

import datetime
from collections.abc import Iterable
from typing import Any

from pydantic import Field, ValidationError

from linkwright.rules.models import CheckedFact, Row, Territory, Text
from linkwright.shoot.errors import InputError, did_you_mean


class Correction(CheckedFact):
    """One file of corrections: the document that was read, when, and the rows as it has them.

    A row of a known id needs what differs only, and names under `without` what it has no longer; another id is a
    row of its own.
    """

    document: Text
    read_on: datetime.date
    rows: tuple[dict[str, Any], ...] = Field(alias="row", min_length=1)


def corrected(territory: Territory, corrections: Iterable[Correction]) -> Territory:
    """A territory with its rows as corrected, in order. Raises InputError for one that does not fit."""
    rows = {row.id: row for row in territory.rows}
    for correction in corrections:
        for told in correction.rows:
            if str(told.get("id", "")).startswith(f"{territory.code.lower()}-"):
                row = _row(rows, told, correction)
                rows[row.id] = row
    told_all = {name: getattr(territory, name) for name in Territory.model_fields}
    try:
        return Territory.model_validate({**told_all, "rows": tuple(rows.values())})
    except ValidationError as error:
        raise InputError(f"the corrected rules do not fit: {error.errors()[0]['msg']}") from None


def _row(rows: dict[str, Row], told: dict[str, Any], correction: Correction) -> Row:
    id_ = str(told["id"])
    known = rows[id_].model_dump(exclude_none=True) if id_ in rows else {"conditions": ()}
    without = set(told.get("without", ()))
    kept = {key: value for key, value in known.items() if key not in {*without, "doubt", "listed_only"}}
    new = kept | {key: value for key, value in told.items() if key != "without"}
    stated = new.get("max_mw") is not None
    read = {"source": correction.document, "basis": "seen", "as_of": correction.read_on}
    said = {"evidence": "stated"} if stated else {"evidence": "assumed", "doubt": "the document gives no power"}
    try:
        return Row.model_validate({**new, **read, **said, "read_on": correction.read_on})
    except ValidationError as error:
        first = error.errors()[0]
        key = ".".join(map(str, first["loc"]))
        near = "" if id_ in rows else did_you_mean(id_, rows)
        says = f'the corrected row "{id_}" does not fit: {key + ": " if key else ""}{first["msg"]}{near}'
        raise InputError(says) from None
