"""Files that are half written: beside their place, by the process that writes them; what a killed one left goes."""

from __future__ import annotations

import contextlib
import os
import shutil
import tempfile
import time
from pathlib import Path
from typing import Final

#: On a disk that several machines use, a number of a process says nothing of another's: this old is left [s].
LEFT_S: Final = 600.0
PREFIX: Final = "linkwright-pid"


def half_of(target: Path) -> Path:
    """Where a file is written before it gets its name; there is none of it left by anybody who was killed."""
    for old in target.parent.glob(f".{_literal(target.name)}.*.half"):
        with contextlib.suppress(OSError, ValueError):
            if not runs(int(old.name.split(".")[-2])) and time.time() - old.stat().st_mtime > LEFT_S:
                old.unlink()
    return target.with_name(f".{target.name}.{os.getpid()}.half")


def folder(where: Path | None = None) -> tempfile.TemporaryDirectory[str]:
    """A folder for a while, in another or where such are; those of processes that were killed are taken away."""
    for old in Path(where or tempfile.gettempdir()).glob(f"{PREFIX}[0-9]*-*"):
        with contextlib.suppress(OSError, ValueError):
            if not runs(int(old.name.split("-")[1].removeprefix("pid"))) and old.stat().st_uid == os.getuid():
                shutil.rmtree(old, ignore_errors=True) if old.is_dir() else old.unlink()
    return tempfile.TemporaryDirectory(prefix=prefix(), dir=where)


def prefix() -> str:
    """How the names of temporary files of this process begin."""
    return f"{PREFIX}{os.getpid()}-"


def _literal(name: str) -> str:
    return "".join(f"[{c}]" if c in "*?[" else c for c in name)


def runs(pid: int) -> bool:
    """Whether a process of this machine has that number."""
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    except (PermissionError, OverflowError):
        return True
    return True
