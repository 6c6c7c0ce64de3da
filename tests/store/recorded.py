"""A file system that writes down what SQLite does to its files, and what a power cut would leave of them.

It is a VFS (sqlite.org/vfs.html) in front of SQLite's own, in the very library that Python's sqlite3 uses, so the
program runs as it is. Everything is passed on; writes, truncations, syncs and deletions are noted in order.

A power cut keeps what was synced. Of what was written since, each sector of 512 bytes may have reached the disk or
not, in any combination; likewise each truncation, and each deletion while its folder was not synced.
"""

from __future__ import annotations

import ctypes as c
import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

SECTOR = 512
_OK = 0


class _Methods(c.Structure):
    """struct sqlite3_io_methods, version 3."""

    _fields_ = (
        ("version", c.c_int),
        *((name, c.c_void_p) for name in ("close", "read", "write", "truncate", "sync", "size", "lock", "unlock")),
        *((name, c.c_void_p) for name in ("check", "control", "sector", "characteristics", "shm_map", "shm_lock")),
        *((name, c.c_void_p) for name in ("shm_barrier", "shm_unmap", "fetch", "unfetch")),
    )


class _Opened(c.Structure):
    """struct sqlite3_file: what follows belongs to SQLite's own VFS."""

    _fields_ = (("methods", c.POINTER(_Methods)),)


class _Vfs(c.Structure):
    """struct sqlite3_vfs, version 3."""

    _fields_ = (
        ("version", c.c_int),
        ("file_size", c.c_int),
        ("longest_path", c.c_int),
        ("following", c.c_void_p),
        ("name", c.c_char_p),
        ("data", c.c_void_p),
        *((name, c.c_void_p) for name in ("open", "delete", "access", "full_path", "dl_open", "dl_error")),
        *(
            (name, c.c_void_p)
            for name in ("dl_sym", "dl_close", "randomness", "sleep", "time", "last_error", "time64")
        ),
        *((name, c.c_void_p) for name in ("time64", "set_call", "get_call", "next_call")),
    )


# Names are passed on as addresses: SQLite keeps them, and reads what stands behind their end.
_OPEN = c.CFUNCTYPE(c.c_int, c.c_void_p, c.c_void_p, c.POINTER(_Opened), c.c_int, c.c_void_p)
_DELETE = c.CFUNCTYPE(c.c_int, c.c_void_p, c.c_void_p, c.c_int)
_WRITE = c.CFUNCTYPE(c.c_int, c.c_void_p, c.c_void_p, c.c_int, c.c_int64)
_TRUNCATE = c.CFUNCTYPE(c.c_int, c.c_void_p, c.c_int64)
_SYNC = c.CFUNCTYPE(c.c_int, c.c_void_p, c.c_int)


@dataclass(frozen=True, slots=True)
class Event:
    """What was done to a file: "write", "truncate" (to `at`), "sync", "delete" (`at`: folder synced); or "told"."""

    what: str
    name: str
    at: int = 0
    data: bytes = b""


class Recorder:
    """Passes on and notes what is done while `recording`."""

    def __init__(self, library: str) -> None:
        self.events: list[Event] = []
        #: What the disk answers to a write, a truncation, a sync, before it is done; 0 is well, and it is done.
        self.fails: Callable[[Event], int] | None = None
        self._turn = threading.Lock()
        self._names: dict[int, str] = {}
        self._kept: list[Any] = []  # what C points at must live
        self._methods: dict[int, _Methods] = {}
        self._sqlite = c.CDLL(library)
        self._sqlite.sqlite3_vfs_find.restype = c.POINTER(_Vfs)
        self._own = self._sqlite.sqlite3_vfs_find(None)
        self._vfs = _Vfs.from_buffer_copy(self._own.contents)
        self._vfs.name = b"recorded"
        self._open = _OPEN(self._own.contents.open)
        self._delete = _DELETE(self._own.contents.delete)
        self._vfs.open = self._held(_OPEN(self._on_open))
        self._vfs.delete = self._held(_DELETE(self._on_delete))

    def _held(self, function: Any) -> int | None:
        self._kept.append(function)
        return c.cast(function, c.c_void_p).value

    def note(self, event: Event) -> None:
        """Add to what happened."""
        with self._turn:
            self.events.append(event)

    @contextmanager
    def recording(self) -> Iterator[list[Event]]:
        """Every file that SQLite opens within is recorded."""
        self.events = []
        assert self._sqlite.sqlite3_vfs_register(c.byref(self._vfs), 1) == _OK
        try:
            yield self.events
        finally:
            assert self._sqlite.sqlite3_vfs_register(self._own, 1) == _OK
            assert self._sqlite.sqlite3_vfs_unregister(c.byref(self._vfs)) == _OK

    def _on_open(self, _vfs: int, name: int | None, file: Any, flags: int, out: int) -> int:
        result = self._open(c.cast(self._own, c.c_void_p).value, name, file, flags, out)
        if result == _OK and name is not None and file.contents.methods:
            address = c.cast(file.contents.methods, c.c_void_p).value
            assert address is not None
            if address not in self._methods:
                self._methods[address] = self._watched(file.contents.methods.contents)
            file.contents.methods = c.pointer(self._methods[address])
            self._names[c.addressof(file.contents)] = _file_name(name)
        return int(result)

    def _watched(self, own: _Methods) -> _Methods:
        write, truncate, sync = _WRITE(own.write), _TRUNCATE(own.truncate), _SYNC(own.sync)

        def on_write(file: int, data: int, length: int, at: int) -> int:
            event = Event("write", self._names[file], at, c.string_at(data, length))
            if self.fails is not None and (code := self.fails(event)):
                return code
            self.note(event)
            return int(write(file, data, length, at))

        def on_truncate(file: int, size: int) -> int:
            event = Event("truncate", self._names[file], size)
            if self.fails is not None and (code := self.fails(event)):
                return code
            self.note(event)
            return int(truncate(file, size))

        def on_sync(file: int, flags: int) -> int:
            if self.fails is not None and (code := self.fails(Event("sync", self._names[file]))):
                return code
            result = int(sync(file, flags))
            self.note(Event("sync", self._names[file]))
            return result

        watched = _Methods.from_buffer_copy(own)
        watched.write = self._held(_WRITE(on_write))
        watched.truncate = self._held(_TRUNCATE(on_truncate))
        watched.sync = self._held(_SYNC(on_sync))
        return watched

    def _on_delete(self, _vfs: int, name: int, sync_folder: int) -> int:
        result = int(self._delete(c.cast(self._own, c.c_void_p).value, name, sync_folder))
        if result == _OK:
            self.note(Event("delete", _file_name(name), sync_folder))
        return result


def _file_name(address: int) -> str:
    return Path(c.string_at(address).decode()).name


def library_in_use() -> str | None:
    """The file of the library that Python's sqlite3 has loaded; None where it is built in."""
    import sqlite3

    sqlite3.connect(":memory:").close()
    for line in Path("/proc/self/maps").read_text().splitlines():
        if "libsqlite3" in line:
            return line.split(maxsplit=5)[5]
    return None


@dataclass(eq=False)
class _File:
    """One file: what is on the disk for certain, and what may be."""

    certain: bytearray = field(default_factory=bytearray)
    pending: list[Event] = field(default_factory=list)


@dataclass
class _Name:
    """A name in the folder: the file that it is for certain, and the one that it was last; None is no file."""

    certain: _File | None = None
    latest: _File | None = None


def power_cut(events: Sequence[Event], chance: np.random.Generator) -> dict[str, bytes]:
    """The files as a power cut after these events may leave them."""
    share = float(chance.choice([0.0, 0.1, 0.5, 0.9, 1.0]))
    left = {}
    for name, known in _names(events).items():
        file = known.latest if chance.random() < share else known.certain
        if file is None:
            continue
        content = bytearray(file.certain)
        for event in file.pending:
            _apply(content, event, chance, share)
        left[name] = bytes(content)
    return left


def _names(events: Sequence[Event]) -> dict[str, _Name]:
    names: dict[str, _Name] = {}
    for event in events:
        if event.what == "told":
            continue
        known = names.setdefault(event.name, _Name())
        if event.what == "delete":
            known.latest = None
            known.certain = None if event.at else known.certain
            continue
        known.latest = known.latest or _File()
        if event.what == "sync":
            for done in known.latest.pending:
                _apply(known.latest.certain, done, None, 1.0)
            known.latest.pending = []
            if known.certain is not known.latest:  # SQLite syncs the folder too when it first syncs a new file
                for other in names.values():
                    other.certain = other.latest
        else:
            known.latest.pending.append(event)
    return names


def _apply(content: bytearray, event: Event, chance: np.random.Generator | None, share: float) -> None:
    """Do to a file what an event did, or to each sector by chance."""
    if event.what == "truncate":
        if chance is None or chance.random() < share:
            del content[event.at :]
            content.extend(bytes(event.at - len(content)))
        return
    at, beyond = event.at, event.at + len(event.data)
    while at < beyond:
        end = min((at // SECTOR + 1) * SECTOR, beyond)
        if chance is None or chance.random() < share:
            content.extend(bytes(max(0, end - len(content))))
            content[at:end] = event.data[at - event.at : end - event.at]
        at = end
