"""Who waits for changes hears of them: at once, of our own and of another process's.

SQLite has one process that writes; another that reads looks five times a second. On PostgreSQL each change is told
by NOTIFY as it is committed, and every process LISTENs on a connection of its own; where that was lost, it is asked
what was missed.
"""

from __future__ import annotations

import sqlite3
import threading
import time
from collections.abc import Callable
from typing import Any, Final, TypeVar, cast

from sqlalchemy import Connection, Engine, text
from sqlalchemy.exc import SQLAlchemyError

from linkwright.shoot.errors import InputError
from linkwright.store.history import last_revision

K = TypeVar("K", int, str)

#: How often another process's changes are looked for in a file; how soon a lost connection is made again [s].
LOOK_S: Final = 0.2
#: How often a connection that LISTENs is asked whether it is still one [s].
ALIVE_S: Final = 5.0
#: The channel on which all stores of a database tell; what they say begins with the schema of each.
CHANNEL: Final = "linkwright"
#: What is signalled where something may have been missed.
MISSED: Final = ""


def tell_others(connection: Connection, *words: str) -> None:
    """Say words to all processes that have this store open, as this transaction is committed (PostgreSQL)."""
    says = text(f"SELECT pg_notify('{CHANNEL}', current_schema() || ' ' || :what)")
    connection.execute(says, [{"what": word} for word in words])


class Watch:
    """The newest revision, and who wants to know of it, or of what processes signal to each other.

    A revision is told as its number, all else as a word.
    """

    def __init__(self, engine: Engine, *, sqlite: bool) -> None:
        self._engine = engine
        self._sqlite = sqlite
        with engine.connect() as connection:
            self._revision = last_revision(connection)
        self._news = threading.Condition()
        self._callbacks: dict[int, Callable[[int], None]] = {}
        self._signals: dict[int, Callable[[str], None]] = {}
        self._given = 0
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._look, name="linkwright-watch", daemon=True)
        self._thread.start()

    @property
    def revision(self) -> int:
        """The newest revision known."""
        return self._revision

    def tell(self, revision: int) -> None:
        """There is a new revision: wake who waits, call who asked."""
        with self._news:
            if revision <= self._revision:
                return
            self._revision = revision
            self._news.notify_all()
            callbacks = list(self._callbacks.values())
        for callback in callbacks:
            callback(revision)

    def signal(self, what: str) -> None:
        """Something was signalled by a process: call who asked."""
        with self._news:
            callbacks = list(self._signals.values())
        for callback in callbacks:
            callback(what)

    def wait(self, revision: int, timeout_s: float) -> int:
        """The newest revision, as soon as it is later than `revision`, else after `timeout_s`, or on closing."""
        with self._news:
            self._news.wait_for(lambda: self._revision > revision or self._stop.is_set(), timeout_s)
            return self._revision

    def subscribe(self, callback: Callable[[int], None]) -> Callable[[], None]:
        """Call `callback(revision)` from now on, in whichever thread; it must be quick. Returns what ends it."""
        return self._add(self._callbacks, callback)

    def on_signal(self, callback: Callable[[str], None]) -> Callable[[], None]:
        """Call `callback(word)` for what processes signal, and with MISSED where that may be incomplete. Returns
        its end."""
        return self._add(self._signals, callback)

    def _add(self, callbacks: dict[int, Callable[[K], None]], callback: Callable[[K], None]) -> Callable[[], None]:
        with self._news:
            self._given += 1
            number = self._given
            callbacks[number] = callback

        def end() -> None:
            with self._news:
                callbacks.pop(number, None)

        return end

    def close(self) -> None:
        """Wake everybody, for the last time."""
        self._stop.set()
        with self._news:
            self._news.notify_all()
        self._thread.join()

    def _look(self) -> None:
        look = self._look_on_one_connection if self._sqlite else self._listen_on_one_connection
        while not self._stop.is_set():
            try:
                look()
            except (
                SQLAlchemyError,
                sqlite3.Error,
                InputError,
            ):  # it went away: whoever edits is told; here it is tried again
                self._stop.wait(LOOK_S)

    def _look_on_one_connection(self) -> None:
        seen: object = None
        with self._engine.connect() as connection:
            while not self._stop.wait(LOOK_S):
                driver = connection.connection.driver_connection
                assert driver is not None
                version = driver.execute("PRAGMA data_version").fetchone()[0]
                if version == seen:
                    continue
                seen = version
                revision = last_revision(connection)
                connection.rollback()  # ends the snapshot
                self.tell(revision)

    def _listen_on_one_connection(self) -> None:
        """Hear what is told until the connection is lost."""
        import psycopg

        with self._engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
            connection.exec_driver_sql(f"LISTEN {CHANNEL}")
            schema = connection.exec_driver_sql("SELECT current_schema()").scalar_one()
            driver = cast("psycopg.Connection[Any]", connection.connection.driver_connection)
            asked_s = -ALIVE_S
            try:
                while not self._stop.is_set():
                    if time.monotonic() - asked_s >= ALIVE_S:
                        missed = asked_s < 0.0
                        self.tell(last_revision(connection))
                        asked_s = time.monotonic()
                        if missed:
                            self.signal(MISSED)
                    for notice in driver.notifies(timeout=LOOK_S):
                        self._heard(notice.payload, str(schema))
            except psycopg.Error as error:  # outside SQLAlchemy's hands
                connection.invalidate()
                raise SQLAlchemyError(str(error)) from error

    def _heard(self, payload: str, schema: str) -> None:
        whose, _, what = payload.rpartition(" ")
        if whose == schema and what.isdecimal():
            self.tell(int(what))
        elif whose == schema:
            self.signal(what)
