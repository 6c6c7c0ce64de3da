"""One program writes a file: the lock beside it says which.

The lock is the kernel's (`flock`), so it is gone with the process that held it, however it ended; what is
written in the file is only for the sentence that the second one gets.
"""

from __future__ import annotations

import contextlib
import datetime
import fcntl
import getpass
import json
import os
import socket
from pathlib import Path

from linkwright.shoot.errors import InputError


class Lock:
    """The right to write a file. Raises InputError where another process has it."""

    def __init__(self, file: Path, name: str) -> None:
        self._path = file.with_name(file.name + ".lock")
        self.took_over = False
        self._descriptor = self._take(name)

    def _take(self, name: str) -> int:
        while True:
            try:
                descriptor = os.open(self._path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600)
            except OSError as error:
                raise InputError(
                    f"cannot be locked for writing: {self._path.name} cannot be made ({error.strerror}); "
                    "expected a folder that exists and that you may write to",
                    path=name,
                ) from None
            try:
                fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except OSError:
                says = _who_has_it(descriptor)
                os.close(descriptor)
                raise InputError(says, path=name) from None
            if self._is_still_ours(descriptor):
                break
            os.close(descriptor)  # whoever had it removed it just now: begin again with a new one
        self.took_over = os.fstat(descriptor).st_size > 0
        self._write(descriptor)
        return descriptor

    def _is_still_ours(self, descriptor: int) -> bool:
        try:
            return os.path.samestat(os.fstat(descriptor), self._path.stat())
        except FileNotFoundError:
            return False

    @staticmethod
    def _write(descriptor: int) -> None:
        now = datetime.datetime.now().astimezone().isoformat(timespec="seconds")
        told = {"pid": os.getpid(), "host": socket.gethostname(), "user": _user(), "since": now}
        with contextlib.suppress(OSError):  # on a full disk the lock holds all the same
            os.ftruncate(descriptor, 0)
            os.pwrite(descriptor, json.dumps(told).encode(), 0)

    def release(self) -> None:
        """Give it back; the file beside is removed while it is still held."""
        if self._descriptor >= 0:
            self._path.unlink(missing_ok=True)
            os.close(self._descriptor)
            self._descriptor = -1


def _user() -> str:
    try:
        return getpass.getuser()
    except (KeyError, OSError):
        return "unknown"


def _who_has_it(descriptor: int) -> str:
    try:
        told = json.loads(os.pread(descriptor, 4096, 0))
        pid, host, user, since = int(told["pid"]), str(told["host"]), str(told["user"]), str(told["since"])
    except (OSError, ValueError, KeyError, TypeError):
        return "is open in another program, which has only just begun; close it there, or open it to read only"
    who = f"process {pid} of {user} on {host}"
    if host == socket.gethostname():
        who += ", which is running" if _alive(pid) else ", which has ended but left a process behind that holds it"
    return f"is open for writing since {since} by {who}; close it there first, or open it to read only"


def _alive(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    except (PermissionError, OverflowError):
        return True
    return True
