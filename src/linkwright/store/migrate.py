"""A store of an older kind is brought to this one; of a newer kind it is refused."""

from __future__ import annotations

import os
import sqlite3
from pathlib import Path

from sqlalchemy import Connection, Engine, inspect, text

from linkwright.shoot.errors import InputError
from linkwright.store import tables
from linkwright.store.backup import copy_into
from linkwright.store.engines import APPLICATION_ID, connect_sqlite, pragma
from linkwright.store.faults import DAMAGED
from linkwright.store.location import Location

#: The kinds of store that were, oldest first; the last is this program's. A test holds Alembic to the same.
KINDS = ("0001", "0002", "0003", "0004", "0005", "0006", "0007")
#: PostgreSQL: two servers that start at once take turns ("Link" in ASCII).
_TURN = APPLICATION_ID


def look_at_file(location: Location, *, create: bool, to_write: bool) -> bool:
    """Whether the file is yet to be made. Raises InputError where it is no file of ours.

    Who may write lets SQLite first take back what was half-written when the power went (its rollback journal).
    """
    file = location.file
    assert file is not None
    if file.is_dir():
        raise InputError("is a folder; expected a file", path=location.name)
    empty = not file.exists() or file.stat().st_size == 0
    if not empty:
        connection = connect_sqlite(file, "rw" if to_write else "ro")
        try:
            empty = pragma(connection, "page_count") == 0
            if not empty:
                _look_inside(connection, location, create=create)
        finally:
            connection.close()
    if empty and not create:
        state = "is empty" if file.exists() else "there is no such file"
        raise InputError(f"{state}; expected the store of a shoot", path=location.name)
    return empty


def _look_inside(connection: sqlite3.Connection, location: Location, *, create: bool) -> None:
    """Raises InputError where a file is another program's, newer or damaged, before anything is written."""
    if pragma(connection, "application_id") != APPLICATION_ID:
        raise InputError("is a database of another program; expected the store of a shoot", path=location.name)
    try:
        there = {name for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
        row = None
        if "alembic_version" in there:
            row = connection.execute("SELECT version_num FROM alembic_version").fetchone()
        refuse_strange(row[0] if row else None, location, create=create)
        if row and row[0] == KINDS[-1] and not _has_all_columns(connection):
            raise InputError(DAMAGED, path=location.name)
        for table in there & {"field", "change"}:  # not the attachments: they may be gigabytes
            if pragma(connection, f"quick_check('{table}')") != "ok":
                raise InputError(DAMAGED, path=location.name)
    except sqlite3.OperationalError:
        raise
    except (sqlite3.DatabaseError, UnicodeDecodeError):
        raise InputError(DAMAGED, path=location.name) from None


def _has_all_columns(connection: sqlite3.Connection) -> bool:
    """Whether every table is what it was made to be: names can be changed on the disk, and still be names."""
    return all(
        {column.name for column in table.columns}
        <= {row[1] for row in connection.execute(f"PRAGMA table_info('{table.name}')")}
        for table in tables.metadata.sorted_tables
    )


def make_file(file: Path) -> None:
    """An empty store, marked as ours, that nobody else on this machine may read. The tables come by migration."""
    os.close(os.open(file, os.O_WRONLY | os.O_CREAT | os.O_CLOEXEC, 0o600))
    connection = connect_sqlite(file, "rwc")
    try:
        connection.execute(f"PRAGMA application_id={APPLICATION_ID}")
    finally:
        connection.close()


def kind_of(connection: Connection) -> str | None:
    """The kind of store behind a connection; None where it has no tables yet."""
    if not inspect(connection).has_table("alembic_version"):
        return None
    return connection.execute(text("SELECT version_num FROM alembic_version")).scalar()


def refuse_strange(kind: str | None, location: Location, *, create: bool) -> None:
    """Raises InputError where the store is newer than this program, or where there is none."""
    if kind is None and not create:
        raise InputError("holds no shoot; expected the store of one", path=location.name)
    if kind is not None and kind not in KINDS:
        raise InputError(
            f"was written by a newer Linkwright (its store is of the kind {kind}, this one knows {KINDS[0]} to "
            f"{KINDS[-1]}); nothing was changed: open it with that version, or update this one",
            path=location.name,
        )


def bring_up(engine: Engine, location: Location, *, create: bool) -> list[str]:
    """Bring the store to this program's kind; what was done, in sentences. Raises InputError."""
    with engine.connect() as connection:
        kind = kind_of(connection)
    refuse_strange(kind, location, create=create)
    if kind == KINDS[-1]:
        return []
    said = []
    if kind is not None:
        said.append(_keep_the_old(location, kind))
    with engine.begin() as connection:
        if location.url is not None:
            connection.execute(text(f"SELECT pg_advisory_xact_lock({_TURN})"))
        upgrade(connection, KINDS[-1])
    return said


def _keep_the_old(location: Location, kind: str) -> str:
    told = f"{location.name} was written by an older Linkwright (kind {kind}); it was brought to {KINDS[-1]}"
    if location.file is None:
        return f"{told}, in one transaction"
    kept = location.file.with_name(f"{location.file.name}.before-{KINDS[-1]}")
    number = 1
    while kept.exists():
        number += 1
        kept = location.file.with_name(f"{location.file.name}.before-{KINDS[-1]}-{number}")
    copy_into(location.file, kept)
    return f"{told}; as it was, it is kept as {kept.name}"


def upgrade(connection: Connection, kind: str) -> None:
    """Run the steps up to a kind, within the connection's transaction."""
    from alembic import command
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(Path(__file__).parent / "migrations").replace("%", "%%"))
    config.attributes["connection"] = connection
    command.upgrade(config, kind)
