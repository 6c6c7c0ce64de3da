"""The short forms of `make storm`: each kind of weather for a few seconds."""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.store.conftest import running_postgresql
from tests.store.recorded import Recorder, library_in_use
from tests.storm import disk, inputs, kills, plans, postgres

from linkwright.shoot.errors import InputError
from linkwright.store import Store

SEED = 20_270_514


def test_killed_at_whatever_it_does() -> None:
    assert kills.storm(10, SEED) == []


def test_the_disk_fails_at_any_write() -> None:
    library = library_in_use()
    if library is None:
        pytest.skip("this Python's SQLite is built in; there is no library to put a file system in front of")
    recorder = Recorder(library)
    many = disk.events_of(recorder)
    assert many > 200
    assert disk.storm(recorder, range(7, many, many // 6)) == []


def test_no_input_is_a_fault_or_takes_long() -> None:
    assert inputs.storm(1500, SEED) == []


def test_whatever_is_changed_there_is_a_plan_or_a_sentence() -> None:
    assert plans.storm(range(SEED, SEED + 25)) == []


def test_a_database_that_is_restarted_loses_nothing() -> None:
    with running_postgresql() as started:
        if isinstance(started, str):
            pytest.skip(started)
        assert postgres.storm(2, SEED, *started) == []


def test_the_weather_can_be_felt(tmp_path: Path) -> None:
    """What would be wrong is told: a fault, a sentence without end, a machine that forgets."""

    def fails(_data: bytes, _folder: Path) -> object:
        raise ZeroDivisionError

    def rambles(_data: bytes, _folder: Path) -> object:
        raise InputError("word " * 10_000)

    known: dict[str, tuple[inputs.Reader, list[bytes]]] = {"fails": (fails, [b"x"]), "rambles": (rambles, [b"x"])}
    assert inputs.one("fails", 1, known, tmp_path) == "fails 1: ZeroDivisionError: "
    assert "a sentence of" in inputs.one("rambles", 1, known, tmp_path)
    told = kills.Told(counts={"Potter": 5}, files={"a.wav": "0" * 64}, readings=30)
    Store.open(tmp_path / "job.lwjob", create=True).close()
    assert len(kills.check(tmp_path / "job.lwjob", told)) == 3
    assert disk.wrong(tmp_path / "job.lwjob", {"link 3"}) == ["lost: link 3"]
