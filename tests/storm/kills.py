"""kill -9 in the middle of edits, uploads, archives, readings and migrations: what was acknowledged is there."""

from __future__ import annotations

import argparse
import hashlib
import io
import multiprocessing
import os
import shutil
import signal
import statistics
import tempfile
import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any, Final

import numpy as np

from linkwright.desk import archive, kept_readings
from linkwright.store import Store
from linkwright.watch.log.record import FIELDS, Batch

#: What goes on as the process is killed.
WORKS: Final = ("edits", "uploads", "archives", "readings", "migration")
OLDEST: Final = Path(__file__).parents[1] / "store" / "kinds" / "0001.zip"
#: Acknowledged edits before a kill: drawn from here.
EDITS: Final = (8, 33)
_processes = multiprocessing.get_context("forkserver")
_processes.set_forkserver_preload(["tests.storm.kills", "alembic.command"])


@dataclass
class Told:
    """What was acknowledged of one job over all its kills."""

    edits: int = 0
    counts: dict[str, int] = field(default_factory=dict)
    files: dict[str, str] = field(default_factory=dict)
    readings: int = 0
    a_kill: list[int] = field(default_factory=list)


def _edit(store: Store, who: str, say: Callable[[Any], None]) -> None:
    count = store.document().at("shoot", who) or 0
    while True:
        store.set_field(("shoot", who), count or None, count + 1, who)
        count += 1
        say(("edit", who, count))


def _upload(store: Store, say: Callable[[Any], None]) -> None:
    n = 0
    while True:
        data = os.urandom(1) * (700_000 + 300_000 * (n % 9))
        name = f"{os.getpid()}-{n}.wav"
        store.attach(name, data, "Cook", most_bytes=10**8)
        say(("file", name, hashlib.sha256(data).hexdigest()))
        n += 1


def _archive(store: Store, _say: Callable[[Any], None]) -> None:
    while True:
        archive.pack(store, io.BytesIO(), iter(()), ())


def _readings(store: Store, say: Callable[[Any], None]) -> None:
    keeper, second = kept_readings.ReadingKeeper(store), time.time_ns()
    keeper.turn(time.monotonic())
    while True:
        second += 10**9
        batch = Batch(
            ("Potter",),
            np.zeros(10, np.int32),
            second + 10**8 * np.arange(10),
            np.zeros((10, len(FIELDS)), np.float32),
        )
        keeper.add(batch)
        keeper._write()
        say(("readings", "", 10))
        if second // 10**9 % 7 == 0:
            keeper.keep()


def run(place: str, work: str, pipe: Connection) -> None:
    """The process: two people edit, and the work goes on, until it is killed."""
    turn = threading.Lock()

    def say(what: Any) -> None:
        with turn:
            pipe.send(what)

    say(("begun", "", 0))
    store = Store.open(place, create=True)
    does = {"uploads": _upload, "archives": _archive, "readings": _readings}.get(work)
    if does is not None:
        threading.Thread(target=does, args=(store, say), daemon=True).start()
    for who in ("Potter", "Weaver"):
        threading.Thread(target=_edit, args=(store, who, say), daemon=True).start()
    threading.Event().wait()


def killed(place: Path, work: str, told: Told, chance: np.random.Generator) -> None:
    """Start the process, kill it, and take down what it acknowledged."""
    hear, pipe = _processes.Pipe(duplex=False)
    process = _processes.Process(target=run, args=(str(place), work, pipe), daemon=True)
    process.start()
    pipe.close()
    after, edits = int(chance.integers(*EDITS)), 0
    try:
        if work == "migration":  # somewhere within it, or soon after
            assert hear.recv()[0] == "begun"
            time.sleep(float(chance.uniform(0.0, 0.25)))
            os.kill(process.pid or 0, signal.SIGKILL)
        while True:
            what, name, value = hear.recv()
            if what == "edit":
                told.counts[name] = value
                edits += 1
            elif what == "file":
                told.files[name] = value
            elif what == "readings":
                told.readings += value
            if work != "migration" and edits == after:
                os.kill(process.pid or 0, signal.SIGKILL)
    except (EOFError, OSError):
        process.join()
    assert process.exitcode == -signal.SIGKILL, f"{work}: it ended by itself"
    told.edits += edits
    told.a_kill.append(edits)


def check(place: Path, told: Told) -> list[str]:
    """What is missing of what was acknowledged."""
    missing = []
    with Store.open(place) as store:
        draft = store.document()
        for who, count in told.counts.items():
            found = draft.at("shoot", who)
            if found not in (count, count + 1):
                missing.append(f"{who}'s edit {count}: {found} stands there")
            told.counts[who] = found
        if [change.revision for change in store.changes(0, most=10**6)] != list(range(1, draft.revision + 1)):
            missing.append("a line of the history")
        there = {one.name: one for one in store.attachment_list()}
        for name, digest in told.files.items():
            if name not in there or hashlib.sha256(store.attachment(there[name].id)).hexdigest() != digest:
                missing.append(f"file {name}")
        readings = sum(map(len, kept_readings.newest(store, 10**9)))
        if not told.readings <= readings <= told.readings + 20:
            missing.append(f"{told.readings} readings were acknowledged, {readings} are there")
        told.readings = readings
    return missing


def storm(
    kills: int, seed: int, works: tuple[str, ...] = WORKS, tell: Callable[[str], None] = lambda _: None
) -> list[str]:
    """What was lost over so many kills, over all kinds of work in turn; nothing where nothing was."""
    chance = np.random.default_rng(seed)
    lost: list[str] = []
    all_told = []
    with tempfile.TemporaryDirectory() as folder:
        for n, work in enumerate(works):
            place, told = Path(folder) / f"{work}.lwjob", Told()
            for kill in range(kills // len(works) + (n < kills % len(works))):
                if work == "migration":
                    place, told = Path(folder) / f"{work}-{kill}.lwjob", Told(a_kill=told.a_kill)
                    archive_job(place)
                killed(place, work, told, chance)
                lost += [f"{work}, kill {kill}: {one}" for one in check(place, told)]
                if kill % 20 == 19:  # a job of its own, so that going over it stays quick
                    place, told = Path(folder) / f"{work}-{kill}.lwjob", Told(a_kill=told.a_kill)
                if kill % 50 == 0:
                    tell(f"{work}: {kill} kills, {len(lost)} losses")
                if work == "migration":
                    lost += old_is_there(place, kill)
            all_told.append(told)
        left = [path.name for path in Path(folder).iterdir() if path.name.endswith(("-wal", "-shm", ".lock"))]
    lost += [f"left behind: {name}" for name in left]
    counts = [count for told in all_told[: len(works) - ("migration" in works)] for count in told.a_kill]
    tell(
        f"{kills} kills, {sum(counts)} acknowledged edits, median {statistics.median(counts):.0f} a kill; "
        f"{len(lost)} losses"
    )
    return lost


def archive_job(place: Path) -> None:
    """The job of the oldest kind at a place."""
    import zipfile

    with zipfile.ZipFile(OLDEST) as old, old.open("job.lwjob") as source, place.open("wb") as target:
        shutil.copyfileobj(source, target)


def old_is_there(place: Path, kill: int) -> list[str]:
    """What is missing of the job of the oldest kind."""
    with Store.open(place) as store:
        names = [link["name"] for link in store.document().document["link"]]
        whole = names == ["Pilot", "Chef"] and len(store.attachment(store.attachment_list()[0].id)) == 1000
    return [] if whole else [f"migration, kill {kill}: what was there before"]


def main(arguments: Sequence[str]) -> int:
    """Run it from the command line."""
    given = argparse.ArgumentParser(description=__doc__)
    given.add_argument("--kills", type=int, default=1000)
    given.add_argument("--seed", type=int, default=1)
    options = given.parse_args(arguments)
    lost = storm(options.kills, options.seed, tell=print)
    print("\n".join(lost), end="")
    return int(bool(lost))
