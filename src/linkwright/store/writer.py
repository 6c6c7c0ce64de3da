"""The one thread that writes: what it is given is done in turn, each in a transaction of its own."""

from __future__ import annotations

import contextlib
import queue
import sqlite3
import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import Future
from typing import Any, Final, TypeVar, cast

from sqlalchemy import Connection, Engine, text
from sqlalchemy.exc import DBAPIError, SQLAlchemyError

from linkwright.shoot.errors import InputError
from linkwright.store.engines import pragma
from linkwright.store.faults import telling
from linkwright.store.location import Location
from linkwright.store.moved import FilePlace, Moved

T = TypeVar("T")
_Job = tuple[Callable[[Connection], Any], "Future[Any]"]

#: When nobody wrote for so long, and at least every so often, what was written goes into the one file [s].
IDLE_S: Final = 0.5
CHECKPOINT_S: Final = 30.0
#: A database that broke off is asked for so long what became of a change, so often [s].
ASK_S: Final = 20.0
LOOK_S: Final = 0.2


class Writer:
    """Takes jobs from any thread; hands back their result when it is on the disk."""

    def __init__(self, engine: Engine, location: Location) -> None:
        self._engine = engine
        self._location = location
        self._jobs: queue.SimpleQueue[_Job | None] = queue.SimpleQueue()
        self._place = FilePlace(location)
        self._dirty, self._checkpoint_s = True, time.monotonic()
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
        while (taken := self._next()) is not None:
            job, future = taken
            try:
                result = self._one(job)
            except BaseException as error:
                future.set_exception(error)
            else:
                future.set_result(result)
        self._leave()

    def _next(self) -> _Job | None:
        """What is to be done next; meanwhile what was written goes into the one file, so that it can be copied."""
        while True:
            if self._dirty and time.monotonic() - self._checkpoint_s >= CHECKPOINT_S:
                self._checkpoint()
            try:
                return self._jobs.get(timeout=IDLE_S if self._dirty else None)
            except queue.Empty:
                self._checkpoint()

    def _checkpoint(self) -> None:
        """In this thread, as no other may. Readers are not held up; one that stays leaves the rest for later."""
        self._dirty, self._checkpoint_s = False, time.monotonic()
        if self._location.url is None:
            with contextlib.suppress(sqlite3.Error, SQLAlchemyError), self._bare() as bare:  # a full disk
                pragma(bare, "wal_checkpoint(PASSIVE)")

    @contextlib.contextmanager
    def _bare(self) -> Iterator[sqlite3.Connection]:
        """The connection without its transactions."""
        raw = self._engine.raw_connection()
        try:
            yield cast("sqlite3.Connection", raw.driver_connection)
        finally:
            raw.close()

    def _one(self, job: Callable[[Connection], T]) -> T:
        self._dirty = True
        try:
            with telling(self._location):
                if self._location.url is not None:
                    return self._with_others(job)
                with self._engine.begin() as connection:
                    result = job(connection)
                    self._place.check()
                    return result
        except Moved:
            with self._bare() as bare:
                says = self._place.saved(bare)
            raise InputError(says, path=self._location.name) from None

    def _with_others(self, job: Callable[[Connection], T]) -> T:
        """In a database that other servers write too: in turn, readers not held up.

        Where the line breaks while it is committed, the database is asked what became of it: an error is never told
        of a change that was saved.
        """
        done = False
        try:
            with self._engine.begin() as connection:
                number = connection.execute(text("SELECT txid_current()")).scalar_one()
                connection.execute(text("LOCK TABLE change IN EXCLUSIVE MODE"))
                result = job(connection)
                done = True
        except DBAPIError:
            if not done or not self._was_committed(number):
                raise
        return result

    def _was_committed(self, number: int) -> bool:
        """What became of a transaction. Raises InputError where the database does not come back in time."""
        until_s = time.monotonic() + ASK_S
        while True:
            try:
                with self._engine.connect() as connection:
                    became = connection.execute(text("SELECT txid_status(:number)"), {"number": number}).scalar()
                if became != "in progress":
                    return bool(became == "committed")
            except DBAPIError as error:
                if time.monotonic() > until_s:
                    says = (
                        "the database went away as this change was saved; look whether it is there when it is back"
                    )
                    raise InputError(says, path=self._location.name) from error
            time.sleep(LOOK_S)

    def _leave(self) -> None:
        """In this thread, as no other may write or checkpoint. What fails loses nothing: the log stays beside."""
        if self._location.url is None:
            with contextlib.suppress(SQLAlchemyError), self._bare() as bare:
                for name in ("wal_checkpoint(TRUNCATE)", "journal_mode=DELETE"):
                    with contextlib.suppress(sqlite3.Error):  # a full disk, a reader that stays
                        pragma(bare, name)
        self._engine.dispose()
