"""Taking back one's own last change, and doing it again: each a compare-and-set of its own."""

from __future__ import annotations

from linkwright.store import rows
from linkwright.store.edits import Edit, Turn, conflict, missing_parents
from linkwright.store.history import SEVERAL, LoggedChange, last_touch
from linkwright.store.paths import Path, path_of, place_between, pointer
from linkwright.store.rows import LIST, TABLE, StoredRow, alike, packed, tree_of, unpacked
from linkwright.store.schema import is_entry, is_list


def reverse(turn: Turn, change: LoggedChange) -> Edit:
    """Put back what stood before a change. Raises Conflict where it is not as that change left it."""
    if change.what == SEVERAL:
        return _several_back(turn, change)
    if change.what == "move":
        return _move_back(turn, change)
    now = rows.read(turn.connection, change.path)
    if not alike(now, change.rows_after() or (), change.path):
        raise conflict(turn, change.path, tree_of(now, change.path).value)
    before = change.rows_before()
    if before is None:
        return _take_away(turn, change)
    needed = missing_parents(turn, change.path) if change.path else []
    for path in needed:
        place = _free_place(turn, path[:-1], None)
        rows.write(turn.connection, [StoredRow(pointer(path), LIST if is_list(path) else TABLE, place, "")])
    restored = _at_its_place(turn, change.path, now, before)
    rows.erase(turn.connection, change.path)
    rows.write(turn.connection, restored)
    what = "set" if now or not is_entry(change.path) else "insert"
    what = what if change.path else "replace"
    return Edit(what, change.path, packed(now) if now or not change.path else None, packed(restored), len(needed))


def _several_back(turn: Turn, change: LoggedChange) -> Edit:
    """Put back each of several values that were changed at once. Raises Conflict; then nothing is changed."""
    edits = [reverse(turn, change.part(path)) for path in change.paths()]
    before = [row for edit in edits for row in unpacked(edit.before) or ()]
    after = [row for edit in edits for row in unpacked(edit.after) or ()]
    return Edit(SEVERAL, change.path, packed(before), packed(after))


def _take_away(turn: Turn, change: LoggedChange) -> Edit:
    """Remove what a change added, and the tables that were made for nothing else."""
    path = change.path
    for _ in range(change.made):
        if len(rows.siblings(turn.connection, path[:-1])) > 1:
            break
        path = path[:-1]
    before = rows.read(turn.connection, path)
    rows.erase(turn.connection, path)
    return Edit("remove", path, packed(before), None)


def _at_its_place(turn: Turn, path: Path, now: list[StoredRow], before: list[StoredRow]) -> list[StoredRow]:
    """The rows to restore: what stands there keeps its place; what was gone gets its old one, or the next free."""
    if not path:
        return before
    here = pointer(path)
    place = next((row.place for row in now if row.path == here), None)
    if place is None:
        old = next(row.place for row in before if row.path == here)
        place = _free_place(turn, path[:-1], old)
    return [StoredRow(row.path, row.kind, place, row.value) if row.path == here else row for row in before]


def _free_place(turn: Turn, parent: Path, wanted: str | None) -> str:
    taken = [place for place, _ in rows.siblings(turn.connection, parent)]
    if wanted is None:
        return place_between(taken[-1] if taken else None, None)
    if wanted not in taken:
        return wanted
    return place_between(wanted, next((place for place in taken if place > wanted), None))


def _move_back(turn: Turn, change: LoggedChange) -> Edit:
    row = rows.read_one(turn.connection, change.path)
    if row is None:
        raise conflict(turn, change.path, None)
    if row.place != change.stored_after:
        last = last_touch(turn.connection, change.path, moves=True)
        value = tree_of(rows.read(turn.connection, change.path), change.path).value
        raise conflict(turn, change.path, value, last)
    assert change.stored_before is not None
    place = _free_place(turn, path_of(row.parent), change.stored_before)
    rows.put_at(turn.connection, row.path, place)
    return Edit("move", change.path, row.place, place)
