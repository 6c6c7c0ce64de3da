"""What happened on the day: cells changed, takes, switches, notes; only added to, never changed."""

from __future__ import annotations

import datetime
import json
from collections.abc import Collection
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, func, insert, select

from linkwright.store import tables
from linkwright.store.edits import Turn
from linkwright.store.history import milliseconds, moment


@dataclass(frozen=True, slots=True)
class Happening:
    """One thing that happened.

    kind : what, such as "changed" (its cells), "take", "note", "switched". about : the link or call that it is
    about. data : what belongs to it, plain values. revision : its place in the change log.
    """

    revision: int
    when: datetime.datetime
    kind: str
    about: str
    data: dict[str, Any]
    who: str


def add(turn: Turn, kind: str, about: str, data: str, when: datetime.datetime) -> Happening:
    """Something happened; `data` is a table as JSON text."""
    at_ms = milliseconds(when)
    turn.connection.execute(
        insert(tables.happening).values(
            revision=turn.revision, at_ms=at_ms, kind=kind, about=about, data=data, who=turn.who
        )
    )
    return Happening(turn.revision, moment(at_ms), kind, about, json.loads(data), turn.who)


def since(
    connection: Connection, revision: int, kinds: Collection[str], about: Collection[str], last: int | None = None
) -> list[Happening]:
    """What was told after a revision, of these kinds and about these (of all where none is named), by when it
    happened; the `last` so many of it where that is said."""
    table = tables.happening
    query = select(table).where(table.c.revision > revision).order_by(table.c.at_ms.desc(), table.c.revision.desc())
    if kinds:
        query = query.where(table.c.kind.in_(list(kinds)))
    if about:
        query = query.where(table.c.about.in_(list(about)))
    return [
        Happening(row.revision, moment(row.at_ms), row.kind, row.about, json.loads(row.data), row.who)
        for row in reversed(connection.execute(query.limit(last)).all())
    ]


def newest(connection: Connection, kind: str) -> dict[str, datetime.datetime]:
    """When something of a kind happened last, by what it was about."""
    table = tables.happening
    query = select(table.c.about, func.max(table.c.at_ms)).where(table.c.kind == kind).group_by(table.c.about)
    return {about: moment(at_ms) for about, at_ms in connection.execute(query)}
