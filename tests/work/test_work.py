"""Whoever carries long work, the same comes of it."""

from __future__ import annotations

import itertools
import multiprocessing
import os
import signal
import time
from collections.abc import Callable, Iterator
from concurrent.futures import CancelledError
from contextlib import AbstractContextManager, contextmanager
from typing import Any

import numpy as np
import pytest
from bench.events import event
from bench.long_event import long_event, repeated
from tests.plan.shoots import links, pocket
from tests.plan.shoots import shoot as shoot_of

from linkwright.plan.file import write_plan
from linkwright.plan.fit import fit
from linkwright.plan.pipeline import make_plan
from linkwright.plan.solve import Runner
from linkwright.shoot.errors import InputError
from linkwright.work.carriers import on_dask, on_processes, worth_processes
from linkwright.work.seeds import seeds

DRAWS = 1000


def mean_of(seed: np.random.SeedSequence) -> float:
    """A job that draws."""
    return float(np.random.default_rng(seed).normal(size=DRAWS).mean())


def fails_on_three(number: int) -> int:
    if number == 3:
        raise ValueError("three")
    return number


@contextmanager
def in_dask() -> Iterator[Runner]:
    """A scheduler and two workers in this process, on loopback."""
    distributed = pytest.importorskip("distributed")
    cluster = distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=False, dashboard_address=None, protocol="tcp",
        host="127.0.0.1", silence_logs=50,
    )  # fmt: skip
    with cluster, on_dask(cluster.scheduler_address) as work:
        yield work


CARRIERS: dict[str, Callable[[], AbstractContextManager[Runner]]] = {
    "processes": lambda: on_processes(2),
    "dask": in_dask,
}


@pytest.mark.filterwarnings("default")  # what Dask warns of is its own
@pytest.mark.parametrize("carrier", CARRIERS.values(), ids=CARRIERS.keys())
def test_a_long_event_in_its_periods_is_the_same_whoever_carries_it(
    carrier: Callable[[], AbstractContextManager[Runner]], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("linkwright.plan.periods.WHOLE_UP_TO", 0)
    monkeypatch.setattr("linkwright.plan.legs.LEG", 2)
    shoot = repeated(long_event(30, seed=2), 2)
    with carrier() as work:
        there = write_plan(make_plan(shoot, {}, run=work, effort=0.0))
    assert there == write_plan(make_plan(shoot, {}, effort=0.0))


@pytest.mark.filterwarnings("default")  # what Dask warns of is its own
@pytest.mark.parametrize("carrier", CARRIERS.values(), ids=CARRIERS.keys())
def test_the_same_plan_and_the_same_room_whoever_carries_them(
    carrier: Callable[[], AbstractContextManager[Runner]],
) -> None:
    shoot = event(16, 4)
    with carrier() as work:
        assert list(work(mean_of, seeds(7, 9))) == [mean_of(seed) for seed in seeds(7, 9)]
        assert write_plan(make_plan(shoot, {}, run=work)) == write_plan(make_plan(shoot, {}))
        narrow = pocket("[[518.0, 524.0]]") + pocket("[[518.0, 522.0]]").replace("pocket", "other")
        two_kinds = shoot_of(narrow + links(1) + links(1, "other").replace("L1", "M1"))
        assert fit(two_kinds, {}, run=work) == fit(two_kinds, {})
        with pytest.raises(ValueError, match="three"):
            list(work(fails_on_three, range(5)))


def slow_square(number: int) -> int:
    time.sleep(0.2)
    return number * number


@contextmanager
def a_cluster() -> Iterator[tuple[Any, Runner]]:
    """A scheduler in this process, and two workers of their own."""
    distributed = pytest.importorskip("distributed")
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None, protocol="tcp",
        host="127.0.0.1", silence_logs=50,
    ) as cluster, on_dask(cluster.scheduler_address) as work:  # fmt: skip
        yield cluster, work


@pytest.mark.filterwarnings("default")
def test_a_worker_that_is_killed_loses_nothing_and_a_scheduler_that_is_lost_is_told() -> None:
    with a_cluster() as (cluster, work):
        results = iter(work(slow_square, iter(range(9))))
        found = [next(results)]
        os.kill(next(iter(cluster.workers.values())).pid, signal.SIGKILL)
        assert [*found, *results] == [n * n for n in range(9)]
        with pytest.raises(InputError, match="were lost"):
            list(work(loses_its_scheduler, range(2)))


def loses_its_scheduler(_number: int) -> int:
    """What a client sees of its tasks when its scheduler goes (tried by closing one by hand)."""
    raise CancelledError("scheduler-connection-lost")


def kill_yourself(number: int) -> int:
    if number == 3:
        os.kill(os.getpid(), signal.SIGKILL)
    return number


@pytest.mark.parametrize("lazily", [True, False])
def test_a_process_that_is_killed_is_told(lazily: bool) -> None:
    with on_processes(2) as work, pytest.raises(InputError, match="was killed"):
        list(work(kill_yourself, iter(range(5)) if lazily else range(5)))


def sleep_long(_number: int) -> None:
    time.sleep(600.0)


@pytest.mark.parametrize("lazily", [True, False])
def test_what_stops_ends_the_processes_in_the_middle_of_their_work(lazily: bool) -> None:
    before = set(multiprocessing.active_children())
    looked = itertools.count()

    def look() -> None:
        if next(looked) == 2:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt), on_processes(2, look) as work:
        list(work(sleep_long, iter(range(3)) if lazily else range(3)))
    assert set(multiprocessing.active_children()) <= before


def test_seeds_are_each_another_and_always_the_same() -> None:
    states = [tuple(seed.generate_state(4)) for seed in seeds(1, 50)]
    assert len(set(states)) == 50
    assert states == [tuple(seed.generate_state(4)) for seed in seeds(1, 50)]


def test_processes_are_for_large_shoots_only() -> None:
    assert not worth_processes(12, 3)
    assert not worth_processes(1000, 1)


@pytest.mark.parametrize("address", ["tcp://192.0.2.7:8786", "192.0.2.7:8786", "http://127.0.0.1", "", "tls:"])
def test_a_scheduler_that_is_open_to_all_is_refused(address: str) -> None:
    with pytest.raises(InputError, match="loopback"), on_dask(address):
        pass


def test_a_scheduler_that_is_not_there_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    pytest.importorskip("distributed")
    monkeypatch.setattr("linkwright.work.carriers.DASK_PATIENCE_S", 0.2)
    with pytest.raises(InputError, match="no Dask scheduler answers"), on_dask("tcp://127.0.0.1:1"):
        pass


def test_without_dask_the_extra_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    real: Any = __import__

    def without(name: str, *args: Any, **more: Any) -> Any:
        if name == "distributed":
            raise ImportError(name)
        return real(name, *args, **more)

    monkeypatch.setattr("builtins.__import__", without)
    with pytest.raises(InputError, match="extra"), on_dask("tcp://127.0.0.1:8786"):
        pass
