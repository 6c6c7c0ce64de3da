"""How old what we know is: rows by how they were come by and by age, with the document to read."""

from __future__ import annotations

import datetime
from collections.abc import Iterable
from typing import Any

from linkwright.rules.models import Basis, Row, Territory

#: The least sure first.
ORDER: tuple[Basis, ...] = ("memory", "seen_secondary", "computed", "seen")


def stale_rows(territories: Iterable[Territory]) -> list[Row]:
    """The rows of some territories: from memory before read, the oldest first; those that a person read last."""
    rows = [row for territory in territories for row in territory.rows]
    return sorted(rows, key=lambda row: (row.read_on is not None, ORDER.index(row.basis), row.as_of, row.id))


def stale_document(rows: Iterable[Row], on: datetime.date) -> dict[str, Any]:
    """Such rows on a day as plain JSON values. `age_days` is how long ago the edition was."""
    return {
        "rows": [
            {
                "id": row.id,
                "as_of": row.as_of.isoformat(),
                "age_days": age_days(row, on),
                "basis": row.basis,
                "evidence": row.evidence,
                "until": None if row.until is None else row.until.isoformat(),
                "ended": row.ended(on),
                "read": row.source,
                "read_on": None if row.read_on is None else row.read_on.isoformat(),
            }
            for row in rows
        ]
    }


def age_days(row: Row, on: datetime.date) -> int:
    """How long ago the edition was that a row was taken from [days]."""
    return max(0, (on - row.as_of).days)
