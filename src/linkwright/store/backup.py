"""A copy of a store while it is open."""

from __future__ import annotations

import contextlib
import os
import shutil
import sqlite3
from pathlib import Path

from linkwright.halfway import half_of
from linkwright.shoot.errors import InputError
from linkwright.store.engines import connect_sqlite


def copy_into(source: Path, target: Path) -> None:
    """A whole, consistent copy as one file: written beside its place, synced, then named. Raises InputError.

    The copy is a reader's snapshot (VACUUM INTO), so whoever writes meanwhile is not held up.
    """
    if target.exists():
        raise InputError("is there already; choose another name for the backup", path=str(target))
    half = half_of(target)
    try:
        half.unlink(missing_ok=True)
        connection = connect_sqlite(source, "ro")
        try:
            connection.execute("VACUUM INTO ?", (str(half),))
        finally:
            connection.close()
        shutil.copymode(source, half)
        forget_devices(half)
        _sync(half)
        half.rename(target)
        _sync(target.absolute().parent)
    except (sqlite3.Error, OSError) as error:
        with contextlib.suppress(OSError):
            half.unlink(missing_ok=True)
        raise InputError(
            f"the backup could not be written ({error}); the store itself is as it was. Choose a folder with room",
            path=str(target),
        ) from None


def forget_devices(file: Path) -> None:
    """Take out of a copy who may come in, and who did: what leaves this machine lets nobody in, nor does what
    comes from another. Overwritten, not only unlinked. Raises sqlite3.Error."""
    connection = connect_sqlite(file, "rw")
    try:
        connection.execute("PRAGMA secure_delete=ON")
        there = {name for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
        for table in there & {"device", "door", "code"}:
            connection.execute(f"DELETE FROM {table}")
    finally:
        connection.close()


def _sync(path: Path) -> None:
    descriptor = os.open(path, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
