"""Work that one of several processes does: whoever holds its advisory lock (PostgreSQL).

The lock goes with the connection: of a process that is gone, or whose line broke, another takes it over. A file has
one process that writes, which does all there is.
"""

from __future__ import annotations

import threading
from typing import Final

from sqlalchemy import Connection, Engine, create_engine, text
from sqlalchemy.exc import SQLAlchemyError
from sqlalchemy.pool import NullPool

from linkwright.store.engines import APPLICATION_ID
from linkwright.store.location import Location

#: One lock for each kind of work in each schema.
_TAKE: Final = text("SELECT pg_try_advisory_lock(:ours, hashtext(current_schema() || ' ' || :name))")
_STILL: Final = text("SELECT 1")


class Duty:
    """One kind of work, by its name. Safe to use from several threads."""

    def __init__(self, location: Location, name: str) -> None:
        self._name = name
        self._lock = threading.Lock()
        self._held: Connection | None = None
        self._engine: Engine | None = None
        if location.url is not None:
            self._engine = create_engine(location.url, poolclass=NullPool, isolation_level="AUTOCOMMIT")

    def take(self) -> bool:
        """Whether the work is this process's, now: it had it and still has, or nobody else does."""
        if self._engine is None:
            return True
        with self._lock:
            if self._held is not None and self._still():
                return True
            return self._try()

    def _still(self) -> bool:
        assert self._held is not None
        try:
            self._held.execute(_STILL)
        except SQLAlchemyError:
            self._drop()
            return False
        return True

    def _try(self) -> bool:
        assert self._engine is not None
        try:
            connection = self._engine.connect()
        except SQLAlchemyError:
            return False  # nobody has it while the database is away
        try:
            taken = bool(connection.execute(_TAKE, {"ours": APPLICATION_ID, "name": self._name}).scalar())
        except SQLAlchemyError:
            taken = False
        if taken:
            self._held = connection
        else:
            connection.close()
        return taken

    def _drop(self) -> None:
        held, self._held = self._held, None
        if held is not None:
            held.invalidate()
            held.close()

    def close(self) -> None:
        """Leave it to others."""
        with self._lock:
            if self._held is not None:
                self._held.close()  # not pooled: the session ends, and the lock with it
                self._held = None
            if self._engine is not None:
                self._engine.dispose()
