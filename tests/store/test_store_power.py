"""The power goes at any moment: what was acknowledged is there, and the file is whole."""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest
from tests.store.recorded import Event, Recorder, library_in_use, power_cut

from linkwright.store import Store, engines

CUTS = 150
SEED = 20_270_514


@pytest.fixture(scope="module")
def recorder() -> Recorder:
    library = library_in_use()
    if library is None:
        pytest.skip("this Python's SQLite is built in; there is no library to put a file system in front of")
    return Recorder(library)


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
    told = max((event.at for event in events if event.what == "told"), default=0)
    with Store.open(folder / "job.db", create=True) as store:
        draft = store.document()
        found = draft.at("shoot", "number") or 0
        assert draft.revision == found + len(draft.document.get("link", []))
        assert [change.revision for change in store.changes(0)] == list(range(1, draft.revision + 1))
        store.set_field(("shoot", "title"), None, "goes on", "Weaver")
    connection = sqlite3.connect(folder / "job.db")
    assert connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
    connection.close()
    return max(0, told - found)


def moments(events: Sequence[Event], chance: np.random.Generator) -> list[int]:
    """Cuts anywhere, and some at the rarer moments: while a checkpoint, the closing or a deletion is under way."""
    rare = [n for n, event in enumerate(events, 1) if event.what != "told" and not event.name.endswith("-wal")]
    anywhere = chance.integers(0, len(events) + 1, CUTS - CUTS // 3)
    return [int(n) for n in (*anywhere, *chance.choice(rare, CUTS // 3))]


def test_a_power_cut_costs_nothing_that_was_acknowledged(recorder: Recorder, tmp_path: Path) -> None:
    chance = np.random.default_rng(SEED)
    events = a_day(recorder, tmp_path / "day")
    kinds = {(event.what, event.name) for event in events}
    assert {("sync", "job.db-wal"), ("write", "job.db"), ("truncate", "job.db-wal"), ("sync", "job.db")} <= kinds
    told = [n for n, event in enumerate(events) if event.what == "told"]
    assert any(event.name == "job.db" for event in events[told[5] : told[85]]), "a checkpoint among the edits"
    costs = [lost(events[:n], tmp_path / str(i), chance) for i, n in enumerate(moments(events, chance))]
    assert costs == [0] * CUTS


def test_the_cut_would_show_a_setting_that_loses(
    recorder: Recorder, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With synchronous NORMAL the same cuts cost acknowledged edits: the simulation can tell."""
    monkeypatch.setattr(engines, "SYNCHRONOUS", "NORMAL")
    chance = np.random.default_rng(SEED)
    events = a_day(recorder, tmp_path / "day")
    costs = [lost(events[:n], tmp_path / str(i), chance) for i, n in enumerate(moments(events, chance)[:40])]
    assert sum(cost > 0 for cost in costs) > 10
