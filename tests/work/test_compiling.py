"""Machine code: all of it is made at once, kept, found again; and plain Python does the same until it is there."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from tests.cli.calling import call
from tests.watch.courses import courses

from linkwright.physics.compiled import KERNELS
from linkwright.watch.diagnose.plain import plain_loop
from linkwright.watch.diagnose.watcher import Watcher
from linkwright.watch.play.effects import CAUSES
from linkwright.watch.play.faults import draw_faults
from linkwright.watch.play.simulate import simulate
from linkwright.work.compiling import cache_folder, compile_module, kind_of, listed, numba_type

TOUR = Path(__file__).parent / "tour.py"


def compiled_so_far() -> int:
    """How often anything was compiled in this process, and not found in the cache."""
    return sum(sum(kernel.stats.cache_misses.values()) for kernel in KERNELS)


def test_every_loop_that_is_called_is_listed_with_the_kinds_of_its_values() -> None:
    """A tour of the commands in a process of its own: whatever they call, with whatever kinds, is in the list."""
    done = subprocess.run([sys.executable, str(TOUR)], capture_output=True, text=True, check=False, timeout=300)
    assert done.returncode == 0, done.stdout + done.stderr


def test_after_preparing_nothing_is_compiled(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    compile_module(listed())
    before = compiled_so_far()
    assert call(capsys, "demo", "--no-serve").status == 0
    log = tmp_path / "log.csv"
    rows = [f"2027-05-14T09:00:{n // 10:02d}.{n % 10}Z,Salter,-60,{1 - (n > 200)}" for n in range(400)]
    log.write_text("time,link,rf_a_dbm,quality\n" + "\n".join(rows) + "\n", "utf-8")
    assert call(capsys, "diagnose", str(log)).status in (0, 1)
    assert compiled_so_far() == before


def test_kinds_go_into_text_and_back() -> None:
    for ways in listed().values():
        for kinds in ways:
            assert [kind_of(numba_type(kind)) for kind in kinds] == kinds


def test_the_cache_is_the_users_or_one_of_the_machine(tmp_path: Path) -> None:
    own = cache_folder({"XDG_CACHE_HOME": str(tmp_path)})
    assert own.is_relative_to(tmp_path / "linkwright")
    (tmp_path / "file").touch()
    assert not cache_folder({"XDG_CACHE_HOME": str(tmp_path / "file")}).is_relative_to(tmp_path)


def told(watcher: Watcher, batches: Iterator[Any]) -> list[Any]:
    for batch in batches:
        watcher.add(batch)
    return [
        (episode.link, episode.cause, episode.from_ns, episode.to_ns, episode.because)
        for episode in watcher.episodes()
    ]


def test_plain_python_tells_what_machine_code_tells() -> None:
    played = courses(minutes=6)[:2]
    faults = draw_faults(played, CAUSES, seed=3, each_h=30.0)
    compiled, plain, both = Watcher(), Watcher(), Watcher()
    plain.step = plain_loop()
    batches = list(simulate(played, faults, seed=3))
    expected = told(compiled, iter(batches))
    assert expected
    assert told(plain, iter(batches)) == expected
    both.step = plain_loop()
    told(both, iter(batches[: len(batches) // 2]))
    both.step = None  # the machine code has come in the midst of it
    assert told(both, iter(batches[len(batches) // 2 :])) == expected
    assert np.allclose(plain._state, compiled._state, rtol=1e-4, atol=1e-3, equal_nan=True)
