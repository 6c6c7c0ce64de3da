"""The short forms of `make storm`: each kind of weather for a few seconds."""

from __future__ import annotations

import pytest
from tests.store.conftest import running_postgresql
from tests.store.recorded import Recorder, library_in_use
from tests.storm import disk, inputs, kills, postgres

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


def test_a_database_that_is_restarted_loses_nothing() -> None:
    with running_postgresql() as started:
        if isinstance(started, str):
            pytest.skip(started)
        assert postgres.storm(2, SEED, *started) == []
