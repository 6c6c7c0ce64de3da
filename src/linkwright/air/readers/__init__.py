"""Reading sweeps: bytes from outside become a `Sweep`, or an `InputError` that says why not."""

from __future__ import annotations

import stat
from pathlib import Path

from linkwright.air.readers import columns, rows
from linkwright.air.readers.text import decoded
from linkwright.air.sweep import Sweep
from linkwright.shoot.errors import InputError

#: Largest file that is read [bytes]. About 400 sweeps of 25 000 bins; it bounds memory and time.
LIMIT_BYTES = 64 * 1024 * 1024


def read_sweep(path: Path, name: str | None = None) -> Sweep:
    """The sweep in a file; `name` is the file as the person named it, for what is said about it.

    Raises `InputError` for whatever is not a sweep that can be read, and for a file over `LIMIT_BYTES`,
    which is told before any of it is read.
    """
    shown = name if name is not None else str(path)
    try:
        found = path.stat()
        if stat.S_ISDIR(found.st_mode):
            raise InputError("found a folder, expected a sweep file", path=shown)
        if not stat.S_ISREG(found.st_mode):
            raise InputError("found a device or a pipe, expected a sweep file", path=shown)
        _refuse_large(found.st_size, shown)
        with path.open("rb") as file:
            data = file.read(LIMIT_BYTES + 1)
    except FileNotFoundError:
        raise InputError("there is no such file; expected a sweep file", path=shown) from None
    except PermissionError:
        raise InputError("the file may not be read; give yourself the right to read it", path=shown) from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise InputError(f"the file could not be read ({reason})", path=shown) from None
    return read_sweep_bytes(data, shown)


def read_sweep_bytes(data: bytes, name: str) -> Sweep:
    """The sweep in `data`, called `name` in what is said about it. Raises `InputError` as `read_sweep`."""
    _refuse_large(len(data), name)
    text = decoded(data, name)
    return rows.read(text, name) if rows.looks_like_rows(text) else columns.read(text, name)


def _refuse_large(size: int, name: str) -> None:
    if size > LIMIT_BYTES:
        raise InputError(
            f"the file has {size / 2**20:.0f} MiB, at most {LIMIT_BYTES // 2**20} MiB are read; "
            "cut it to the band and the time that you need",
            path=name,
        )
