"""How old what we know is: rows by how they were come by and by age, with the document to read."""

from __future__ import annotations

import datetime
from collections.abc import Iterable
from typing import Any

from linkwright.rules.models import Basis, Territory

#: The least sure first.
ORDER: tuple[Basis, ...] = ("memory", "seen_secondary", "computed", "seen")


def stale_rows(territories: Iterable[Territory], on: datetime.date) -> list[dict[str, Any]]:
    """The rows of some territories on a day as plain JSON values: from memory before read, the oldest first; those
    that a person read last. `age_days` is how long ago the edition was, `until` the last day of those that end."""
    rows = [row for territory in territories for row in territory.rows]
    rows.sort(key=lambda row: (row.read_on is not None, ORDER.index(row.basis), row.as_of, row.id))
    return [
        {
            "id": row.id,
            "as_of": row.as_of.isoformat(),
            "age_days": max(0, (on - row.as_of).days),
            "basis": row.basis,
            "evidence": row.evidence,
            "until": None if row.until is None else row.until.isoformat(),
            "ended": row.ended(on),
            "read": row.source,
            "read_on": None if row.read_on is None else row.read_on.isoformat(),
        }
        for row in rows
    ]
