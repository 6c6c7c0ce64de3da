"""Readings through hostile weather: a disk that refuses, a clock of another age, links that nobody has, a kill."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from fastapi.testclient import TestClient
from tests.web.conftest import client_of, demo_into, desk_of_client, planned
from tests.web.test_live_api import START, eventually, record, row_of, send, watching_of
from tests.web.test_one_desk import fine, gone

from linkwright.desk import kept_readings
from linkwright.shoot.errors import InputError
from linkwright.store import Store
from linkwright.watch.log.live import MOST_STRANGERS, Intake
from linkwright.watch.log.record import Batch

FULL = "the disk is full"


def all_kept(store: Store) -> int:
    return sum(map(len, kept_readings.newest(store, 1000)))


@pytest.mark.parametrize("refused", ["add_tail", "attach"])
def test_a_store_that_refuses_for_a_while_costs_no_reading_and_no_alarm(
    demo: TestClient, refused: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    store = desk_of_client(demo).store
    monkeypatch.setattr(kept_readings, "WRITE_S", 0.0)
    monkeypatch.setattr(kept_readings, "KEEP_S", 0.0)

    def full(*_args: Any, **_more: Any) -> None:
        raise InputError(FULL)

    with monkeypatch.context() as sick:
        sick.setattr(store, refused, full)
        send(demo, fine("Raker", 0, 30))
        eventually(lambda: FULL in watching_of(demo).silent())
        send(demo, gone("Raker", 30, 30))
        eventually(lambda: watching_of(demo).shown())  # alarms go on meanwhile
        assert FULL in watching_of(demo).told()["silent"]
    eventually(lambda: all_kept(store) == 600)
    eventually(lambda: FULL not in watching_of(demo).silent())
    assert not [work.state.fault for work in desk_of_client(demo).works.values() if work.state.fault]


def test_too_many_that_wait_are_shed_counted_and_told(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(kept_readings, "MOST_WAITING", 250)
    keeper, intake = kept_readings.ReadingKeeper(store), Intake()
    for n in range(4):
        assert intake.take([record("Raker", 10.0 * n + 0.1 * m) for m in range(100)]).count == 100
    for batch in intake.drain():
        keeper.add(batch)
    assert (keeper.waiting, keeper.lost) == (200, 200)
    keeper.turn(0.0)
    assert (keeper.waiting, all_kept(store)) == (0, 200)


def test_acknowledged_readings_are_in_the_job_within_a_second(tmp_path: Path) -> None:
    with Store.open(tmp_path / "job.lwjob", create=True) as store:
        demo_into(store)
        with client_of(store) as client:
            planned(client)
            send(client, fine("Raker", 0, 5))
            eventually(lambda: all_kept(store) == 50)
            for name in ("job.lwjob", "job.lwjob-wal"):  # what a kill leaves
                shutil.copy(tmp_path / name, tmp_path / f"left{name[3:]}")
    with Store.open(tmp_path / "left.lwjob") as left:
        assert all_kept(left) == 50
        assert not kept_readings.kept(left)
        kept_readings.ReadingKeeper(left).keep()  # the next minute takes it along
        assert (all_kept(left), len(kept_readings.kept(left)), left.tail()) == (50, 1, [])


def test_a_clock_of_another_age_moves_nobody_else(demo: TestClient) -> None:
    send(demo, fine("Raker", 0, 3))
    told = send(demo, [{**record("Guard", 3.0), "time": "2199-05-14T09:00:00+00:00"}, record("Raker", 3.0)])
    assert told["taken"] == 1
    assert "set the clock of that receiver" in told["reasons"][0]
    for year in ("9999", "1677", "0001"):
        told = send(demo, [{**record("Raker", 3.1), "time": f"{year}-05-14T09:00:00Z"}, record("Guard", 3.1)])
        assert told["taken"] == 1
        assert "from 2000 to 2199" in told["reasons"][0]
    send(demo, [{**record("Guard", 3.0), "time": "2000-01-01T00:00:00Z"}, record("Raker", 3.2)])
    eventually(lambda: all_kept(desk_of_client(demo).store) == 36)
    seconds = {
        int(one) // 10**9 for batch in kept_readings.newest(desk_of_client(demo).store, 9) for one in batch.time_ns
    }
    start = int(START.timestamp())
    assert seconds == {946_684_800, *range(start, start + 4)}  # nobody was moved by whole years
    assert watching_of(demo).now_ns() // 10**9 == start + 3


def test_one_wild_clock_that_came_first_is_outvoted(demo: TestClient) -> None:
    send(demo, [{**record("Guard", 0.0), "time": "2199-05-14T09:00:00Z"}])
    eventually(lambda: watching_of(demo).watched())
    send(demo, fine("Raker", 0, 1) + fine("Presenter", 0, 1))
    send(demo, fine("Raker", 1, 30) + gone("Presenter", 1, 30))
    eventually(lambda: watching_of(demo).shown())
    assert watching_of(demo).now_ns() < 4_200_000_000 * 10**9  # before 2103


def test_links_that_nobody_has_leave_room_for_those_of_the_shoot(demo: TestClient) -> None:
    for first in range(0, 20_000, 5000):
        invented = [record(f"x{first + n}", 0.0) for n in range(5000)]
        told = send(demo, invented)
    assert told["refused"] == 5000
    assert f"{MOST_STRANGERS} links already that the shoot does not have" in told["reasons"][0]
    send(demo, fine("Raker", 0, 1))
    eventually(lambda: row_of(demo, "Raker")[0] == "holds")


def test_a_minute_is_made_once_by_whichever_process_is_first(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    def batch(second: int) -> Batch:
        values = np.full((1, 6), np.nan, np.float32)
        values[0, 0] = -60.0
        return Batch(("A",), np.zeros(1, np.int32), np.array([second * 10**9]), values)

    first, second = (kept_readings.ReadingKeeper(store) for _ in range(2))
    first.add(batch(1))
    first.turn(0.0)
    then = store.tail()
    second.keep()
    first.add(batch(2))
    first.turn(1.0)
    now = store.tail()
    assert [data for _, data in now] != [data for _, data in then]
    for seen in (then, [*then, *now], [(now[0][0], then[0][1])]):
        with monkeypatch.context() as patch:
            patch.setattr(store, "tail", lambda seen=seen: seen)
            first.keep()  # went by what the other had taken
        assert (len(kept_readings.kept(store)), store.tail()) == (1, now)
    first.keep()
    assert len(kept_readings.kept(store)) == 2
    assert sorted(int(t) for each in kept_readings.newest(store, 5) for t in each.time_ns) == [10**9, 2 * 10**9]
