"""Every route as its own description allows, and a little beyond, with a session of each role.

`python -m tests.storm routes --requests 20000 --seed 1`. No answer is a fault of the server; who is not let in gets
nothing but the page that lets in; who may not change something does not; the pages open as before.
"""

from __future__ import annotations

import argparse
import itertools
import random
import tempfile
import time
import warnings
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

import schemathesis
from fastapi import FastAPI
from fastapi.testclient import TestClient
from hypothesis import HealthCheck, Phase, given, seed, settings
from sqlalchemy import update
from tests.web.conftest import HOST, ORIGIN, demo_into

from linkwright.door.may import LOG_PATHS, OPEN_PATHS, is_own
from linkwright.store import Role, Store, tables
from linkwright.web.app import create_app

#: Who asks, and what a device has to show.
ROLES: Final[tuple[Role, ...]] = ("edit", "log", "look", "crew")
WHO: Final = ("laptop", *ROLES, "unpaired")
CREW: Final = "Harbour"
PAGES: Final = ("/shoot", "/plan", "/live", "/day", "/connect", "/history")


@dataclass
class Told:
    """What came of it: how many requests, by who and status, what was wrong, and the slowest [s]."""

    requests: int = 0
    by: Counter[tuple[str, int]] = field(default_factory=Counter)
    wrong: list[str] = field(default_factory=list)
    slowest: tuple[float, str] = (0.0, "")
    paths: set[str] = field(default_factory=set)


def sessions(app: FastAPI, store: Store) -> dict[str, TestClient]:
    """A client of each role; the laptop's own is the one whose life the pages have."""
    found = {
        "unpaired": TestClient(app, headers=ORIGIN, client=("192.0.2.66", 4711), raise_server_exceptions=False)
    }
    for n, role in enumerate(ROLES):
        token = role * 10
        crew = store.document().id_of("crew", CREW) if role == "crew" else None
        store.add_device(f"A device that may {role}", role, token, "laptop", crew=crew or "")
        headers = {**ORIGIN, "authorization": f"Bearer {token}"}
        address = (f"192.0.2.{n + 1}", 4711)
        found[role] = TestClient(app, headers=headers, client=address, raise_server_exceptions=False)
    return found


def judged(who: str, method: str, path: str, answered: Any) -> str:
    """What is wrong with an answer; nothing where nothing is."""
    status, text = answered.status_code, answered.text
    if status >= 500 or "Traceback" in text:
        return "a fault of the server"
    if who == "unpaired" and not path.startswith(OPEN_PATHS) and status not in (401, 403, 404, 405, 421):
        return "answered to a device that is not paired"
    if who != "laptop" and path.startswith("/connect") and status not in (401, 403):
        return "Connect answered to the network"
    if (
        who == "crew"
        and not is_own(path)
        and not path.startswith(OPEN_PATHS)
        and status not in (403, 404, 405, 421)
    ):
        return "answered to a device of a crew"
    if who not in ("crew", "unpaired") and is_own(path) and status != 403:
        return "a crew's page answered to who is of none"
    safe = method in ("GET", "HEAD", "OPTIONS")
    if who == "look" and not safe and not path.startswith(OPEN_PATHS) and status != 403:
        return "changed by a device that may look"
    if who == "log" and not safe and not path.startswith((*OPEN_PATHS, *LOG_PATHS)) and status != 403:
        return "changed by a device that may log"
    if status in (400, 409) and "says" not in text:
        return f"a refusal without a sentence: {text[:80]}"
    return ""


def storm(requests: int, each: int, roles_each: int, seed_: int, folder: Path) -> Told:
    """Rounds of all routes in another order each, until so many requests were made, or one round.

    each : how often the laptop asks a route in a round, and roles_each how often of these every other session does.
    """
    told = Told()
    with Store.open(folder / "job.lwjob", create=True) as store:
        demo_into(store)
        store.insert(("crew",), {"name": CREW}, "laptop")
        document = store.document().document
        app = create_app(store, frozenset({HOST}))
        schema = schemathesis.openapi.from_asgi("/openapi.json", app, headers={"host": HOST})
        operations = [get_all_operation.ok() for get_all_operation in schema.get_all_operations()]  # type: ignore[union-attr]
        with TestClient(app, headers=ORIGIN, raise_server_exceptions=False) as laptop:
            clients = {"laptop": laptop, **sessions(app, store)}
            for round_ in itertools.count():
                random.Random(seed_ + round_).shuffle(operations)
                for operation in operations:
                    told.paths.add(operation.path)
                    _anew(store, document)
                    _ask(operation, clients, each, roles_each, seed_ + round_, told)
                    for role in ROLES:
                        _again(store, role)
                for page in PAGES:
                    if laptop.get(page).status_code != 200:
                        told.wrong.append(f"{page} does not open after round {round_}")
                if told.requests >= requests:
                    return told
    raise AssertionError("there is always another round")


def _anew(store: Store, document: dict[str, Any]) -> None:
    """What the last route left may be no shoot any more; the crew's device is of the crew as it is called now."""
    store.replace(document, "laptop")
    crew = store.document().id_of("crew", CREW)
    whose = update(tables.device).where(tables.device.c.role == "crew").values(crew=crew)
    store._plainly(lambda connection: connection.execute(whose))


def _again(store: Store, role: Role) -> None:
    if store.device_of(role * 10) is None:
        raise AssertionError(f"the device that may {role} was forgotten by a request of the storm")


def _ask(
    operation: Any, clients: dict[str, TestClient], each: int, roles_each: int, seed_: int, told: Told
) -> None:
    """Requests of one operation."""
    asked = 0

    @seed(seed_)
    @settings(
        max_examples=each, deadline=None, suppress_health_check=list(HealthCheck), database=None,
        phases=(Phase.generate,),
    )  # fmt: skip
    @given(case=operation.as_strategy())
    def ask(case: Any) -> None:
        nonlocal asked
        asked += 1
        given_ = case.as_transport_kwargs(base_url=f"http://{HOST}")
        for who, client in clients.items():
            if who != "laptop" and asked > roles_each:
                continue
            sent = {**given_, "headers": {**dict(given_.get("headers") or {}), "host": HOST, **client.headers}}
            sent.pop("cookies", None)
            began = time.monotonic()
            answered = client.request(**sent, follow_redirects=False)
            took = time.monotonic() - began
            told.requests += 1
            told.by[who, answered.status_code] += 1
            told.slowest = max(told.slowest, (took, f"{case.method} {case.path}"))
            wrong = judged(who, case.method, case.path, answered)
            if wrong:
                told.wrong.append(f"{who}: {case.method} {case.path}: {answered.status_code}: {wrong}")

    ask()


def main(arguments: Sequence[str], say: Callable[[str], None] = print) -> int:
    """What `make storm` runs."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--requests", type=int, default=20_000)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args(arguments)
    warnings.simplefilter("ignore")
    began = time.monotonic()
    with tempfile.TemporaryDirectory() as folder:
        told = storm(asked.requests, 10, 10, asked.seed, Path(folder))
    say(f"{told.requests} requests to {len(told.paths)} routes in {time.monotonic() - began:.0f} s")
    for who in WHO:
        say(f"{who}: {', '.join(f'{n} x {status}' for (one, status), n in sorted(told.by.items()) if one == who)}")
    say(f"slowest {told.slowest[0]:.2f} s: {told.slowest[1]}")
    say("\n".join(told.wrong[:50]) or "No fault of the server, nobody got what is not theirs.")
    return 1 if told.wrong else 0
