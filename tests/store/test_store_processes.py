"""Several processes with one store on PostgreSQL: changes are heard, work is one's, through cuts and restarts."""

from __future__ import annotations

import contextlib
import threading
import time
from collections.abc import Callable, Iterator

import pytest
from tests.store.conftest import running_postgresql

from linkwright.shoot.errors import InputError
from linkwright.store import Away, Store
from linkwright.store.watch import MISSED

CUT = "SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE pid <> pg_backend_pid()"


@pytest.fixture(scope="module")
def own_postgresql() -> Iterator[tuple[str, Callable[[], None]]]:
    """A PostgreSQL of this module's own, which may be restarted."""
    with running_postgresql() as started:
        if isinstance(started, str):
            pytest.skip(started)
        yield started


def until(holds: Callable[[], object]) -> None:
    end = time.monotonic() + 60.0
    while not holds():
        assert time.monotonic() < end
        time.sleep(0.01)


def said_until(mine: Store, heard: threading.Event) -> bool:
    """Say a word once more, as long as nobody has heard one."""
    mine.signal("there")
    return heard.is_set()


def test_a_change_of_another_process_is_heard_and_so_is_what_it_signals(schema: Callable[[], str]) -> None:
    place = schema()
    with Store.open(place, create=True) as mine, Store.open(place) as theirs:
        heard: list[int] = []
        words: list[str] = []
        until(lambda: mine.revision == 0)
        mine.subscribe(heard.append)
        mine.on_signal(words.append)
        theirs.set_field(("shoot", "title"), None, "Quay", "Bo")
        assert mine.wait(0, 60.0) == 1
        assert heard == [1]
        theirs.set_field(("shoot", "title"), "Quay", "Quay", "Bo")
        theirs.cache_put("plan", b"x", "plan:theirs")
        until(lambda: "plan:theirs" in words)
        assert mine.cache_get("plan") == b"x", "it is there as it is signalled"
        assert heard == [1], "what changes nothing tells nothing"


def test_stores_of_one_database_hear_nothing_of_each_other(schema: Callable[[], str]) -> None:
    with Store.open(schema(), create=True) as mine, Store.open(schema(), create=True) as theirs:
        words: list[str] = []
        mine.on_signal(words.append)
        for number in range(5):
            theirs.set_field(("shoot", "title"), None if not number else f"{number - 1}", f"{number}", "Bo")
        theirs.signal("plan:theirs")
        mine.signal("own")
        until(lambda: "own" in words)
        assert set(words) <= {"own", MISSED}
        assert mine.revision == 0


def test_work_is_ones_and_another_takes_it_over(schema: Callable[[], str], postgresql: str) -> None:
    import psycopg

    place = schema()
    with Store.open(place, create=True) as store:
        first, second, other = store.duty("planning"), store.duty("planning"), store.duty("else")
        assert first.take()
        assert not second.take()
        assert other.take(), "each kind of work has its own"
        assert first.take()
        first.close()
        assert second.take()
        assert not first.take()
        with psycopg.connect(postgresql, autocommit=True) as connection:
            connection.execute(CUT)
        until(first.take)
        assert not second.take(), "and knows that it has lost it"
        for duty in (first, second, other):
            duty.close()


def test_a_file_does_all_work_itself(tmp_path_factory: pytest.TempPathFactory) -> None:
    with Store.open(tmp_path_factory.mktemp("job") / "job.db", create=True) as store:
        words: list[str] = []
        store.on_signal(words.append)
        assert store.duty("planning").take()
        store.signal("x")
        store.cache_put("plan", b"x", "plan:me")
        assert words == ["x", "plan:me"]


def test_through_a_restart_what_was_acknowledged_is_there_and_heard(
    own_postgresql: tuple[str, Callable[[], None]],
) -> None:
    url, restart = own_postgresql
    acknowledged = [0]
    with Store.open(url, create=True) as mine, Store.open(url) as theirs:
        missed, listens = threading.Event(), threading.Event()
        theirs.on_signal(lambda word: (missed if word == MISSED else listens).set())
        # What was missed before anybody listened may have been told before this asked to hear of it.
        until(lambda: said_until(mine, listens))
        missed.clear()
        stop = threading.Event()

        def edit() -> None:
            while not stop.is_set():
                with contextlib.suppress(InputError):
                    before = mine.document().at("shoot", "count")
                    mine.set_field(("shoot", "count"), before, (before or 0) + 1, "Bo")
                    acknowledged[0] = (before or 0) + 1

        editing = threading.Thread(target=edit)
        editing.start()
        until(lambda: acknowledged[0] > 20)
        restart()
        until(missed.is_set)
        then = acknowledged[0]
        until(lambda: acknowledged[0] > then + 20)
        stop.set()
        editing.join()
        until(lambda: theirs.revision == mine.revision)
        assert theirs.document().at("shoot", "count") >= acknowledged[0]


def test_a_database_that_is_away_is_told_apart_from_bad_input(
    own_postgresql: tuple[str, Callable[[], None]],
) -> None:
    import psycopg
    from sqlalchemy.exc import OperationalError

    from linkwright.store.faults import telling
    from linkwright.store.location import location_of

    lost = OperationalError("SELECT 1", {}, psycopg.OperationalError("the connection is lost"))
    with pytest.raises(Away), telling(location_of(own_postgresql[0])):
        raise lost
    with pytest.raises(InputError) as raised, telling(location_of(own_postgresql[0])):
        raise InputError("is no number")
    assert not isinstance(raised.value, Away)
