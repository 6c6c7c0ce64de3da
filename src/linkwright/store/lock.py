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

from linkwright.halfway import runs
from linkwright.shoot.errors import InputError


class Lock:
    """The right to write a file. Raises InputError where another process has it."""

    def __init__(self, file: Path, name: str) -> None:
        self._path = file.with_name(file.name + ".lock")
        self.took_over = False
        self._held = -1
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

    def hold(self, file: Path, name: str) -> None:
        """Hold the file itself too, once it is there: by another name (a hard link) it has another lock beside it.

        The descriptor stays open until the end: closing any would give up what SQLite holds of the file.
        """
        if self._held >= 0 or not file.is_file():
            return
        try:
            self._held = os.open(file, os.O_RDONLY | os.O_CLOEXEC)
            fcntl.flock(self._held, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            raise InputError(
                "is open in another program under another name; close it there first", path=name
            ) from None
        except OSError:
            pass  # it may not be read, as whoever opens it says; or the file system has no such locks

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
            for descriptor in (self._descriptor, self._held):
                with contextlib.suppress(OSError):
                    os.close(descriptor)
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
        who += ", which is running" if runs(pid) else ", which has ended but left a process behind that holds it"
    return f"is open for writing since {since} by {who}; close it there first, or open it to read only"
