"""A job with a day behind it: readings, notes, a log, a kept folder of places."""

from __future__ import annotations

import datetime
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np
from fastapi.testclient import TestClient
from tests.watch.made_readings import NINE_MS, readings
from tests.web.conftest import client_of, demo_into, desk_of_client, planned

from linkwright.store import READINGS, Store
from linkwright.store.placebook import PlaceBook
from linkwright.watch.diagnose.episodes import moment
from linkwright.watch.log.kept import Stretch, packed

LINKS = ("Presenter", "Boom")


def minute(n: int, *, broken: bool = False) -> Stretch:
    """The n-th minute from nine: two links, ten readings a second; the Boom gone from 30 s to 34 s if `broken`."""
    made = readings(LINKS, seconds=60.0, from_ms=NINE_MS + 60_000 * n)
    if broken:
        at = (made.link == 1) & (made.time_ms >= NINE_MS + 60_000 * n + 30_000)
        at &= made.time_ms < NINE_MS + 60_000 * n + 34_000
        made.rf_a_dbm[at] = made.rf_b_dbm[at] = -118.0
        made.muted[at], made.quality[at] = 1, 0.0
    return made


def keep_day(store: Store, minutes: int = 6, broken: int = 3) -> None:
    """Readings of some minutes, and what was noted."""
    for n in range(minutes):
        name = moment(NINE_MS + 60_000 * n).isoformat()
        data = packed(minute(n, broken=n == broken))
        store.attach(name, data, "live", most_bytes=1 << 24, kind=READINGS)
    at = datetime.timedelta(milliseconds=NINE_MS) + datetime.datetime(1970, 1, 1, tzinfo=datetime.UTC)
    store.happen("take", "", {"text": "12A, 1"}, at + datetime.timedelta(seconds=30), "laptop")
    broke = at + datetime.timedelta(seconds=60 * broken + 50)
    store.happen("switched", "Boom", {"what": "carrier", "was": 571.6, "is": 583.25}, broke, "phone")
    store.happen("note", "", {"text": "wind, blimp on"}, broke + datetime.timedelta(seconds=600), "phone")
    store.happen("changed", "Boom", {"empty": False}, at - datetime.timedelta(hours=5), "laptop")
    store.happen("changed", "Boom", {"empty": True}, at + datetime.timedelta(minutes=5), "laptop")


@contextmanager
def day_behind(store: Store, places: Path | None = None) -> Iterator[TestClient]:
    """The pages of the built-in shoot with that day, gone through."""
    demo_into(store)
    keep_day(store)
    with client_of(store, places=None if places is None else PlaceBook(places)) as client:
        planned(client)
        gone_through(client)
        yield client


def gone_through(client: TestClient) -> None:
    """Wait until all readings have been gone through."""
    wrapping = desk_of_client(client).wrapping
    for _ in range(3):
        wrapping.begin(desk_of_client(client).snapshot())
        assert wrapping.wait(120.0)


def log_csv(minutes: int = 1) -> bytes:
    """A receiver's log of another link."""
    times = NINE_MS + 200 * np.arange(300 * minutes)
    rows = [f"{moment(int(t)).isoformat(timespec='milliseconds')},Raker,-70,-72,-30,1,0.8,0" for t in times]
    return ("time,link,rf_a_dbm,rf_b_dbm,audio_dbfs,quality,battery,muted\n" + "\n".join(rows) + "\n").encode()
