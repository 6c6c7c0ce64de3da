"""kill -9 in the middle of edits, again and again: nothing that was acknowledged is lost."""

from __future__ import annotations

import multiprocessing
import os
import signal
import sqlite3
from collections.abc import Callable
from contextlib import nullcontext
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from tests.store.crashing import two_people

from linkwright.shoot.errors import InputError
from linkwright.store import Store

KILLS = 20
#: Each process is a fork of one that has read the program already, as starting anew would take most of the time.
_processes = multiprocessing.get_context("forkserver")
_processes.set_forkserver_preload(["tests.store.crashing"])


def acknowledged_until_killed(place: str, after: int) -> list[tuple[str, Any]]:
    """What a process said was saved before it was killed, soon after it had said so many things."""
    hear, tell = _processes.Pipe(duplex=False)
    process = _processes.Process(target=two_people, args=(place, tell), daemon=True)
    process.start()
    tell.close()
    told: list[tuple[str, Any]] = []
    try:
        while True:
            if len(told) == after:
                assert process.pid is not None
                os.kill(process.pid, signal.SIGKILL)
            told.append(hear.recv())
    except (EOFError, OSError):  # its end, perhaps in the middle of a word
        process.join()
    assert process.exitcode == -signal.SIGKILL, "it ended by itself"
    return told


def check(store: Store, told: list[tuple[str, Any]]) -> None:
    """Everything acknowledged is there, and at most the one edit of each that was not yet told."""
    draft = store.document()
    assert {new for who, new in told if who == "link"} <= set(draft.ids.get(("link",), ()))
    for who in ("Potter", "Weaver"):
        numbers = [number for teller, number in told if teller == who]
        if numbers:
            assert draft.at("shoot", who) in (numbers[-1], numbers[-1] + 1)
    assert [change.revision for change in store.changes(0, most=10**6)] == list(range(1, draft.revision + 1))


def test_killed_again_and_again(tmp_path: Path) -> None:
    file = tmp_path / "job.db"
    chance = np.random.default_rng(9)
    told: list[tuple[str, Any]] = []
    for _ in range(KILLS):
        told += acknowledged_until_killed(str(file), int(chance.integers(1, 40)))
        with Store.open(file, read_only=True) as store:
            check(store, told)
            told += [
                (who, store.document().at("shoot", who) or 0) for who in ("Potter", "Weaver")
            ]  # untold ones too
    with Store.open(file) as store:
        check(store, told)
        assert store.said, "it was not closed"
    connection = sqlite3.connect(file)
    assert connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
    connection.close()
    assert len(told) > KILLS


def test_a_killed_program_loses_nothing_on_postgresql(schema: Callable[[], str]) -> None:
    place = schema()
    told: list[tuple[str, Any]] = []
    for number in range(5):
        told += acknowledged_until_killed(place, 5 + 7 * number)
    with Store.open(place) as store:
        check(store, told)


@pytest.mark.parametrize("saved", [True, False])
def test_a_line_that_breaks_while_it_is_saved_tells_the_truth(
    schema: Callable[[], str], saved: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The database is asked what became of the transaction: no error is told of a change that was saved."""
    import psycopg

    with Store.open(schema(), create=True) as store:
        store.set_field(("shoot", "title"), None, "Five rooms", "Potter")
        assert store._writer is not None
        dialect = store._writer._engine.dialect
        commit = dialect.do_commit

        def broken(connection: Any) -> None:
            monkeypatch.undo()
            if saved:
                commit(connection)
            connection.driver_connection.close()
            raise psycopg.OperationalError("server closed the connection unexpectedly")

        monkeypatch.setattr(dialect, "do_commit", broken)
        with nullcontext() if saved else pytest.raises(InputError, match="the database does not answer"):
            store.set_field(("shoot", "title"), "Five rooms", "Six", "Potter")
        assert store.document().at("shoot", "title") == ("Six" if saved else "Five rooms")
        store.set_field(("shoot", "region"), None, "GB", "Potter")
