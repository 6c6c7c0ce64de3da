"""The power goes at any moment: what was acknowledged is there, and the file is whole."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from tests.store.recorded import Recorder, library_in_use
from tests.storm.power import a_day, lost, moments

from linkwright.store import engines

CUTS = 90
SEED = 20_270_514


@pytest.fixture(scope="module")
def recorder() -> Recorder:
    library = library_in_use()
    if library is None:
        pytest.skip("this Python's SQLite is built in; there is no library to put a file system in front of")
    return Recorder(library)


def test_a_power_cut_costs_nothing_that_was_acknowledged(recorder: Recorder, tmp_path: Path) -> None:
    chance = np.random.default_rng(SEED)
    events = a_day(recorder, tmp_path / "day")
    kinds = {(event.what, event.name) for event in events}
    assert {("sync", "job.db-wal"), ("write", "job.db"), ("truncate", "job.db-wal"), ("sync", "job.db")} <= kinds
    told = [n for n, event in enumerate(events) if event.what == "told"]
    assert any(event.name == "job.db" for event in events[told[5] : told[85]]), "a checkpoint among the edits"
    costs = [lost(events[:n], tmp_path / str(i), chance) for i, n in enumerate(moments(events, chance, CUTS))]
    assert costs == [0] * CUTS


def test_the_cut_would_show_a_setting_that_loses(
    recorder: Recorder, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With synchronous NORMAL the same cuts cost acknowledged edits: the simulation can tell."""
    monkeypatch.setattr(engines, "SYNCHRONOUS", "NORMAL")
    chance = np.random.default_rng(SEED)
    events = a_day(recorder, tmp_path / "day")
    costs = [lost(events[:n], tmp_path / str(i), chance) for i, n in enumerate(moments(events, chance, CUTS)[:40])]
    assert sum(cost > 0 for cost in costs) > 10
