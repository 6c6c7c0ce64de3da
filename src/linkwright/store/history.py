"""The change log: who changed what, when, and how to take it back."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from sqlalchemy import ColumnElement, Connection, Row, Select, and_, func, insert, or_, select

from linkwright.store import tables
from linkwright.store.checking import CHANGE, checked, crc_of
from linkwright.store.paths import Path, beneath, path_of, pointer
from linkwright.store.rows import StoredRow as FieldRow
from linkwright.store.rows import packed, tree_of, unpacked

DOCUMENT = "document"
#: The areas whose changes are told on the page History.
TOLD = (DOCUMENT, "request", "hunt")
#: The kind of change that is of several values at once.
SEVERAL = "several"
_c = tables.change.c


@dataclass(frozen=True, slots=True)
class LoggedChange:
    """One line of the change log.

    area : "document", or what else changed: "attachment", "device", "entry", "tick", "happening", "request",
        "carrier", "hunt", "job" (then only what and path tell, and of a request the states).
    what : "set", "remove", "insert", "move", "replace", "several" (values at once; `path` is the first of them).
    way : "do", or that it took back ("undo") or did again ("redo") the change of revision `of`.
    """

    revision: int
    when: datetime.datetime
    who: str
    area: str
    what: str
    path: Path
    way: str
    of: int | None
    made: int
    stored_before: str | None
    stored_after: str | None

    @property
    def before(self) -> Any:
        """The value that stood there; of a move, the place."""
        return self._value(self.stored_before)

    @property
    def after(self) -> Any:
        """The value that stands there since; of a move, the place."""
        return self._value(self.stored_after)

    def _value(self, stored: str | None) -> Any:
        if stored is None or self.area != DOCUMENT or self.what == "move":
            return stored
        return tree_of(_within(unpacked(stored) or (), self.path), self.path).value

    def paths(self) -> list[Path]:
        """Where it changed something: its own path, and of several all of them."""
        if self.what != SEVERAL:
            return [self.path]
        rows = [*(self.rows_before() or ()), *(self.rows_after() or ())]
        known = {row.path for row in rows}
        return [path_of(stored) for stored in dict.fromkeys(row.path for row in rows if row.parent not in known)]

    def part(self, path: Path) -> LoggedChange:
        """What it did at one of its paths, as a change of that alone."""
        before, after = _within(self.rows_before() or (), path), _within(self.rows_after() or (), path)
        what = "set" if after else "remove"
        return replace(
            self, what=what, path=path, stored_before=packed(before) if before else None,
            stored_after=packed(after) if after else None,
        )  # fmt: skip

    def rows_before(self) -> list[FieldRow] | None:
        """What stood there, as rows."""
        return unpacked(self.stored_before)

    def rows_after(self) -> list[FieldRow] | None:
        """What stands there since, as rows."""
        return unpacked(self.stored_after)


def _within(rows: Sequence[FieldRow], path: Path) -> list[FieldRow]:
    """The rows of what stands at a path, and beneath it."""
    here = pointer(path)
    return [row for row in rows if not here or row.path == here or row.path.startswith(f"{here}/")]


def moment(at_ms: int) -> datetime.datetime:
    """A stored time."""
    return datetime.datetime.fromtimestamp(at_ms / 1000, datetime.UTC)


def milliseconds(when: datetime.datetime) -> int:
    """A time as it is stored: whole milliseconds since 1970, UTC."""
    if when.tzinfo is None:
        raise ValueError("a time without its offset cannot be stored")
    return round(when.timestamp() * 1000)


def last_revision(connection: Connection) -> int:
    """The revision of the last change; 0 where there was none."""
    return connection.execute(select(func.max(_c.revision))).scalar() or 0


def edited_since(connection: Connection, revision: int) -> bool:
    """Whether anything of the document changed after a revision."""
    query = select(_c.revision).where(_c.revision > revision, _c.area == DOCUMENT).limit(1)
    return connection.execute(query).first() is not None


def log(connection: Connection, *changes: LoggedChange) -> None:
    """Add lines."""
    lines = []
    for change in changes:
        values = (
            change.revision, milliseconds(change.when), change.who, change.area, change.what, pointer(change.path),
            change.stored_before, change.stored_after, change.made, change.way, change.of,
        )  # fmt: skip
        lines.append({**dict(zip(CHANGE, values, strict=True)), "crc": crc_of(values)})
    if lines:
        connection.execute(insert(tables.change), lines)


def since(connection: Connection, revision: int, most: int) -> list[LoggedChange]:
    """The changes after a revision, oldest first, at most so many."""
    query = select(tables.change).where(_c.revision > revision).order_by(_c.revision).limit(most)
    return [_change(row) for row in connection.execute(query)]


def _change(row: Row[Any]) -> LoggedChange:
    checked([getattr(row, name) for name in CHANGE], row.crc)
    return LoggedChange(
        row.revision,
        moment(row.at_ms),
        row.who,
        row.area,
        row.what,
        path_of(row.path),
        row.way,
        row.of,
        row.made,
        row.before,
        row.after,
    )


def _touches(path: Path) -> ColumnElement[bool]:
    """Changes of this value, of what it stands in, and of what stands in it; not where a list was put in order."""
    here = pointer(path)
    above = [pointer(path[:depth]) for depth in range(len(path))]
    first, beyond = beneath(here)
    return and_(
        _c.area == DOCUMENT,
        or_(
            and_(or_(_c.path == here, _c.path.in_(above)), _c.what != "move"),
            and_(_c.path >= first, _c.path < beyond),
        ),
    )


def last_touch(
    connection: Connection, path: Path, *, after: int = 0, not_by: str | None = None, moves: bool = False
) -> LoggedChange | None:
    """The last change of what stands at `path`, or (`moves`) when it was last put elsewhere in its list."""
    moved = and_(_c.area == DOCUMENT, _c.path == pointer(path), _c.what == "move")
    query = select(tables.change).where(moved if moves else _touches(path)).where(_c.revision > after)
    if not_by is not None:
        query = query.where(_c.who != not_by)
    return _first(connection, query)


def _first(connection: Connection, query: Select[Any]) -> LoggedChange | None:
    row = connection.execute(query.order_by(_c.revision.desc()).limit(1)).first()
    return None if row is None else _change(row)


def _own(who: str, ways: Sequence[str]) -> Select[Any]:
    later = tables.change.alias("later")
    reversed_since = select(later.c.revision).where(later.c.of == _c.revision).exists()
    return select(tables.change).where(_c.area == DOCUMENT, _c.who == who, _c.way.in_(ways), ~reversed_since)


def to_undo(connection: Connection, who: str, revision: int | None) -> LoggedChange | None:
    """The person's last change (or the one of `revision`) that still stands."""
    query = _own(who, ("do", "redo"))
    return _first(connection, query if revision is None else query.where(_c.revision == revision))


def to_take_back(connection: Connection, revision: int) -> LoggedChange | None:
    """The change of a revision, whoever made it; None where it was taken back already."""
    later = tables.change.alias("later")
    reversed_since = select(later.c.revision).where(later.c.of == _c.revision).exists()
    query = select(tables.change).where(_c.area == DOCUMENT, _c.revision == revision, ~reversed_since)
    return _first(connection, query)


def newest(connection: Connection, most: int, before: int | None) -> list[LoggedChange]:
    """The newest changes of the document, of requests and of hunts, newest first, at most so many; those before a
    revision, where given."""
    query = select(tables.change).where(_c.area.in_(TOLD)).order_by(_c.revision.desc()).limit(most)
    query = query if before is None else query.where(_c.revision < before)
    return [_change(row) for row in connection.execute(query)]


def of_area(connection: Connection, area: str, path: Path) -> list[LoggedChange]:
    """The changes of an area at a path and beneath it, oldest first."""
    first, beyond = beneath(pointer(path))
    here = or_(_c.path == pointer(path), and_(_c.path >= first, _c.path < beyond))
    query = select(tables.change).where(_c.area == area, here).order_by(_c.revision)
    return [_change(row) for row in connection.execute(query)]


def renamed(connection: Connection, after: int) -> list[LoggedChange]:
    """The changes after a revision that may have given something a name, oldest first."""
    named = or_(_c.path == "", _c.what.in_(("insert", SEVERAL)), _c.path.like("%/name"), ~_c.path.like("%/%/%/%"))
    query = select(tables.change).where(_c.area == DOCUMENT, _c.revision > after, named).order_by(_c.revision)
    return [_change(row) for row in connection.execute(query)]


def to_redo(connection: Connection, who: str) -> LoggedChange | None:
    """The person's last undo that was not done again, where nothing new was done since."""
    own = select(func.max(_c.revision)).where(_c.area == DOCUMENT, _c.who == who, _c.way == "do")
    newest = connection.execute(own).scalar() or 0
    return _first(connection, _own(who, ("undo",)).where(_c.revision > newest))
