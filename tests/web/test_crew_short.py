"""The storms of tests/storm, short: what `make storm` runs at length."""

from __future__ import annotations

import gc
import weakref
from pathlib import Path

import pytest
from tests.storm import crew, routes

from linkwright.web.serving import set_aside


@pytest.mark.filterwarnings("ignore")  # what the fuzzer itself warns of
def test_every_route_with_a_session_of_each_role(tmp_path: Path) -> None:
    told = routes.storm(0, 3, 1, 1, tmp_path)
    assert told.wrong == []
    assert {"/api/field", "/plan/try", "/api/air/levels", "/join", "/connect/forget", "/log/happen"} <= told.paths
    assert told.requests >= len(told.paths) * len(routes.WHO)
    assert 401 in {status for who, status in told.by if who == "unpaired"}


def test_twenty_telephones_for_two_seconds() -> None:
    told = crew.storm(20, 8.0, 400.0, 2.0)
    assert told.wrong == []
    assert told.made == 16
    assert told.readings == 800
    assert len(told.heard) == 20


class Ring:
    """Something that only the collector can let go."""

    def __init__(self) -> None:
        self.itself = self


def test_what_lasts_is_set_aside_from_the_collector_and_what_ended_is_let_go() -> None:
    ring = Ring()
    seen = weakref.ref(ring)
    gc.unfreeze()  # the tests set aside what they imported
    try:
        set_aside()
        assert gc.get_freeze_count() > 0
        del ring
        set_aside()
        assert seen() is None
    finally:
        gc.freeze()
