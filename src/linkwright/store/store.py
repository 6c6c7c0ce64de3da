"""A shoot, stored: what the pages read and write."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Sequence
from pathlib import Path as FilePath
from types import TracebackType
from typing import Any, Self

from sqlalchemy import Connection

from linkwright.shoot.errors import InputError
from linkwright.store import edits, history
from linkwright.store.backup import copy_into
from linkwright.store.draft import Draft
from linkwright.store.edits import Edit, Turn
from linkwright.store.hatch import Hatch
from linkwright.store.history import LoggedChange
from linkwright.store.hunt_edits import Hunting
from linkwright.store.paths import checked
from linkwright.store.undo import reverse
from linkwright.store.values import plain

#: How many changes are handed out at once.
MOST_CHANGES = 1000


class Store(Hunting):
    """One shoot in one file of SQLite, or in a PostgreSQL. Every method may be called from any thread.

    Who writes is answered when the change is on the disk. Paths are keys from the document's top; an entry of a
    list of tables (site, its spots and walls, link, other, call, its breaks) goes by its id: `document().ids`.
    A value of None is a field that is not there.
    """

    @classmethod
    def open(
        cls,
        url_or_path: str | FilePath,
        *,
        create: bool = False,
        read_only: bool = False,
        now: Callable[[], datetime.datetime] | None = None,
    ) -> Self:
        """Open a store, or make one where there is none and `create`. `said` then tells what was done.

        Raises InputError: no such file, not ours, damaged, newer, held by another process, not writable.
        """
        return cls(url_or_path, create, read_only, now)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def hatch(self, crew: str) -> Hatch:
        """All that the devices of a crew (by its id) get of this store."""
        return Hatch(self, crew)

    def document(self) -> Draft:
        """What was typed so far: `.document`, `.ids`, `.revision` of one moment, to keep and change as you like."""
        return self._newest().copied()

    def set_field(self, path: Sequence[str | int], seen: Any, value: Any, who: str) -> LoggedChange | None:
        """Put `value` at `path`, where `seen` is what the person saw there; None for either is nothing.

        Missing tables on the way are made. Returns None where the value stood there already. Raises Conflict where
        something else stands there now, InputError where no shoot could hold it.
        """
        at, old, new = checked(path), plain(seen), plain(value)
        return self._edit(who, lambda turn: edits.set_field(turn, at, old, new))

    def set_fields(self, fields: Sequence[tuple[Sequence[str | int], Any, Any]], who: str) -> LoggedChange | None:
        """Several fields (path, seen, value) as one change, which is taken back as one; None removes an entry, a
        table at the path of a list is a new entry of it.

        Raises Conflict and InputError as `set_field` does; then nothing is changed.
        """
        plainly = [(checked(path), plain(seen), plain(value)) for path, seen, value in fields]
        return self._edit(who, lambda turn: edits.set_fields(turn, plainly))

    def insert(self, path: Sequence[str | int], value: Any, who: str, *, before: str | None = None) -> LoggedChange:
        """A new entry in the list at `path`, before the entry of that id, or last; its id ends the path told."""
        at, new = checked(path), plain(value)
        change = self._edit(who, lambda turn: edits.insert(turn, at, new, before))
        assert change is not None
        return change

    def remove(self, path: Sequence[str | int], who: str, *, seen_revision: int) -> LoggedChange | None:
        """Remove a field, a table or an entry that the person saw at a revision.

        Raises Conflict where somebody else changed it, or anything in it, since. None where it is gone already.
        """
        at = checked(path)
        return self._edit(who, lambda turn: edits.remove_unless_changed(turn, at, seen_revision))

    def move(
        self, path: Sequence[str | int], who: str, *, before: str | None, seen_revision: int
    ) -> LoggedChange | None:
        """Put an entry before another of its list (by id), or last.

        Raises Conflict where somebody else moved or removed it since `seen_revision`. None where it stands there.
        """
        at = checked(path)
        return self._edit(who, lambda turn: edits.move(turn, at, before, seen_revision))

    def replace(
        self, document: dict[str, Any], who: str, *, seen_revision: int | None = None
    ) -> LoggedChange | None:
        """The whole document anew, as from a file; it can be undone.

        With `seen_revision`, raises Conflict where somebody else changed anything since.
        """
        new = plain(document)
        for key in new:
            checked((key,))
        return self._edit(who, lambda turn: edits.replace(turn, new, seen_revision))

    def undo(self, who: str, *, revision: int | None = None) -> LoggedChange | None:
        """Take back the person's last change, or their change of `revision`. None where there is none.

        Raises Conflict where somebody changed the same since.
        """
        return self._reverse(who, "undo", lambda connection: history.to_undo(connection, who, revision))

    def take_back(self, revision: int, who: str) -> LoggedChange | None:
        """Take back the change of a revision, whoever made it. None where it does not stand any more.

        Raises Conflict where somebody changed the same since.
        """
        return self._reverse(who, "undo", lambda connection: history.to_take_back(connection, revision))

    def newest_changes(self, most: int, before: int | None = None) -> list[LoggedChange]:
        """The newest changes of the document, of requests and of hunts, newest first; those before a revision."""
        return self._reading(lambda connection: history.newest(connection, most, before))

    def names_given(self, after: int = 0) -> list[LoggedChange]:
        """The changes after a revision that may have given something a name, oldest first."""
        return self._reading(lambda connection: history.renamed(connection, after))

    def redo(self, who: str) -> LoggedChange | None:
        """Do again what the person took back last. None where there is nothing. Raises Conflict."""
        return self._reverse(who, "redo", lambda connection: history.to_redo(connection, who))

    def changes(self, since: int, *, most: int = MOST_CHANGES) -> list[LoggedChange]:
        """The changes after a revision, oldest first."""
        return self._reading(lambda connection: history.since(connection, since, most))

    @property
    def revision(self) -> int:
        """The newest revision known here."""
        return self._watch.revision

    def wait(self, revision: int, timeout_s: float) -> int:
        """The newest revision as soon as it is later than `revision`, else after `timeout_s`, or on closing."""
        return self._watch.wait(revision, timeout_s)

    def subscribe(self, callback: Callable[[int], None]) -> Callable[[], None]:
        """Call `callback(revision)` at every change, in whichever thread; it must be quick. Returns its end."""
        return self._watch.subscribe(callback)

    def backup(self, path: str | FilePath) -> None:
        """A whole copy as one file, while work goes on. Raises InputError (it is there already, no room...)."""
        if self._location.file is None:
            raise InputError(
                "is on PostgreSQL; back it up with that database's own tool (pg_dump)", path=self._location.name
            )
        copy_into(self._location.file, FilePath(path))

    def _edit(self, who: str, make: Callable[[Turn], Edit | None]) -> LoggedChange | None:
        def job(turn: Turn) -> LoggedChange | None:
            edit = make(turn)
            return None if edit is None else self._logged(turn, edit, "do", None)

        return self._writing(who, job)

    def _reverse(
        self, who: str, way: str, find: Callable[[Connection], LoggedChange | None]
    ) -> LoggedChange | None:
        def job(turn: Turn) -> LoggedChange | None:
            change = find(turn.connection)
            return None if change is None else self._logged(turn, reverse(turn, change), way, change.revision)

        return self._writing(who, job)
