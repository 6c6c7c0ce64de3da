"""Who waits for changes hears of them: at once of our own, within a quarter of a second of another process's."""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Callable

from sqlalchemy import Engine
from sqlalchemy.exc import SQLAlchemyError

from linkwright.store.history import last_revision

#: How often another process's changes are looked for.
LOOK_S = 0.2


class Watch:
    """The newest revision, and who wants to know of it.

    Looking costs one PRAGMA (SQLite's data_version) or one indexed query (PostgreSQL).
    """

    def __init__(self, engine: Engine, *, sqlite: bool) -> None:
        self._engine = engine
        self._sqlite = sqlite
        with engine.connect() as connection:
            self._revision = last_revision(connection)
        self._news = threading.Condition()
        self._callbacks: dict[int, Callable[[int], None]] = {}
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

    def wait(self, revision: int, timeout_s: float) -> int:
        """The newest revision, as soon as it is later than `revision`, else after `timeout_s`, or on closing."""
        with self._news:
            self._news.wait_for(lambda: self._revision > revision or self._stop.is_set(), timeout_s)
            return self._revision

    def subscribe(self, callback: Callable[[int], None]) -> Callable[[], None]:
        """Call `callback(revision)` from now on, in whichever thread; it must be quick. Returns what ends it."""
        with self._news:
            self._given += 1
            number = self._given
            self._callbacks[number] = callback

        def end() -> None:
            with self._news:
                self._callbacks.pop(number, None)

        return end

    def close(self) -> None:
        """Wake everybody, for the last time."""
        self._stop.set()
        with self._news:
            self._news.notify_all()
        self._thread.join()

    def _look(self) -> None:
        while not self._stop.is_set():
            try:
                self._look_on_one_connection()
            except (SQLAlchemyError, sqlite3.Error):  # it went away: whoever edits is told; here it is tried again
                self._stop.wait(LOOK_S)

    def _look_on_one_connection(self) -> None:
        seen: object = None
        with self._engine.connect() as connection:
            while not self._stop.wait(LOOK_S):
                if self._sqlite:
                    driver = connection.connection.driver_connection
                    assert driver is not None
                    version = driver.execute("PRAGMA data_version").fetchone()[0]
                    if version == seen:
                        continue
                    seen = version
                revision = last_revision(connection)
                connection.rollback()  # ends the snapshot
                self.tell(revision)
