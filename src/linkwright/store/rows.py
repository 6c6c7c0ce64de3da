"""A document as rows, and rows as a document."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

from sqlalchemy import ColumnElement, Connection, and_, delete, insert, or_, select, update

from linkwright.store import tables
from linkwright.store.checking import checked, crc_of
from linkwright.store.paths import Path, beneath, path_of, places, pointer
from linkwright.store.schema import is_list
from linkwright.store.values import written

TABLE, LIST, VALUE = "t", "l", "v"


@dataclass(frozen=True, slots=True)
class StoredRow:
    """A table, a list of tables, an entry of one, or a value; `place` orders it among its siblings."""

    path: str
    kind: str
    place: str
    value: str

    @property
    def parent(self) -> str:
        """The path of what it stands in."""
        return self.path.rpartition("/")[0]

    @property
    def keys(self) -> Path:
        """Its path, key by key."""
        return path_of(self.path)


@dataclass(slots=True)
class Tree:
    """A plain value, None where there is none; and the ids of the entries of every list in it, by its path."""

    value: Any
    ids: dict[Path, tuple[str, ...]] = field(default_factory=dict)


def rows_of(path: Path, value: Any, place: str, new_id: Callable[[], str]) -> list[StoredRow]:
    """The rows of a plain value that stands at `path`. Entries of lists get new ids."""
    here = pointer(path)
    if isinstance(value, dict):
        rows = [StoredRow(here, TABLE, place, "")]
        for (key, inner), inner_place in zip(value.items(), places(len(value)), strict=True):
            rows += rows_of((*path, key), inner, inner_place, new_id)
        return rows
    if is_list(path) and isinstance(value, list) and all(isinstance(entry, dict) for entry in value):
        rows = [StoredRow(here, LIST, place, "")]
        for entry, inner_place in zip(value, places(len(value)), strict=True):
            rows += rows_of((*path, new_id()), entry, inner_place, new_id)
        return rows
    return [StoredRow(here, VALUE, place, written(value))]


def tree_of(rows: Iterable[StoredRow], root: Path = ()) -> Tree:
    """The value at `root` whose rows these are. The whole document is a table that needs no row of its own."""
    children: dict[str, list[StoredRow]] = {}
    top = None
    at = pointer(root)
    for row in rows:
        if row.path == at:
            top = row
        else:
            children.setdefault(row.parent, []).append(row)
    if top is None and root:
        return Tree(None)
    tree = Tree(None)
    tree.value = _built(top or StoredRow("", TABLE, "", ""), children, tree.ids)
    return tree


def _built(row: StoredRow, children: dict[str, list[StoredRow]], ids: dict[Path, tuple[str, ...]]) -> Any:
    if row.kind == VALUE:
        return json.loads(row.value)
    inner = sorted(children.get(row.path, ()), key=lambda child: (child.place, child.path))
    keys = [path_of(child.path[len(row.path) :])[0] for child in inner]
    values = [_built(child, children, ids) for child in inner]
    if row.kind == TABLE:
        return dict(zip(keys, values, strict=True))
    ids[path_of(row.path)] = tuple(keys)
    return values


def alike(stored_rows: Sequence[StoredRow], other: Sequence[StoredRow], root: Path) -> bool:
    """Whether two sets of rows of one path are the same value, its lists in the same order; keys have none."""
    if {(row.path, row.kind, row.value) for row in stored_rows} != {
        (row.path, row.kind, row.value) for row in other
    }:
        return False
    return tree_of(stored_rows, root).ids == tree_of(other, root).ids


def packed(rows: Sequence[StoredRow] | None) -> str | None:
    """Rows as the change log keeps them."""
    if rows is None:
        return None
    return json.dumps([[row.path, row.kind, row.place, row.value] for row in rows], separators=(",", ":"))


def unpacked(text: str | None) -> list[StoredRow] | None:
    """Rows from the change log."""
    return None if text is None else [StoredRow(*columns) for columns in json.loads(text)]


def _within(path: Path) -> ColumnElement[bool]:
    first, beyond = beneath(pointer(path))
    column = tables.field.c.path
    return or_(column == pointer(path), and_(column >= first, column < beyond))


def read(connection: Connection, path: Path = ()) -> list[StoredRow]:
    """The rows of what stands at `path`, and beneath it; none where nothing does. InputError: damaged."""
    table = tables.field.c
    query = select(table.path, table.kind, table.place, table.value, table.crc)
    if path:
        query = query.where(_within(path))
    return [StoredRow(*checked(columns, crc)) for *columns, crc in connection.execute(query)]


def read_one(connection: Connection, path: Path) -> StoredRow | None:
    """The row at `path` itself."""
    table = tables.field.c
    query = select(table.path, table.kind, table.place, table.value, table.crc).where(table.path == pointer(path))
    row = connection.execute(query).first()
    return None if row is None else StoredRow(*checked(row[:-1], row.crc))


def siblings(connection: Connection, parent: Path) -> list[tuple[str, str]]:
    """Location and path of everything that stands directly in `parent`, in order."""
    table = tables.field.c
    query = select(table.place, table.path).where(table.parent == pointer(parent)).order_by(table.place, table.path)
    return [(place, path) for place, path in connection.execute(query)]


def write(connection: Connection, rows: Sequence[StoredRow]) -> None:
    """Add rows."""
    if rows:
        connection.execute(
            insert(tables.field),
            [
                {
                    "path": r.path,
                    "parent": r.parent,
                    "kind": r.kind,
                    "place": r.place,
                    "value": r.value,
                    "crc": crc_of((r.path, r.kind, r.place, r.value)),
                }
                for r in rows
            ],
        )


def put_at(connection: Connection, stored_path: str, place: str) -> None:
    """Give a row another place among its siblings."""
    row = read_one(connection, path_of(stored_path))
    if row is not None:
        crc = crc_of((row.path, row.kind, place, row.value))
        here = tables.field.c.path == stored_path
        connection.execute(update(tables.field).where(here).values(place=place, crc=crc))


def erase(connection: Connection, path: Path) -> None:
    """Take away what stands at `path`, and beneath it."""
    connection.execute(delete(tables.field).where(_within(path)) if path else delete(tables.field))
