"""Who may see and do what: every row of docs/roles.md with a session of each role; a crew that tries everything."""

from __future__ import annotations

import http.client
import re
import threading
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import httpx2
import pytest
from fastapi.testclient import TestClient
from starlette.responses import PlainTextResponse
from starlette.routing import Route
from tests.web.conftest import HOST, ORIGIN, client_of, planned
from tests.web.event import LINK, SECRET, event_into, telephone, until
from tests.web.outside import apart, open_pages

from linkwright.door.book import Book
from linkwright.door.gate import Gate
from linkwright.door.keeper import Keeper
from linkwright.store import Store
from linkwright.web.pages import ROUTERS

ROOT = Path(__file__).parents[2]
HEADS = ("laptop", "edit", "log", "look", "crew", "list", "not paired")
ROWS = [
    (method, path, dict(zip(HEADS, (cell.strip() == "yes" for cell in cells.split("|")[:7]), strict=True)))
    for method, path, cells in re.findall(
        r"^\| (\w+) (/\S*) \| (.*)$", (ROOT / "docs" / "roles.md").read_text("utf-8"), re.M
    )
]
METHODS = ("GET", "HEAD", "OPTIONS", "POST", "PUT", "PATCH", "DELETE")
#: What of others a crew of the event must never be sent.
OTHERS = ("Singer", "Lantern", "Concert", "Host", "tent at noon", SECRET["Lantern"], "7946 0002", "laptop")

#: A request: method, address, and what goes with it.
Asked = tuple[str, str, dict[str, Any]]


@pytest.fixture
def crews(store: Store) -> dict[str, str]:
    """The ids of the crews of an event, which is in the store."""
    return event_into(store)


def addressed(path: str) -> str:
    """An address of a route: what it leaves open is filled."""
    return re.sub(r"\{[^}]*\}", "x", path)


def test_the_table_has_every_route() -> None:
    there = {(method, path) for method, path, _ in ROWS}
    for router in ROUTERS:
        for route in router.routes:
            assert isinstance(route, Route)
            assert {(method, route.path) for method in (route.methods or set()) - {"HEAD"}} <= there
    assert len(there) == len(ROWS) > 150


def test_every_row_with_a_session_of_each_role(store: Store, crews: dict[str, str]) -> None:
    async def passed(scope: Any, receive: Any, send: Any) -> None:
        await PlainTextResponse("passed")(scope, receive, send)

    gate = Gate(passed, store, {HOST}, Keeper(), Book(store), store.now)
    laptop = TestClient(gate, headers=ORIGIN)
    phones = {role: telephone(laptop, store, role) for role in ("edit", "log", "look", "list")}
    sessions = {
        "laptop": laptop, **phones, "crew": telephone(laptop, store, "crew", crews["Harbour"]),
        "not paired": TestClient(gate, headers=ORIGIN),
    }  # fmt: skip
    for who, session in sessions.items():
        address = "127.0.0.1" if who == "laptop" else "192.0.2.9"
        asked: list[Asked] = [(method, addressed(path), {}) for method, path, _ in ROWS]
        for (method, path, may), answered in zip(ROWS, answers(gate, session, address, asked), strict=True):
            expected = (200,) if may[who] else (401, 403)
            assert answered.status_code in expected, f"{who}: {method} {path}: {answered.status_code}"


def answers(app: Any, session: TestClient, address: str, asked: Sequence[Asked]) -> list[httpx2.Response]:
    """What a session is answered from an address; one after the other, in one loop, as each costs a millisecond."""

    async def all_of() -> list[httpx2.Response]:
        way = httpx2.ASGITransport(app, client=(address, 4711))
        async with httpx2.AsyncClient(transport=way, base_url=f"http://{HOST}", headers=session.headers) as client:
            return [await client.request(method, path, **more) for method, path, more in asked]

    return apart(all_of)


def everything(foreign: dict[str, Any], under: str = "") -> list[Asked]:
    """Every address (under one), by every method, with what is others' in it."""
    return [
        (method, addressed(path), {"params" if method in ("GET", "HEAD", "OPTIONS") else "json": foreign})
        for method in METHODS
        for path in dict.fromkeys(path for _, path, _ in ROWS)
        if path.startswith(under) and (method, path) != ("GET", "/own/events")  # a stream, below
    ]


def test_a_crew_tries_every_address_with_every_method(store: Store, crews: dict[str, str]) -> None:
    with client_of(store) as laptop:
        planned(laptop)
        theirs = telephone(laptop, store, "crew", crews["Lantern"])
        wanted = {"kit": " | ".join(LINK.values()), "site": "Hall", "note": "tent at noon", "date": "2027-05-15"}
        assert theirs.post("/own/ask", json=wanted).status_code == 200
        (request,) = store.requests()
        singer = until(lambda: store.hatch(crews["Lantern"]).carriers())[0]
        phone = telephone(laptop, store, "crew", crews["Harbour"])
        before = store.document().document
        tries: tuple[dict[str, Any], ...] = (
            {"request": request.id, "seen": "asked"}, {"link": singer.link, "text": "x"},
            {"link": singer.link, "call": singer.call, "khz": singer.khz, "act": "heard"},
            {**wanted, "call": "Concert"}, {"of": request.id, "crew": crews["Lantern"], "text": "x"},
        )  # fmt: skip
        for number, foreign in enumerate(tries):
            asked = everything(foreign, "/own" if number else "")
            for (method, path, _), answered in zip(
                asked, answers(laptop.app, phone, "192.0.2.7", asked), strict=True
            ):
                allowed = path == "/" or path.startswith(("/own", "/join", "/static/"))
                assert answered.status_code == 403 or allowed, f"{method} {path}: {answered.status_code}"
                assert answered.status_code < 500
                mine = answered.text.replace(str(foreign), "")
                assert [secret for secret in OTHERS if secret in mine and secret not in str(foreign)] == [], path
                assert f"{singer.khz / 1000:.3f}" not in mine
        assert store.document().document == before
        assert store.request(request.id) == request
        assert store.hatch(crews["Lantern"]).carriers() == [singer]
        assert [one.crew for one in store.requests() if one.id != request.id] == [], "nor asked in its name"


def heard(port: int, token: str, said: list[str], ready: threading.Event) -> http.client.HTTPConnection:
    """A stream of a crew's telephone: what it says is put into a list."""
    connection = http.client.HTTPConnection("127.0.0.1", port, source_address=("127.0.0.7", 0), timeout=60)
    headers = {"Host": f"127.0.0.1:{port}", "authorization": f"Bearer {token}"}
    connection.request("GET", "/own/events", headers=headers)
    answer = connection.getresponse()
    assert answer.status == 200, answer.read()

    def read() -> None:
        try:
            for line in answer:
                said.append(line.decode().strip())
                ready.set()
        except (OSError, ValueError, AttributeError):
            pass  # closed by the test

    threading.Thread(target=read, daemon=True).start()
    return connection


def test_a_crews_stream_tells_what_concerns_it_and_nothing_else(store: Store, crews: dict[str, str]) -> None:
    token, said, ready = "t" * 40, list[str](), threading.Event()
    store.add_device("Ines", "crew", token, "laptop", crew=crews["Harbour"])
    with open_pages(store, None, "127.0.0.1") as (app, lan):
        desk = app.state.pages.desk
        until(lambda: len(store.carriers_told()) == 2)
        connection = heard(lan.port, token, said, ready)
        assert ready.wait(30)
        ids = {str(link["name"]): id_ for id_, link in store.document().entries("link")}
        store.set_field(("link", ids["Singer"], "voice"), None, "loud", "laptop")
        store.set_field(("link", ids["Host"], "voice"), None, "loud", "laptop")
        store.set_field(("crew", crews["Lantern"], "phone"), "+44 20 7946 0002", "+44 20 7946 0003", "laptop")
        store.happen("notice", crews["Lantern"], {"text": "x"}, None, "laptop")
        store.hatch(crews["Lantern"]).trouble("", "x", "Bo")
        until(lambda: not desk.snapshot().planning.busy and not desk.snapshot().plan_is_old)
        for event in ("changed", "plan", "live", "alarms", "air", "work", "listen", "readings", "fitted"):
            desk.listeners.tell(event, {"x": "Lantern"})
        desk.listeners.tell("own", {"crew": crews["Lantern"]})
        store.happen("notice", crews["Harbour"], {"text": "x"}, None, "laptop")
        until(lambda: "event: own" in said)
        assert [line for line in said if line] == [
            "retry: 1000",
            "event: hello",
            "data: {}",
            "event: own",
            "data: {}",
        ]
        store.revoke_device(store.devices()[0].id, "laptop")
        connection.sock.close() if connection.sock else None


def test_what_concerns_a_crew_is_told(store: Store, crews: dict[str, str]) -> None:
    from linkwright.desk.crews import ALL, concerned

    def of(*made: Any) -> set[str]:
        newest = store.changes(store.revision - len(made))
        names = {id_: name for name, id_ in crews.items()}
        return {names.get(id_, id_) for id_ in concerned(newest, store.document())}

    ids = {str(link["name"]): id_ for id_, link in store.document().entries("link")}
    calls = {str(call["name"]): id_ for id_, call in store.document().entries("call")}
    assert of(store.set_field(("link", ids["Pilot"], "voice"), None, "loud", "x")) == {"Harbour"}
    assert of(store.set_field(("link", ids["Host"], "crew"), None, "Lantern", "x")) == {"Lantern"}
    assert of(store.set_field(("link", ids["Host"], "crew"), "Lantern", "Harbour", "x")) == {"Harbour", "Lantern"}
    assert of(store.set_field(("call", calls["Opening"], "to"), "12:00:00", "13:00:00", "x")) == {"Harbour"}
    assert of(store.set_field(("site", store.document().ids["site",][0], "name"), "Quay", "Pier", "x")) == {ALL}
    site = store.document().ids["site",][1]
    assert of(store.set_field(("site", site, "surroundings"), "hall", "office", "x")) == set()
    assert of(store.set_field(("shoot", "title"), "Harbour week", "Harbour days", "x")) == {ALL}
    assert of(store.remove(("link", ids["Singer"]), "x", seen_revision=store.revision)) == {"Lantern"}
    assert of(store.happen("notice", "", {"text": "x"}, None, "x")) == {ALL}
    assert of(store.happen("note", crews["Harbour"], {"text": "x"}, None, "x")) == set()
    assert of(store.hatch(crews["Harbour"]).trouble("", "x", "Ines")) == {"Harbour"}
