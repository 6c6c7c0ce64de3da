"""What a database says when it cannot, as one sentence for the person at the page."""

from __future__ import annotations

import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from sqlalchemy.exc import DBAPIError
from sqlalchemy.exc import TimeoutError as NoConnectionFree

from linkwright.shoot.errors import InputError
from linkwright.store.location import Location

FULL = (
    "the disk is full: this last change was not saved, everything before it is safe; make room on the disk "
    "and do it again"
)
DAMAGED = "the file is damaged; keep it as it is, and go on with its last backup or what `linkwright mend` saves"
UNFINISHED = "was not closed when it was last open; open it for writing once, which puts it right"
#: What the driver of SQLite raises where a file is damaged: its own message may hold bytes that are no text.
BROKEN = (sqlite3.Error, UnicodeDecodeError)
_SQLITE = {
    "SQLITE_FULL": FULL,
    "SQLITE_READONLY_ROLLBACK": UNFINISHED,
    "SQLITE_READONLY_RECOVERY": UNFINISHED,
    "SQLITE_READONLY_CANTINIT": UNFINISHED,
    "SQLITE_READONLY": "the file may only be read; expected one that may be written: change its permissions, or "
    "copy it to a folder of your own",
    "SQLITE_CORRUPT": DAMAGED,
    "SQLITE_NOTADB": "is not a shoot's store (not a database at all); expected a file that Linkwright made",
    "SQLITE_BUSY": "another program holds the file; close it there and try again",
    "SQLITE_LOCKED": "another program holds the file; close it there and try again",
    "SQLITE_CANTOPEN": "cannot be opened; expected a file in a folder that exists and that you may write to",
    "SQLITE_PERM": "you may not open this file; change its permissions, or copy it to a folder of your own",
    "SQLITE_AUTH": "you may not open this file; change its permissions, or copy it to a folder of your own",
    "SQLITE_IOERR": "the disk reports an error: this last change was not saved, everything before it is safe; go "
    "on from another disk",
    "SQLITE_TOOBIG": "the value is too long for the database",
}
#: Classes of SQLSTATE (PostgreSQL documentation, appendix A).
_SQLSTATE = {
    "53100": FULL.replace("disk", "database's disk", 1),
    "25006": "the database may only be read; expected one that may be written",
    "42501": "you lack the right to do this in the database; ask who runs it",
    "53300": "the database has too many connections; try again",
    "57P": "the database was shut down: this last change was not saved; start it and try again",
    "55": "another program holds the database; try again",
    "40": "somebody else changed the same at that moment; try again",
    "3D": "there is no such database; make it first, or correct the address",
    "28": "the database refuses this user or password",
}


#: States in which the database does not answer now, and may in a moment.
_AWAY = ("57P", "53300")


class Away(InputError):
    """The database does not answer now: the same may be tried again."""


@contextmanager
def telling(location: Location) -> Iterator[None]:
    """Turns what the database could not do into an InputError. Faults of this program stay what they are."""
    try:
        yield
    except InputError as error:
        if error.says != DAMAGED:
            raise
        raise InputError(DAMAGED, path=location.name) from None
    except DBAPIError as error:
        says = says_of(error.orig, location.file)
        if says is None:
            raise
        state = getattr(error.orig, "sqlstate", None)
        away = location.url is not None and (state is None or state.startswith(_AWAY))
        raise (Away if away else InputError)(says, path=location.name) from None
    except BROKEN as error:
        says = says_of(error, location.file)
        if says is None:
            raise
        raise InputError(says, path=location.name) from None
    except NoConnectionFree:
        raise InputError("the database is too busy to answer; try again", path=location.name) from None


def says_of(error: BaseException | None, file: Path | None) -> str | None:
    """The sentence for a driver's error; None where it is no fault of the surroundings."""
    if isinstance(error, UnicodeDecodeError):
        return DAMAGED
    if isinstance(error, sqlite3.Error):
        return _sqlite(error, file)
    state = getattr(error, "sqlstate", None)
    if state is None:  # psycopg, before it was ever connected or after the line broke
        if type(error).__name__ != "OperationalError":
            return None
        return f"the database does not answer ({_first_line(error)}); start it, or correct the address"
    return next((says for start, says in _SQLSTATE.items() if state.startswith(start)), None)


def _sqlite(error: sqlite3.Error, file: Path | None) -> str | None:
    name = getattr(error, "sqlite_errorname", "")
    if "decode to UTF-8" in str(error):  # Python's own words for a text that was changed on the disk
        return DAMAGED
    if name.startswith("SQLITE_IOERR") and file is not None and _no_room(file):
        return FULL
    return next((says for start, says in _SQLITE.items() if name == start or name.startswith(start + "_")), None)


def _no_room(file: Path) -> bool:
    try:
        return shutil.disk_usage(file.absolute().parent).free < 64 * 1024
    except OSError:
        return False


def _first_line(error: BaseException | None) -> str:
    lines = str(error).strip().splitlines()
    return lines[0][:160] if lines else "no reason given"
