"""Changing the document, each change a compare-and-set, within one transaction of the writer."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from sqlalchemy import Connection

from linkwright.shoot.errors import InputError
from linkwright.store import rows
from linkwright.store.conflict import Conflict
from linkwright.store.history import SEVERAL, LoggedChange, last_touch
from linkwright.store.paths import Path, place_between, places, pointer, spoken
from linkwright.store.rows import LIST, TABLE, VALUE, StoredRow, packed, rows_of, tree_of, unpacked
from linkwright.store.schema import is_entry, is_list
from linkwright.store.values import same, written


@dataclass(slots=True)
class Turn:
    """One transaction: its connection, who has it, and the revision that it will be."""

    connection: Connection
    revision: int
    who: str
    _given: int = field(default=0)

    def new_id(self) -> str:
        """An id that no entry ever had."""
        self._given += 1
        return f"i{self.revision}" if self._given == 1 else f"i{self.revision}-{self._given}"


@dataclass(frozen=True, slots=True)
class Edit:
    """What a change did: `before` and `after` as the log keeps them; `made`: tables made to hold it."""

    what: str
    path: Path
    before: str | None
    after: str | None
    made: int = 0


def conflict(turn: Turn, path: Path, theirs: Any, last: LoggedChange | None = None) -> Conflict:
    """The conflict at `path`, with who changed it last."""
    last = last or last_touch(turn.connection, path)
    called = _called(turn, path)
    return Conflict(path, theirs, last.who if last else "", last.when if last else None, called)


def _called(turn: Turn, path: Path) -> str:
    """The path as a person says it: entries of lists by their name."""
    words: list[str] = []
    for depth in range(1, len(path) + 1):
        here = path[:depth]
        if not is_entry(here):
            words.append(here[-1])
            continue
        name = rows.read_one(turn.connection, (*here, "name"))
        words[-1] += f" {name.value}" if name is not None else ""
    return ", ".join(words) if words else "the shoot"


def missing_parents(turn: Turn, path: Path) -> list[Path]:
    """The tables and lists that `path` still needs. Raises Conflict (an entry is gone), InputError (a value)."""
    for depth in range(1, len(path)):
        above = path[:depth]
        row = rows.read_one(turn.connection, above)
        if row is None:
            needed = [path[:n] for n in range(depth, len(path))]
            gone = next((p for p in needed if is_entry(p)), None)
            if gone is not None:
                raise conflict(turn, gone, None)
            return needed
        if row.kind == VALUE:
            raise InputError(f"{spoken(above)} is {row.value[:60]}; expected a table, to hold {path[depth]}")
    return []


def _make(turn: Turn, needed: Sequence[Path]) -> None:
    for path in needed:
        kind = LIST if is_list(path) else TABLE
        rows.write(turn.connection, [StoredRow(pointer(path), kind, _last_place(turn, path[:-1]), "")])


def _last_place(turn: Turn, parent: Path) -> str:
    there = rows.siblings(turn.connection, parent)
    return place_between(there[-1][0] if there else None, None)


def set_field(turn: Turn, path: Path, seen: Any, value: Any) -> Edit | None:
    """Put `value` where `seen` stood (None: nothing); None where it stood so already. Raises Conflict."""
    if not path:
        raise InputError("names no field; expected the path of one")
    needed = missing_parents(turn, path)
    before = rows.read(turn.connection, path)
    now = tree_of(before, path).value
    if not same(now, seen):
        if same(now, value):
            return None  # both typed the same
        raise conflict(turn, path, now)
    if now is value is None or (now is not None and value is not None and written_alike(now, value)):
        return None
    if is_entry(path) and value is not None and (not before or not isinstance(value, dict)):
        raise InputError(f"{spoken(path)}: expected a table, for an entry that is there; else add a new one")
    place = _place_at(before, path)
    rows.erase(turn.connection, path)
    if value is None:
        return Edit("remove", path, packed(before), None)
    _make(turn, needed)
    after = rows_of(path, value, place or _last_place(turn, path[:-1]), turn.new_id)
    rows.write(turn.connection, after)
    return Edit("set", path, packed(before) if before else None, packed(after), len(needed))


def set_fields(turn: Turn, fields: Sequence[tuple[Path, Any, Any]]) -> Edit | None:
    """Several fields (path, seen, value) as one change, called by the first; None where all stood so already.

    An entry whose value is None is removed; a table for a list is a new entry, the last of it. Raises Conflict as
    `set_field` does; then nothing is changed.
    """
    made = (
        insert(turn, path, value, None)
        if is_list(path) and isinstance(value, dict)
        else set_field(turn, path, seen, value)
        for path, seen, value in fields
    )
    edits = [edit for edit in made if edit is not None]
    if len(edits) < 2:
        return edits[0] if edits else None
    before = [row for edit in edits for row in unpacked(edit.before) or ()]
    after = [row for edit in edits for row in unpacked(edit.after) or ()]
    return Edit(SEVERAL, fields[0][0], packed(before), packed(after))


def written_alike(value: Any, other: Any) -> bool:
    """Whether two plain values are written alike; 1 and 1.0 are not."""
    if isinstance(value, dict | list) or isinstance(other, dict | list):
        return repr(value) == repr(other)
    return written(value) == written(other)


def _place_at(there: Sequence[StoredRow], path: Path) -> str | None:
    here = pointer(path)
    return next((row.place for row in there if row.path == here), None)


def remove_unless_changed(turn: Turn, path: Path, seen_revision: int) -> Edit | None:
    """Remove what the person saw at a revision. Raises Conflict where somebody else changed it since."""
    before = rows.read(turn.connection, path)
    if not path or not before:
        return None
    if last_touch(turn.connection, path, after=seen_revision, not_by=turn.who):
        raise conflict(turn, path, tree_of(before, path).value)
    rows.erase(turn.connection, path)
    return Edit("remove", path, packed(before), None)


def insert(turn: Turn, path: Path, value: Any, before: str | None) -> Edit:
    """A new entry in the list at `path`, before the entry of id `before` or last. Raises Conflict, InputError."""
    if not is_list(path):
        raise InputError(f"{spoken(path)} is no list of tables; expected one, such as link or site")
    if not isinstance(value, dict):
        raise InputError(f"a new entry of {spoken(path)} is no table; expected one")
    new = (*path, turn.new_id())
    needed = missing_parents(turn, (*new[:-1], ""))
    _make(turn, needed)
    place = _place_before(turn, path, before, leaving=None) or _last_place(turn, path)
    after = rows_of(new, value, place, turn.new_id)
    rows.write(turn.connection, after)
    return Edit("insert", new, None, packed(after), len(needed))


def _place_before(turn: Turn, path: Path, entry: str | None, leaving: str | None) -> str | None:
    """A free place before an entry of the list at `path`; None where that entry is not there."""
    there = [(place, at) for place, at in rows.siblings(turn.connection, path) if at != leaving]
    if entry is None:
        return place_between(there[-1][0] if there else None, None)
    target = pointer((*path, entry))
    for number, (place, at) in enumerate(there):
        if at == target:
            return place_between(there[number - 1][0] if number else None, place)
    return None


def move(turn: Turn, path: Path, before: str | None, seen_revision: int) -> Edit | None:
    """Put an entry before another of its list, or last. Raises Conflict where one is gone or it was moved."""
    row = rows.read_one(turn.connection, path)
    if not is_entry(path):
        raise InputError(f"{spoken(path)} is no entry of a list; expected one, such as a link or a spot")
    if row is None:
        raise conflict(turn, path, None)
    last = last_touch(turn.connection, path, after=seen_revision, not_by=turn.who, moves=True)
    if last is not None:
        raise conflict(turn, path, tree_of(rows.read(turn.connection, path), path).value, last)
    order = [at for _, at in rows.siblings(turn.connection, path[:-1])]
    following = order[order.index(row.path) + 1 :][:1]
    if following == ([] if before is None else [pointer((*path[:-1], before))]) or before == path[-1]:
        return None
    place = _place_before(turn, path[:-1], before, leaving=row.path)
    if place is None:
        raise conflict(turn, (*path[:-1], str(before)), None)
    rows.put_at(turn.connection, row.path, place)
    return Edit("move", path, row.place, place)


def replace(turn: Turn, document: dict[str, Any], seen_revision: int | None) -> Edit | None:
    """The whole document anew. Raises Conflict where somebody else changed it since `seen_revision`."""
    before = rows.read(turn.connection)
    now = tree_of(before).value
    if seen_revision is not None and last_touch(turn.connection, (), after=seen_revision, not_by=turn.who):
        raise conflict(turn, (), now)
    if written_alike(now, document):
        return None
    after: list[StoredRow] = []
    for (key, value), place in zip(document.items(), places(len(document)), strict=True):
        after += rows_of((key,), value, place, turn.new_id)
    rows.erase(turn.connection, ())
    rows.write(turn.connection, after)
    return Edit("replace", (), packed(before), packed(after))
