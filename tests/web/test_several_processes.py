"""Two processes of `linkwright serve` on one PostgreSQL: one killed as it plans, the database restarted."""

from __future__ import annotations

import contextlib
import datetime
import http.client
import json
import re
import signal
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import tomli_w
from tests.store.conftest import running_postgresql
from tests.web.event import document
from tests.web.outside import Outside, outside
from tests.web.test_live_sweep import rows

HOME = "127.0.0.1"


@dataclass
class Event:
    """An event on a database that may be restarted, and its processes."""

    url: str
    restart: Callable[[], None]
    folder: Path
    stack: contextlib.ExitStack
    started: int = 0
    found: list[Outside] = field(default_factory=list)

    def serve(self) -> Outside:
        """One more process; the first brings the shoot along."""
        folder = self.folder / f"process-{self.started}"
        folder.mkdir()
        self.started += 1
        shoot = folder / "shoot.toml"
        typed = document()
        typed["shoot"]["date"] = "2027-05-14"
        shoot.write_text(tomli_w.dumps(typed).replace('"2027-05-14"', "2027-05-14"), "utf-8")
        return self.stack.enter_context(outside(folder, str(shoot), "--database", self.url))


@pytest.fixture
def event(tmp_path: Path) -> Iterator[Event]:
    """A database, and whatever is started on it."""
    with running_postgresql() as started, contextlib.ExitStack() as stack:
        if isinstance(started, str):
            pytest.skip(started)
        yield Event(*started, tmp_path, stack)


def until(holds: Callable[[], Any], seconds: float = 90.0) -> float:
    """How long it took until something held [s]."""
    began = time.monotonic()
    while True:
        with contextlib.suppress(OSError, http.client.HTTPException):
            if holds():
                return time.monotonic() - began
        assert time.monotonic() - began < seconds
        time.sleep(0.02)


def ask(of: Outside, method: str, path: str, body: Any = None) -> tuple[int, str]:
    """Status and text of what a process answers to whoever sits at it."""
    host = f"{HOME}:{of.port}"
    headers = {"Host": host, "Origin": f"http://{host}", "Content-Type": "application/json"}
    with contextlib.closing(http.client.HTTPConnection(HOME, of.port, timeout=60)) as connection:
        connection.request(method, path, None if body is None else json.dumps(body), headers)
        answered = connection.getresponse()
        return answered.status, answered.read().decode()


def stands_on(of: Outside, khz: int) -> bool:
    """Whether the plan that a process shows gives Pilot a carrier [kHz]."""
    calls = json.loads(ask(of, "GET", "/plan.json")[1])["calls"]
    return khz in {one["carrier_khz"] for call in calls for one in call["links"] if one["link"] == "Pilot"}


def planned(of: Outside, link: str) -> bool:
    """Whether the plan that a process shows has a link."""
    status, text = ask(of, "GET", "/plan.json")
    return status == 200 and link in {one["link"] for call in json.loads(text)["calls"] for one in call["links"]}


def post(of: Outside, path: str, **body: Any) -> dict[str, Any]:
    """What a process answers that did what it was told. Raises OSError where it did not."""
    status, text = ask(of, "POST", path, body)
    if status != 200:
        raise OSError(text)
    answer: dict[str, Any] = json.loads(text)
    return answer


def add(of: Outside, name: str) -> None:
    """A crew joins, in one acknowledged change."""
    post(of, "/crews/add", name=name)


def crews_of(of: Outside) -> str:
    return ask(of, "GET", "/crews/body")[1]


def streamed(of: Outside, said: list[str]) -> None:
    """What the stream of a page says goes into a list, until it ends."""

    def read() -> None:
        with contextlib.suppress(OSError, http.client.HTTPException):
            connection = http.client.HTTPConnection(HOME, of.port, timeout=120)
            connection.request("GET", "/events", headers={"Host": f"{HOME}:{of.port}"})
            with contextlib.closing(connection):
                for line in connection.getresponse():
                    said.append(line.decode())

    threading.Thread(target=read, daemon=True).start()


def quality(of: Outside, link: str) -> int | None:
    """The quality of a link as the page Live of a process has it, in hundredths."""
    state = json.loads(ask(of, "GET", "/api/live")[1])
    found: int | None = dict(zip(state["names"], (row[5] for row in state["rows"]), strict=True)).get(link)
    return found


def alarms(of: Outside) -> list[str]:
    """The keys of the alarms that nobody has seen."""
    return re.findall(r'data-acknowledge="([^"]+)"', ask(of, "GET", "/live/alarms")[1])


def readings(seconds: range, **values: float) -> list[dict[str, Any]]:
    """Pilot's readings, five a second, on the morning of the event."""
    begin = datetime.datetime(2027, 5, 14, 9, 30, tzinfo=datetime.UTC)
    return [
        {"link": "Pilot", "time": (begin + datetime.timedelta(seconds=n / 5.0)).isoformat(), **values}
        for n in range(5 * seconds.start, 5 * seconds.stop)
    ]


def test_what_one_process_hears_the_others_show(event: Event) -> None:
    first = event.serve()
    until(lambda: planned(first, "Pilot"))
    second = event.serve()
    until(lambda: planned(second, "Pilot"))

    # Readings that come to the one are on the other's tiles, and alarms are seen for all.
    good = readings(range(20), rf_a_dbm=-60.0, rf_b_dbm=-62.0, quality=1.0)
    bad = readings(range(20, 26), rf_a_dbm=-104.0, rf_b_dbm=-105.0, quality=0.0)
    assert ask(first, "POST", "/log/readings", good)[0] == 200
    until(lambda: all(quality(of, "Pilot") == 100 for of in (first, second)))
    assert ask(first, "POST", "/log/readings", bad)[0] == 200
    until(lambda: alarms(second))
    assert alarms(first) == alarms(second)
    post(second, "/log/acknowledge", key=alarms(second)[0])
    until(lambda: not alarms(first))

    # Rows of a sweep that come to the other are on the Air of the one.
    rng = np.random.default_rng(1)
    for _ in range(3):
        sent = {"rows": rows(rng), "source": "cart", "site": "Quay", "unit": "dBm"}
        assert json.loads(ask(second, "POST", "/log/sweeps", sent)[1])["refused"] == 0
    until(lambda: "Cart looked" in ask(first, "GET", "/air/now?site=Quay")[1])


def test_nothing_acknowledged_is_lost_and_everybody_catches_up(event: Event) -> None:
    first = event.serve()
    until(lambda: planned(first, "Pilot"))  # it has the duty
    second = event.serve()
    until(lambda: planned(second, "Pilot"))  # and the other shows what it made
    said: list[str] = []
    streamed(second, said)
    until(lambda: said)

    # A change by the one is told to the pages of the other.
    add(first, "Tower")
    until(lambda: any("event: changed" in line for line in said) and "Tower" in crews_of(second))

    # The planning process is killed in the middle of acknowledged changes: the other goes on, and plans.
    acknowledged: list[str] = []
    stop = threading.Event()

    def adding() -> None:
        for number in range(100_000):
            if stop.is_set():
                return
            with contextlib.suppress(OSError, http.client.HTTPException):
                add(second, f"Crew {number}")
                acknowledged.append(f"Crew {number}")

    people = threading.Thread(target=adding)
    people.start()
    until(lambda: len(acknowledged) > 5)
    post(first, "/plan/lock", link="Pilot", mhz="500.0")
    first.process.send_signal(signal.SIGKILL)
    until(lambda: stands_on(second, 500_000))

    # The database is restarted; what was acknowledged is there, and changes go on.
    event.restart()
    then = len(acknowledged)
    until(lambda: len(acknowledged) > then + 5)
    stop.set()
    people.join()
    third = event.serve()
    until(lambda: planned(third, "Pilot"))
    shown = crews_of(third)
    assert [name for name in acknowledged if f">{name}<" not in shown] == []
    said.clear()
    add(third, "Latecomer")
    until(lambda: "Latecomer" in crews_of(second))
    post(third, "/plan/lock", link="Pilot", mhz="511.0")
    until(lambda: stands_on(third, 511_000) and stands_on(second, 511_000))
