"""The one thread that writes: what it is given is done in turn, each in a transaction of its own."""

from __future__ import annotations

import contextlib
import queue
import sqlite3
import threading
from collections.abc import Callable
from concurrent.futures import Future
from typing import Any, TypeVar

from sqlalchemy import Connection, Engine, text

from linkwright.shoot.errors import InputError
from linkwright.store.engines import pragma
from linkwright.store.faults import telling
from linkwright.store.location import Location

T = TypeVar("T")
_Job = tuple[Callable[[Connection], Any], "Future[Any]"]


class Writer:
    """Takes jobs from any thread; hands back their result when it is on the disk."""

    def __init__(self, engine: Engine, location: Location) -> None:
        self._engine = engine
        self._location = location
        self._jobs: queue.SimpleQueue[_Job | None] = queue.SimpleQueue()
        self._gate = threading.Lock()
        self._closed = False
        self._thread = threading.Thread(target=self._work, name="linkwright-store", daemon=True)
        self._thread.start()

    def do(self, job: Callable[[Connection], T]) -> T:
        """Do a job in a transaction; wait until it is committed. What it raises undoes it and is raised here."""
        future: Future[T] = Future()
        with self._gate:
            if self._closed:
                raise InputError("was closed; nothing was saved of this change", path=self._location.name)
            self._jobs.put((job, future))
        return future.result()

    def close(self) -> None:
        """Finish what was given, then make one file of it."""
        with self._gate:
            if not self._closed:
                self._closed = True
                self._jobs.put(None)
        self._thread.join()

    def _work(self) -> None:
        while (taken := self._jobs.get()) is not None:
            job, future = taken
            try:
                result = self._one(job)
            except BaseException as error:
                future.set_exception(error)
            else:
                future.set_result(result)
        self._leave()

    def _one(self, job: Callable[[Connection], T]) -> T:
        with telling(self._location), self._engine.begin() as connection:
            if self._location.url is not None:  # other servers write it too: in turn, readers not held up
                connection.execute(text("LOCK TABLE change IN EXCLUSIVE MODE"))
            return job(connection)

    def _leave(self) -> None:
        """In this thread, as no other may write or checkpoint. What fails loses nothing: the log stays beside."""
        if self._location.url is None:
            raw = self._engine.raw_connection()
            connection: Any = raw.driver_connection
            for name in ("wal_checkpoint(TRUNCATE)", "journal_mode=DELETE"):
                with contextlib.suppress(sqlite3.Error):  # a full disk, a reader that stays
                    pragma(connection, name)
            raw.close()
        self._engine.dispose()
