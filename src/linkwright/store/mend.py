"""A damaged job: what of it is whole goes into a new one, and what is not is listed.

The damaged file is only read, through a copy. SQLite finds what it can of a table by its row numbers; where a page
cannot be read the rows beside it still can. A row counts as whole where it is what its checksum says, an attachment
where its bytes are what its hash says. What stands in a table that was lost is lost with it.
"""

from __future__ import annotations

import contextlib
import datetime
import hashlib
import re
import shutil
import sqlite3
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any, Final

from sqlalchemy import LargeBinary

from linkwright.halfway import folder, half_of
from linkwright.shoot.errors import InputError
from linkwright.store import tables
from linkwright.store.checking import CHANGE, FIELD, crc_of
from linkwright.store.engines import connect_sqlite, pragma
from linkwright.store.faults import BROKEN
from linkwright.store.history import milliseconds
from linkwright.store.paths import path_of, spoken
from linkwright.store.store import Store

#: Row numbers go up to here; of a table so many failures are looked around.
LAST: Final = 2**63 - 1
MOST_FAILURES: Final = 20_000
#: What is said of the rows of a table that are not whole, and the columns that its checksum covers.
CHECKED: Final = {"field": FIELD, "change": CHANGE}
#: Kept whole or not at all, by the bytes in `piece`.
BYTES: Final = ("content", "piece", "attachment")
#: The revisions in the key of a row: ids are named by that which made them.
GIVEN: Final = re.compile(r"(?:^|/)i([0-9]{1,18})(?=[-/]|$)")

Row = dict[str, Any]


def mend(damaged: Path, target: Path) -> list[str]:
    """Save what is whole of a job into a new one at `target`; what is not, a sentence each, nothing where all is.

    Raises InputError where `target` is there already, or of the job nothing can be read at all.
    """
    if target.exists():
        raise InputError("is there already; expected the name of a new file", path=str(target))
    if not damaged.is_file():
        raise InputError("is no file; expected a damaged job", path=str(damaged))
    half = half_of(target)
    with folder(target.absolute().parent) as place:
        copy = Path(place) / "job"
        shutil.copyfile(damaged, copy)
        with contextlib.suppress(FileNotFoundError):
            shutil.copyfile(damaged.with_name(damaged.name + "-wal"), copy.with_name("job-wal"))
        old = connect_sqlite(copy, "rw")
        old.text_factory = lambda raw: raw.decode("utf-8", "surrogateescape")
        try:
            half.unlink(missing_ok=True)
            said = _saved(old, half, str(damaged))
            half.rename(target)
        finally:
            old.close()
            half.unlink(missing_ok=True)
    return said


def _saved(old: sqlite3.Connection, half: Path, name: str) -> list[str]:
    """A new job of what is whole; what is not."""
    try:
        pragma(old, "schema_version")
        there = {row[0] for row in old.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
    except BROKEN as error:
        raise InputError(f"nothing of it can be read ({error}); go on with its last backup", path=name) from None
    if "field" not in there:
        raise InputError("holds no shoot that could be read; go on with its last backup", path=name)
    Store.open(half, create=True).close()
    new = connect_sqlite(half, "rw")
    said: list[str] = []
    try:
        new.execute("PRAGMA synchronous=FULL")
        new.execute("BEGIN")
        for table in tables.metadata.sorted_tables:
            if table.name in there and table.name not in BYTES and table.name != "cached":
                _put(new, table.name, _whole(old, table.name, said))
        _put_bytes(old, new, said)
        new.execute("COMMIT")
        _count_on(new)
    finally:
        new.close()
    with Store.open(half) as store:
        store.document()
    return said


def _count_on(new: sqlite3.Connection) -> None:
    """Where the end of the history is lost, revisions go on behind every id given out: none comes twice."""
    given = 0
    for table in tables.metadata.sorted_tables:
        keys = ", ".join(f'"{column.name}"' for column in table.primary_key)
        for key in new.execute(f"SELECT {keys} FROM {table.name}"):
            given = max([given, *(int(number) for part in key for number in GIVEN.findall(str(part)))])
    (last,) = new.execute("SELECT coalesce(max(revision), 0) FROM change").fetchone()
    if given > last:
        at_ms = milliseconds(datetime.datetime.now(datetime.UTC))
        values = (given, at_ms, "Linkwright", "job", "mend", "", None, None, 0, "do", None)
        with new:
            new.execute("BEGIN")
            _put(new, "change", [{**dict(zip(CHANGE, values, strict=True)), "crc": crc_of(values)}])


def _whole(old: sqlite3.Connection, table: str, said: list[str]) -> Iterator[Row]:
    """The rows of a table that are whole, with their checksums; those of the document behind what they stand in."""
    lost, kept = [], {""}
    for row in sorted(_rows(old, table, said), key=lambda row: str(row.get("path")) if table == "field" else ""):
        if table == "field":
            row["parent"] = str(row["path"]).rpartition("/")[0]
        if not _is_whole(table, row) or (table == "field" and row["parent"] not in kept):
            lost.append(_called(table, row))
            continue
        kept.add(str(row.get("path")))
        if table in CHECKED:
            row["crc"] = crc_of([row[name] for name in CHECKED[table]])
        yield row
    said += [f"lost: {what}" for what in lost]


def _is_whole(table: str, row: Row) -> bool:
    """Whether a row is what was written, as far as that can be told."""
    if not _is_text(table, row):
        return False
    if table not in CHECKED or "crc" not in row:  # kinds before 0004 had no checksum
        return True
    return bool(row["crc"] == crc_of([row[name] for name in CHECKED[table]]))


def _is_text(table: str, row: Row) -> bool:
    """Whether every text is one, and bytes are where bytes belong: what was changed need not be."""
    columns = tables.metadata.tables[table].columns
    try:
        for name, value in row.items():
            if isinstance(value, str):
                value.encode("utf-8")
            elif isinstance(value, bytes) and not (name in columns and isinstance(columns[name].type, LargeBinary)):
                return False
    except UnicodeEncodeError:
        return False
    return True


def _called(table: str, row: Row) -> str:
    """What a person calls a row."""
    with contextlib.suppress(ValueError, TypeError, AttributeError, InputError):
        if table == "field":
            return spoken(path_of(row["path"]))
        if table == "change":
            return f"change {int(row['revision'])} of the history"
    return f"a row of {table}"


def _rows(old: sqlite3.Connection, table: str, said: list[str]) -> Iterator[Row]:
    """Every row of a table that can be read, by its number; how much cannot."""
    names = [row[1] for row in old.execute(f"PRAGMA table_info({table})")]
    spans, failures = [(-LAST - 1, LAST)], 0
    while spans and failures < MOST_FAILURES:
        first, last = spans.pop()
        rows: list[Row] = []
        at = first
        try:
            for number, *values in old.execute(
                f"SELECT rowid, * FROM {table} WHERE rowid BETWEEN ? AND ? ORDER BY rowid", (first, last)
            ):
                rows.append(dict(zip(names, values, strict=True)))
                at = number + 1
        except BROKEN:
            failures += 1
            if at < last:
                middle = (at + last) // 2
                spans += [(middle + 1, last), (at, middle)]
        yield from rows
    if failures:
        said.append(f"some of the file cannot be read: rows of {table}")


def _put(new: sqlite3.Connection, table: str, rows: Iterable[Row]) -> None:
    """Write rows; what no table can hold is left out."""
    known = {column.name for column in tables.metadata.tables[table].columns}
    for row in rows:
        names = [name for name in row if name in known]
        marks = ", ".join("?" * len(names))
        quoted = ", ".join(f'"{name}"' for name in names)
        with contextlib.suppress(sqlite3.IntegrityError):
            new.execute(f"INSERT INTO {table} ({quoted}) VALUES ({marks})", [row[name] for name in names])


def _put_bytes(old: sqlite3.Connection, new: sqlite3.Connection, said: list[str]) -> None:
    """The attachments whose bytes are what they were."""
    whole: set[str] = set()
    for content in _rows(old, "content", said):
        if not _is_text("content", content):
            continue
        hash_ = content["hash"]
        digest, count = hashlib.sha256(), 0
        new.execute("SAVEPOINT content")
        _put(new, "content", [content])
        with contextlib.suppress(*BROKEN):
            for number, data in old.execute(
                "SELECT number, data FROM piece WHERE hash = ? ORDER BY number", (hash_,)
            ):
                digest.update(data)
                _put(new, "piece", [{"hash": hash_, "number": number, "data": data}])
                count += 1
        if digest.hexdigest() == hash_:
            whole.add(hash_)
        else:
            new.execute("ROLLBACK TO content")
        new.execute("RELEASE content")
    for row in _rows(old, "attachment", said):
        if row["hash"] in whole and _is_text("attachment", row):
            _put(new, "attachment", [row])
        else:
            said.append(f"lost: the file {str(row.get('name'))[:80].encode('utf-8', 'replace').decode()}")
