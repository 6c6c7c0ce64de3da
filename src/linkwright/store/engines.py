"""Connections: many that read, one that writes."""

from __future__ import annotations

import sqlite3
import urllib.parse
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, event
from sqlalchemy.pool import QueuePool

from linkwright.store.location import Location

#: "Link" in ASCII: marks our files for whoever finds one (SQLite, PRAGMA application_id).
APPLICATION_ID = 0x4C696E6B
BUSY_S = 5.0
#: NORMAL would lose acknowledged changes when the power goes (docs/store.md, tests/store/test_store_power.py).
SYNCHRONOUS = "FULL"


def connect_sqlite(file: Path, mode: str) -> sqlite3.Connection:
    """A bare connection; mode is ro, rw or rwc. Transactions are begun by hand."""
    address = f"file:{urllib.parse.quote(str(file))}?mode={mode}"
    return sqlite3.connect(address, uri=True, check_same_thread=False, isolation_level=None, timeout=BUSY_S)


def reading_engine(location: Location, *, alone: bool) -> Engine:
    """Connections that only read, each a snapshot. `alone`: no process of ours writes, so the file is opened so."""
    if location.url is not None:
        return create_engine(location.url, isolation_level="REPEATABLE READ", pool_pre_ping=True, max_overflow=24)
    file, mode = location.file, "ro" if alone else "rw"
    assert file is not None

    def connect() -> sqlite3.Connection:
        connection = connect_sqlite(file, mode)
        connection.execute("PRAGMA query_only=ON")
        return connection

    engine = create_engine("sqlite://", creator=connect, poolclass=QueuePool, max_overflow=24)
    _begin_with(engine, "BEGIN")
    return engine


def writing_engine(location: Location) -> Engine:
    """The one connection that writes: every commit is on the disk before it is told."""
    if location.url is not None:
        return create_engine(location.url, pool_size=1, max_overflow=0, pool_pre_ping=True)
    file = location.file
    assert file is not None

    def connect() -> sqlite3.Connection:
        connection = connect_sqlite(file, "rw")
        connection.execute("PRAGMA journal_mode=WAL")
        connection.execute(f"PRAGMA synchronous={SYNCHRONOUS}")
        connection.execute("PRAGMA foreign_keys=ON")
        return connection

    engine = create_engine("sqlite://", creator=connect, poolclass=QueuePool, pool_size=1, max_overflow=0)
    _begin_with(engine, "BEGIN IMMEDIATE")
    return engine


def _begin_with(engine: Engine, words: str) -> None:
    """Python's driver begins transactions late and by guess; here they begin when SQLAlchemy says so."""

    @event.listens_for(engine, "begin")
    def begin(connection: Connection) -> None:
        connection.exec_driver_sql(words)


def pragma(connection: sqlite3.Connection, name: str) -> Any:
    """The first value that a PRAGMA answers."""
    row = connection.execute(f"PRAGMA {name}").fetchone()
    return row[0] if row else None
