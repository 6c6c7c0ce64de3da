"""A small event: two crews and the event's own link, two sites, and devices of each role and crew."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

from fastapi.testclient import TestClient
from tests.web.conftest import HOST, ORIGIN

from linkwright.store import Store

LINK = {"transmitter": "uhf-body-worn", "receiver": "uhf-camera-slot"}
SECRET = {"Harbour": "Ines Dahl", "Lantern": "Bo Reyes"}


def document() -> dict[str, Any]:
    """The job as it is typed."""
    return {
        "shoot": {
            "title": "Harbour week", "region": "GB", "permits": ["gb-coordinated"], "date": "2027-05-14",
            "timezone": "Europe/London",
        },
        "crew": [
            {"name": "Harbour", "contact": SECRET["Harbour"], "phone": "+44 20 7946 0001"},
            {"name": "Lantern", "contact": SECRET["Lantern"], "phone": "+44 20 7946 0002"},
        ],
        "site": [{"name": "Quay", "surroundings": "street"}, {"name": "Hall", "surroundings": "hall"}],
        "link": [
            {"name": "Host", **LINK},
            {"name": "Pilot", "crew": "Harbour", **LINK},
            {"name": "Singer", "crew": "Lantern", **LINK},
        ],
        "call": [
            {"name": "Opening", "site": "Quay", "from": "09:00:00", "to": "12:00:00", "links": ["Host", "Pilot"]},
            {"name": "Concert", "site": "Hall", "from": "19:00:00", "to": "23:00:00", "links": ["Singer"],
             "crew": "Lantern"},
        ],
    }  # fmt: skip


def event_into(store: Store) -> dict[str, str]:
    """Put the event into a store; the ids of its crews by name."""
    store.replace(document(), "laptop")
    return {str(crew["name"]): id_ for id_, crew in store.document().entries("crew")}


def telephone(
    laptop: TestClient, store: Store, role: str, crew: str = "", address: str = "192.0.2.7"
) -> TestClient:
    """A device on the network of a role, or of a crew (by its id)."""
    token = f"token-of-{role}-{crew}-{'x' * 20}"
    if store.device_of(token) is None:
        store.add_device(f"telephone of {role} {crew}".strip(), role, token, "laptop", crew=crew)  # type: ignore[arg-type]
    headers = {**ORIGIN, "authorization": f"Bearer {token}"}
    return TestClient(laptop.app, headers=headers, base_url=f"http://{HOST}", client=(address, 4711))


def until(holds: Callable[[], Any], seconds: float = 60.0) -> Any:
    """What is asked, as soon as it is anything."""
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if found := holds():
            return found
        time.sleep(0.05)
    raise AssertionError(f"not within {seconds:g} s")
