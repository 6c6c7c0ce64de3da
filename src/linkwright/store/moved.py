"""A file that is moved, removed or replaced while it is open: nothing is acknowledged into it, nothing is lost."""

from __future__ import annotations

import itertools
import sqlite3
from pathlib import Path
from typing import Final

from linkwright.store.location import Location

MOVED: Final = "was moved or removed while it was open; this last change was not saved, and"


class Moved(Exception):
    """The file is not where it was."""


class FilePlace:
    """Where a file was when it was opened, and whether it still is."""

    def __init__(self, location: Location) -> None:
        self._file = location.file
        self._was = self._is()
        self._saved: Path | None = None

    def _is(self) -> tuple[int, int] | None:
        """What the file there is, whatever it is called; None where there is none."""
        try:
            status = self._file.stat() if self._file is not None else None
        except OSError:
            return None
        return None if status is None else (status.st_dev, status.st_ino)

    def check(self) -> None:
        """Raises Moved where the file there is not the one that was opened."""
        if self._is() != self._was:
            raise Moved

    def saved(self, connection: sqlite3.Connection) -> str:
        """Copy what the open file holds beside its place, once; a sentence that says where."""
        file = self._file
        assert file is not None
        if self._saved is None:
            folder = file.parent if file.parent.is_dir() else Path.home()
            names = (f"{file.stem}-saved{f'-{n}' if n > 1 else ''}{file.suffix}" for n in itertools.count(1))
            target = next(folder / name for name in names if not (folder / name).exists())
            try:
                connection.execute("VACUUM INTO ?", (str(target),))
            except sqlite3.Error as error:
                return f"{MOVED} what was could not be saved elsewhere ({error}): put the file back"
            self._saved = target
        return f"{MOVED} everything before it is in {self._saved}: close this and open that"
