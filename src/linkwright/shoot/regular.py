"""Opening what somebody named: a regular file, not a pipe that waits for ever, not a device that never ends."""

from __future__ import annotations

import os
import stat
from pathlib import Path
from typing import BinaryIO, Final

from linkwright.shoot.errors import InputError

#: Which files this process has read, by device and number: what a command read it does not write over.
READ: Final[set[tuple[int, int]]] = set()


def open_regular(path: Path, name: str) -> BinaryIO:
    """The file, to be read as bytes. Raises InputError where it is no regular one, else what `open` raises."""
    descriptor = os.open(path, os.O_RDONLY | os.O_NONBLOCK | os.O_CLOEXEC)
    status = os.fstat(descriptor)
    mode = status.st_mode
    if not stat.S_ISREG(mode):
        os.close(descriptor)
        what = "a folder" if stat.S_ISDIR(mode) else "a pipe or a device"
        raise InputError(f"is {what}; expected a file", path=name)
    READ.add((status.st_dev, status.st_ino))
    return os.fdopen(descriptor, "rb")


def beneath(folder: Path, name: str) -> Path | None:
    """The file of that name in a folder or beneath it; None where the name leads out of it."""
    path = folder / name
    return path if path.resolve().is_relative_to(folder.resolve()) else None
