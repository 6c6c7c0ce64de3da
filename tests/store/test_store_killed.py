"""kill -9 in the middle of edits, fifty times: nothing that was acknowledged is lost."""

from __future__ import annotations

import os
import signal
import sqlite3
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from linkwright.store import Store

PROGRAM = Path(__file__).with_name("crashing.py")
KILLS = 50


def acknowledged_until_killed(file: str, lines: int) -> list[str]:
    """What the program said before it was killed, soon after so many lines."""
    process = subprocess.Popen([sys.executable, str(PROGRAM), file], stdout=subprocess.PIPE, text=True)
    assert process.stdout is not None
    told = [process.stdout.readline() for _ in range(lines)]
    os.kill(process.pid, signal.SIGKILL)
    rest, _ = process.communicate()
    assert process.returncode == -signal.SIGKILL, "it ended by itself"
    return [line for line in "".join([*told, rest]).split("\n")[:-1] if line]  # a last line may be cut


def check(store: Store, told: list[str]) -> None:
    """Everything acknowledged is there, and at most the one edit of each that was not yet told."""
    draft = store.document()
    links = {line.split()[1] for line in told if line.startswith("link ")}
    assert links <= set(draft.ids.get(("link",), ()))
    for who in ("Anna", "Ben"):
        numbers = [int(line.split()[1]) for line in told if line.startswith(who)]
        if numbers:
            assert draft.at("shoot", who) in (numbers[-1], numbers[-1] + 1)
    assert [change.revision for change in store.changes(0, most=10**6)] == list(range(1, draft.revision + 1))


def test_killed_fifty_times(tmp_path: Path) -> None:
    file = tmp_path / "job.db"
    chance = np.random.default_rng(9)
    told: list[str] = []
    for _ in range(KILLS):
        told += acknowledged_until_killed(str(file), int(chance.integers(1, 40)))
    with Store.open(file) as store:
        check(store, told)
        assert store.said, "it was not closed"
    connection = sqlite3.connect(file)
    assert connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
    connection.close()
    assert len(told) > KILLS


@pytest.mark.parametrize("kills", [5])
def test_a_killed_program_loses_nothing_on_postgresql(kills: int, schema: object) -> None:
    assert callable(schema)
    place = schema()
    told: list[str] = []
    for number in range(kills):
        told += acknowledged_until_killed(place, 5 + 7 * number)
    with Store.open(place) as store:
        check(store, told)
