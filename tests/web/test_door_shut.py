"""Who was let in may be sent away at once, and who was not learns nothing."""

from __future__ import annotations

import json
import re
import socket
from collections.abc import AsyncIterator, Iterator
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient
from tests.web.conftest import HOST, ORIGIN, Served, client_of, desk_of_client, planned, served
from tests.web.outside import apart

from linkwright.store import Store
from linkwright.web.hub import MOST_WAITING, Hub

PHONE = "127.0.0.7"
UNFIT = ["half \ud800 a sign", "turned \u202e round", "kept \u2066 apart", "bell \x07", "escape \x1b[31m"]


@pytest.fixture
def pages(tmp_path: Path) -> Iterator[Served]:
    """Pages on loopback; 127.0.0.7 is a device on the network."""
    with served(tmp_path / "job.lwjob") as there:
        yield there


def stream_of(pages: Served, token: str, path: str = "/events") -> socket.socket:
    """An open stream of events of a device, after its first event."""
    host, port = pages.url.removeprefix("http://").split(":")
    sock = socket.create_connection((host, int(port)), 60, (PHONE, 0))
    sock.sendall(f"GET {path} HTTP/1.1\r\nHost: {host}:{port}\r\nCookie: linkwright={token}\r\n\r\n".encode())
    said = b""
    while b"event: hello" not in said:
        piece = sock.recv(65536)
        assert piece, said
        said += piece
    return sock


def test_a_forgotten_devices_open_stream_ends_and_no_other(pages: Served, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("linkwright.web.hub.BEAT_S", 600.0)  # nothing but being told ends it while this waits
    device = pages.store.add_device("Phone", "look", "p" * 40, "laptop")
    pages.store.add_device("Other", "look", "o" * 40, "laptop")
    forgotten, other = stream_of(pages, "p" * 40), stream_of(pages, "o" * 40)
    pages.store.revoke_device(device.id, "laptop")
    said = b""
    while not said.endswith(b"0\r\n\r\n"):  # the end of its chunks: it is ended, not broken off
        piece = forgotten.recv(65536)
        assert piece
        said += piece
    pages.store.set_field(("shoot", "title"), None, "Quay", "laptop")
    text = b""
    while b"event: changed" not in text:
        text += other.recv(65536)
    forgotten.close()
    other.close()


def test_a_slow_page_is_told_to_load_again_and_the_others_miss_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("linkwright.web.hub.TOGETHER_S", 0.0)

    async def run() -> tuple[list[str], list[str]]:
        hub = Hub()
        slow, quick = hub.stream(dict), hub.stream(dict)
        await anext(slow)
        await anext(quick)
        got = []
        for n in range(MOST_WAITING + 1):
            hub._hand_out(f"event {n}")
            got.append(await anext(quick))
        return got, [await anext(slow)]

    got, behind = apart(run)
    assert got == [f"event {n}" for n in range(MOST_WAITING + 1)]
    assert behind == ["event: behind\ndata: {}\n\n"]


def test_a_stream_of_a_token_that_ended_ends(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("linkwright.web.hub.BEAT_S", 0.01)

    async def run() -> list[str]:
        said: AsyncIterator[str] = Hub().stream(dict, device="i1", lasts=lambda: False)
        return [one async for one in said]

    assert len(apart(run)) == 1


def test_the_page_that_lets_in_tells_nothing_of_the_job(store: Store) -> None:
    store.set_field(("shoot", "title"), None, "A secret production", "laptop")
    with client_of(store) as laptop:
        stranger = TestClient(laptop.app, base_url=f"http://{HOST}", client=("192.0.2.5", 40000))
        text = stranger.get("/join").text
        assert "secret" not in text.lower()
        assert "revision" not in text
        assert set(stranger.get("/openapi.json").text) & {"{"} == set()


def test_other_pages_may_lead_here_and_not_look(store: Store) -> None:
    cases: tuple[tuple[str, dict[str, str], int], ...] = (
        ("/events", {"sec-fetch-site": "cross-site", "sec-fetch-dest": "empty"}, 403),
        ("/events", {"sec-fetch-site": "same-site", "sec-fetch-dest": "image"}, 403),
        ("/events", {"origin": "http://evil.example"}, 403),
        ("/plan", {"sec-fetch-site": "cross-site", "sec-fetch-dest": "iframe"}, 403),
        ("/plan", {"origin": "null"}, 403),
        ("/plan", {"sec-fetch-site": "cross-site", "sec-fetch-dest": "document"}, 200),
        ("/plan", {"sec-fetch-site": "same-origin", "sec-fetch-dest": "empty"}, 200),
        ("/plan", {"sec-fetch-site": "none", "sec-fetch-dest": "document"}, 200),
        ("/plan", {}, 200),
    )
    with client_of(store) as client:
        client.headers.pop("origin")
        for path, headers, status in cases:
            assert client.get(path, headers=headers).status_code == status, (path, headers)


def test_what_no_name_may_hold_is_one_sentence_wherever_it_enters(store: Store) -> None:
    with client_of(store) as client:
        for text in UNFIT:
            refused_everywhere(client, text)
        for page in ("/shoot", "/plan", "/live", "/history", "/connect"):
            assert client.get(page).status_code == 200
        assert store.document().document == {}


def refused_everywhere(client: TestClient, text: str) -> None:
    """Send a text to wherever a name is taken."""

    def send(path: str, body: Any) -> None:
        head = {"content-type": "application/json"}
        answered = client.post(path, content=json.dumps(body), headers=head)
        assert answered.status_code in (400, 422), (path, answered.text)
        assert len(answered.json()["says"]) == 1

    for value in ({"name": text}, {text: "x"}, {"tunes_mhz": text}):
        send("/api/entry", {"path": ["link"], "value": value})
    send("/api/entry", {"path": ["link", text], "value": {"name": "x"}})
    send("/api/field", {"path": ["shoot", "title"], "text": text})
    send("/api/field", {"path": ["transmitter", text, "use"], "text": "x"})
    send("/api/paste", {"path": ["link"], "key": "name", "text": text})
    send("/api/equipment", {"kind": "transmitter", "name": text})
    send("/log/happen", {"kind": "note", "text": text})
    file = {"file": ("a.toml", f'[shoot]\ntitle = "{text}"'.encode("utf-8", "surrogatepass"))}
    assert client.post("/api/import", files=file).status_code == 400


def test_names_in_any_language_are_taken(store: Store) -> None:
    for n, name in enumerate(("Zoë", "שחקן א", "الممثل", "俳優", "🎤 boom", "a\u200fb")):
        store.insert(("link",), {"name": name, "notes": "two\nlines\tand a tab"}, "laptop")
        assert store.document().document["link"][n]["name"] == name


def test_an_entry_of_a_hundred_thousand_keys_is_refused(store: Store) -> None:
    with client_of(store) as client:
        for count in (201, 100_000):
            value = {f"k{n}": 1 for n in range(count)}
            answered = client.post("/api/entry", json={"path": ["link"], "value": value})
            assert answered.status_code == 422
            assert len(answered.text) < 1000
        inline = "{ " + ", ".join(f"k{n} = 1" for n in range(1500)) + " }"
        refused = client.post("/api/field", json={"path": ["shoot", "title"], "text": inline, "seen": "null"})
        assert refused.status_code in (200, 400), "text of a text field stays text"
        deep = client.post("/api/field", json={"path": ["link", "x", "at"], "text": inline})
        assert deep.status_code in (400, 404, 409)


def test_the_same_name_of_an_action_by_two_devices_is_two_actions(store: Store) -> None:
    with client_of(store) as laptop:
        store.add_device("Twin", "log", "a" * 40, "laptop")
        store.add_device("Twin", "log", "b" * 40, "laptop")
        for token in ("a" * 40, "b" * 40):
            phone = TestClient(laptop.app, headers=ORIGIN, base_url=f"http://{HOST}", client=("192.0.2.5", 4))
            phone.cookies.set("linkwright", token)
            body = {"kind": "note", "text": f"by {token[0]}"}
            assert phone.post("/log/happen", json=body, headers={"x-once": "same"}).status_code == 200
        notes = [happening.data["text"] for happening in store.happenings()]
        assert notes == ["by a", "by b"]


def test_what_is_typed_never_runs_in_a_page(demo: TestClient) -> None:
    """A mark that would run, in every kind of text that a page shows."""
    mark = "<img src=x onerror=alert(1)>\"'`{{7*7}}"
    desk = desk_of_client(demo)
    for path in (["shoot", "title"], ["link", desk.store.document().ids["link",][0], "name"]):
        edit = {"path": path, "seen": json.dumps(desk.store.document().at(*path)), "text": f"{mark}{path[-1]}"}
        assert demo.post("/api/field", json=edit).status_code == 200, "the calls go on naming the link"
    desk.store.add_device(mark, "look", "m" * 40, "laptop")
    desk.store.pass_door("joined", mark, mark)
    demo.post("/log/happen", json={"kind": "note", "text": mark})
    demo.post("/api/attach", data={"use": "picture"}, files={"file": (mark, b"\x89PNG\r\n\x1a\n")})
    planned(demo)
    pages = (
        "shoot",
        "air",
        "plan",
        "ground",
        "sound",
        "day",
        "setup",
        "sheets",
        "live",
        "wrap",
        "history",
        "connect",
    )
    shown = 0
    for page in pages:
        text = demo.get(f"/{page}").text
        assert "<img src=x" not in text, page
        assert "49" not in re.findall(r"`(\d+)", text), page
        shown += "&lt;img src=x" in text
    assert shown == len(pages), "the title alone stands on each"
