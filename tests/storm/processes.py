"""Serving processes are killed, the planning one too, and PostgreSQL is restarted, while crews join: nothing
acknowledged is lost, and every page catches up.
"""

from __future__ import annotations

import argparse
import contextlib
import http.client
import signal
import tempfile
import threading
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Final

import numpy as np
from tests.store.conftest import running_postgresql
from tests.web.outside import Outside
from tests.web.test_several_processes import Event, add, crews_of, planned, until

#: How long a page may take to catch up with what was acknowledged [s].
PATIENCE_S: Final = 5.0


class Crews:
    """Crews who join at whichever process answers, one after the other, until they are told to stop."""

    def __init__(self, name: str) -> None:
        self.name, self.acknowledged, self.asked = name, list[str](), 0
        self.at: Outside | None = None
        self.stop = threading.Event()
        self.thread = threading.Thread(target=self._join, daemon=True)

    def _join(self) -> None:
        while not self.stop.is_set():
            self.asked += 1
            crew, at = f"{self.name} {self.asked}", self.at
            try:
                assert at is not None, "there is a process before there are crews"
                add(at, crew)
            except (OSError, http.client.HTTPException):
                time.sleep(0.05)
            else:
                self.acknowledged.append(crew)


def storm(changes: int, seed: int, event: Event, tell: Callable[[str], None] = lambda _: None) -> list[str]:
    """What was lost, or came too late, over so many acknowledged changes."""
    chance, wrong, kills, restarts, slowest_s = np.random.default_rng(seed), list[str](), 0, 0, 0.0
    running = [event.serve(), event.serve()]
    until(lambda: all(planned(process, "Pilot") for process in running))
    several = [Crews("North"), Crews("South")]
    for crews, process in zip(several, running, strict=True):
        crews.at = process
        crews.thread.start()

    def acknowledged() -> list[str]:
        return [name for crews in several for name in list(crews.acknowledged)]

    while len(acknowledged()) < changes:
        before = len(acknowledged())
        until(lambda before=before: len(acknowledged()) >= before + changes // 20)  # type: ignore[misc]
        if chance.random() < 0.4:
            event.restart()
            restarts += 1
        else:
            which = int(chance.integers(2))
            running[which].process.send_signal(signal.SIGKILL)
            several[which].at = running[1 - which]
            kills += 1
            running[which] = event.serve()
            until(lambda which=which: planned(running[which], "Pilot"))  # type: ignore[misc]
            several[which].at = running[which]
        there = acknowledged()
        try:
            took_s = until(lambda there=there: all(_shows(process, there) for process in running), 60.0)  # type: ignore[misc]
        except AssertionError:
            took_s = 60.0
        slowest_s = max(slowest_s, took_s)
    for crews in several:
        crews.stop.set()
        crews.thread.join()
    for process in running:
        shown = crews_of(process)
        wrong += [f"{name} is not there" for name in acknowledged() if f">{name}<" not in shown]
    if slowest_s > PATIENCE_S:
        wrong.append(f"a page took {slowest_s:.1f} s to catch up")
    asked = sum(crews.asked for crews in several)
    tell(
        f"{len(acknowledged())} changes acknowledged of {asked}, {kills} processes killed, the database restarted "
        f"{restarts} times; the slowest page caught up in {slowest_s:.1f} s; {len(wrong)} wrong"
    )
    return wrong


def _shows(process: Outside, names: Sequence[str]) -> bool:
    shown = crews_of(process)
    return all(f">{name}<" in shown for name in names)


def main(arguments: Sequence[str]) -> int:
    """Run it from the command line."""
    given = argparse.ArgumentParser(description=__doc__)
    given.add_argument("--changes", type=int, default=1000)
    given.add_argument("--seed", type=int, default=1)
    options = given.parse_args(arguments)
    with tempfile.TemporaryDirectory() as folder, running_postgresql() as started, contextlib.ExitStack() as stack:
        if isinstance(started, str):
            print(started)
            return 0
        wrong = storm(options.changes, options.seed, Event(*started, Path(folder), stack), print)
    print("\n".join(wrong), end="")
    return int(bool(wrong))
