"""The disk is full, or reports an error, at each write of a recorded day: a sentence, and nothing is lost."""

from __future__ import annotations

import argparse
import contextlib
import sqlite3
import tempfile
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from tests.store.recorded import Event, Recorder, library_in_use

from linkwright.shoot.errors import InputError
from linkwright.store import Store

#: What SQLite's file system answers (sqlite.org/rescode.html), by what was tried.
FULL: Final = {"write": 13, "truncate": 13, "sync": 13}
EIO: Final = {"write": 778, "truncate": 1546, "sync": 1034}


KINDS: Final = (("full", FULL, 1), ("full for a while", FULL, 9), ("EIO", EIO, 1), ("EIO for a while", EIO, 9))


@dataclass
class Failing:
    """Fails at the event of a number, and at so many after it."""

    at: int
    times: int
    codes: dict[str, int]
    seen: int = 0

    def __call__(self, event: Event) -> int:
        """What the file system answers to an event: 0 is well."""
        self.seen += 1
        return self.codes[event.what] if self.at < self.seen <= self.at + self.times else 0


def day(place: Path) -> Iterator[tuple[str, Callable[[Store], object]]]:
    """What is done on the day, by a name that is acknowledged."""

    def link(name: str) -> Callable[[Store], object]:
        return lambda store: store.insert(("link",), {"name": name, "note": "x" * 3000}, "Potter")

    def file(name: str, data: bytes) -> Callable[[Store], object]:
        return lambda store: store.attach(name, data, "Potter", most_bytes=10**7)

    def tail(data: bytes) -> Callable[[Store], object]:
        return lambda store: store.add_tail(data)

    for n in range(12):
        yield f"link {n}", link(f"link {n}")
        if n % 4 == 1:
            yield f"file {n}", file(f"file {n}", bytes([n]) * (1_100_000 if n == 5 else 20_000))
        if n % 3 == 0:
            yield f"tail {n}", tail(b"%d" % n)
        if n == 6:
            yield "backup", lambda store: store.backup(place.with_name("backup.lwjob"))


def go(place: Path, told: set[str]) -> list[str]:
    """Do the day, opening again as often as it takes; what is no sentence of ours."""
    strange: list[str] = []
    waiting = list(day(place))
    for _ in range(40):
        try:
            with Store.open(place, create=True) as store:
                while waiting:
                    name, does = waiting[0]
                    does(store)
                    told.add(name)
                    waiting.pop(0)
            return strange
        except InputError:
            if (waiting[0][0] if waiting else "") == "backup":
                place.with_name("backup.lwjob").unlink(missing_ok=True)
        except Exception as error:
            strange.append(f"{type(error).__name__}: {error}")
    return [*strange, "it never came through"]


def wrong(place: Path, told: set[str]) -> list[str]:
    """What is missing of what was acknowledged, or twice there."""
    with Store.open(place) as store:
        found = [link["name"] for link in store.document().document.get("link", [])]
        for one in store.attachment_list():
            found.append(one.name)
            store.attachment(one.id)
        found += [f"tail {data.decode()}" for _, data in store.tail()]
    connection = sqlite3.connect(place)
    whole = connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
    connection.close()
    said = [] if whole else ["the file is damaged"]
    return said + [f"lost: {name}" for name in told - set(found) - {"backup"}]


def events_of(recorder: Recorder) -> int:
    """How many writes, truncations and syncs a day has."""
    with tempfile.TemporaryDirectory() as folder:
        counting = recorder.fails = Failing(10**9, 0, FULL)
        with recorder.recording():
            go(Path(folder) / "job.lwjob", set())
        recorder.fails = None
    return counting.seen


def storm(recorder: Recorder, at: Sequence[int], tell: Callable[[str], None] = lambda _: None) -> list[str]:
    """What went wrong where the disk failed at these writes, once and for a while."""
    said: list[str] = []
    runs = 0
    for n in at:
        for what, codes, times in (
            ("full", FULL, 1),
            ("full for a while", FULL, 9),
            ("EIO", EIO, 1),
            ("EIO for a while", EIO, 9),
        ):
            with tempfile.TemporaryDirectory() as folder:
                place, told = Path(folder) / "job.lwjob", set[str]()
                recorder.fails = Failing(n, times, codes)
                with recorder.recording():
                    found = go(place, told)
                recorder.fails = None
                with contextlib.suppress(FileNotFoundError):
                    found += wrong(place, told)
            said += [f"{what} at write {n}: {one}" for one in found]
            runs += 1
        if n % 50 == 0:
            tell(f"write {n}: {runs} runs, {len(said)} wrong")
    tell(f"{runs} runs: full and EIO, once and nine times, at each of {len(at)} writes; {len(said)} wrong")
    return said


def main(arguments: Sequence[str]) -> int:
    """Run it from the command line."""
    given = argparse.ArgumentParser(description=__doc__)
    given.add_argument("--every", type=int, default=1, help="fail at every so manyth write")
    options = given.parse_args(arguments)
    library = library_in_use()
    if library is None:
        print("this Python's SQLite is built in; there is no library to put a file system in front of")
        return 1
    recorder = Recorder(library)
    said = storm(recorder, range(0, events_of(recorder), options.every), print)
    print("\n".join(said), end="")
    return int(bool(said))
