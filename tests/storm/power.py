"""The power goes at any moment of a day of edits, attachments and readings: what was acknowledged is there."""

from __future__ import annotations

import argparse
import shutil
import sqlite3
import tempfile
from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np
from tests.store.recorded import Event, Recorder, library_in_use, power_cut

from linkwright.store import Store


def a_day(recorder: Recorder, folder: Path) -> list[Event]:
    """A store is made, edited until it checkpoints, closed, opened and edited: all that was done to its files."""
    folder.mkdir()
    number = 0

    def edit(store: Store, times: int) -> None:
        nonlocal number
        for _ in range(times):
            store.set_field(("shoot", "number"), number or None, number + 1, "Potter")
            number += 1
            recorder.note(Event("told", "", number))
            if number % 2 == 0:
                store.insert(("link",), {"name": str(number), "note": "x" * 15000}, "Weaver")
            if number % 20 == 7:
                data = bytes([number % 251]) * 30_000
                store.attach(str(number), data, "Cook", most_bytes=10**7)
                recorder.note(Event("told", "file", number))
            if number % 5 == 0:
                store.add_tail(b"%d" % number)
                recorder.note(Event("told", "tail", number))

    with recorder.recording() as events:
        with Store.open(folder / "job.db", create=True) as store:
            edit(store, 90)
        with Store.open(folder / "job.db") as store:
            edit(store, 15)
    return events


def lost(events: Sequence[Event], folder: Path, chance: np.random.Generator) -> int:
    """How many acknowledged edits a power cut after these events cost. The file must be whole in any case."""
    folder.mkdir()
    for name, data in power_cut(events, chance).items():
        (folder / name).write_bytes(data)
    told = {
        what: [event.at for event in events if event.what == "told" and event.name == what]
        for what in ("", "file", "tail")
    }
    with Store.open(folder / "job.db", create=True) as store:
        draft = store.document()
        found = draft.at("shoot", "number") or 0
        files = {one.name: store.attachment(one.id) for one in store.attachment_list()}
        assert draft.revision == found + len(draft.document.get("link", [])) + len(files)
        assert all(set(data) == {int(name) % 251} for name, data in files.items())
        missing = set(map(str, told["file"])) - set(files)
        missing |= {str(n) for n in told["tail"]} - {data.decode() for _, data in store.tail()}
        assert [change.revision for change in store.changes(0)] == list(range(1, draft.revision + 1))
        store.set_field(("shoot", "title"), None, "goes on", "Weaver")
    connection = sqlite3.connect(folder / "job.db")
    assert connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
    connection.close()
    return max(0, max(told[""], default=0) - found) + len(missing)


def moments(events: Sequence[Event], chance: np.random.Generator, cuts: int) -> list[int]:
    """Cuts anywhere, and some at the rarer moments: while a checkpoint, the closing or a deletion is under way."""
    rare = [n for n, event in enumerate(events, 1) if event.what != "told" and not event.name.endswith("-wal")]
    anywhere = chance.integers(0, len(events) + 1, cuts - cuts // 3)
    return [int(n) for n in (*anywhere, *chance.choice(rare, cuts // 3))]


def storm(recorder: Recorder, cuts: int, seed: int, tell: Callable[[str], None] = lambda _: None) -> list[int]:
    """What each of so many cuts cost."""
    chance = np.random.default_rng(seed)
    costs: list[int] = []
    with tempfile.TemporaryDirectory() as folder:
        events = a_day(recorder, Path(folder) / "day")
        for n, at in enumerate(moments(events, chance, cuts)):
            costs.append(lost(events[:at], Path(folder) / "cut", chance))
            shutil.rmtree(Path(folder) / "cut")
            if n % 1000 == 999:
                tell(f"{n + 1} cuts, {sum(cost > 0 for cost in costs)} cost something")
    tell(
        f"{cuts} power cuts over {len(events)} events; {sum(cost > 0 for cost in costs)} cost something that was "
        "acknowledged"
    )
    return costs


def main(arguments: Sequence[str]) -> int:
    """Run it from the command line."""
    given = argparse.ArgumentParser(description=__doc__)
    given.add_argument("--cuts", type=int, default=10_000)
    given.add_argument("--seed", type=int, default=1)
    options = given.parse_args(arguments)
    library = library_in_use()
    if library is None:
        print("this Python's SQLite is built in; there is no library to put a file system in front of")
        return 1
    return int(any(storm(Recorder(library), options.cuts, options.seed, print)))
