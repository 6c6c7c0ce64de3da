"""Lists of carriers by address, both ways: ours served with a key of its own, theirs fetched within bounds."""

from __future__ import annotations

import hashlib
import json
import re
import ssl
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient
from tests.web.conftest import desk_of_client
from tests.web.outside import open_pages

from linkwright.desk.fetch import MOST_BYTES, fetch
from linkwright.door.lan import lan_addresses
from linkwright.shoot.errors import InputError
from linkwright.store import Store

Answer = Callable[[BaseHTTPRequestHandler], None]


@contextmanager
def serving(answer: Answer) -> Iterator[str]:
    """The address of somebody who answers."""

    class Handler(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            with suppress(OSError):  # whoever asked went
                answer(self)

        def log_message(self, *_: Any) -> None:
            pass

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    try:
        yield f"http://127.0.0.1:{server.server_address[1]}/carriers"
    finally:
        server.shutdown()
        server.server_close()


def says(status: int, body: bytes = b"", **headers: str) -> Answer:
    """Somebody who says the same each time."""

    def answer(handler: BaseHTTPRequestHandler) -> None:
        handler.send_response(status)
        for key, value in headers.items():
            handler.send_header(key, value)
        handler.end_headers()
        handler.wfile.write(body)

    return answer


def forever(handler: BaseHTTPRequestHandler) -> None:
    handler.send_response(200)
    handler.end_headers()
    while True:
        handler.wfile.write(b" " * 65_536)


def slowly(handler: BaseHTTPRequestHandler) -> None:
    handler.send_response(200)
    handler.end_headers()
    while True:
        handler.wfile.write(b" ")
        handler.wfile.flush()
        time.sleep(0.01)


@pytest.mark.parametrize(
    ("answer", "told"),
    [
        (says(302, Location="http://127.0.0.1:1/secret"), "leads elsewhere, which is not followed"),
        (says(401), r"answers 401 \(is the token right\?\)"),
        (says(500), "answers 500; expected a list"),
        (says(200, b"\xff\xfe"), "is not UTF-8"),
        (forever, f"more than {MOST_BYTES // 1024 // 1024} MiB"),
        (slowly, "no answer in time"),
        (lambda _handler: time.sleep(3), "no answer in time"),
    ],
)
def test_who_answers_otherwise_is_one_sentence(answer: Answer, told: str) -> None:
    with serving(answer) as address, pytest.raises(InputError, match=told):
        fetch(address, within_s=1.0 if "time" in told else 20.0)


@pytest.mark.parametrize(
    "address", ["file:///etc/hostname", "ftp://127.0.0.1/x", "http://", "http://a b/", "http://u:p@127.0.0.1/",
                "http://127.0.0.1:99999/", "http://127.0.0.1:1/"],
)  # fmt: skip
def test_what_is_no_address_is_one_sentence(address: str) -> None:
    with pytest.raises(InputError, match=r"is no address|cannot be fetched"):
        fetch(address, within_s=2.0)


def test_theirs_is_fetched_taken_in_and_held_against_what_they_sent_before(demo: TestClient) -> None:
    store = desk_of_client(demo).store
    lists = [
        "name,carrier_mhz,place\nStage 1,606.3,Pans\nStage 2,607.1,Pans\nRadio car,608.5,Pans\n",
        "name,carrier_mhz,place\nStage 1,606.3,Pans\nStage 2,609.9,Pans\nChoir,611.1,Pans\n",
    ]
    asked: list[str | None] = []

    def answer(handler: BaseHTTPRequestHandler) -> None:
        asked.append(handler.headers["authorization"])
        says(200, lists[min(len(asked), 2) - 1].encode())(handler)

    def others() -> dict[str, float]:
        entries = store.document().entries("other")
        return {str(one["name"]): one["carrier_mhz"] for _, one in entries if "carrier_mhz" in one}

    before, links = others(), store.document().ids["link",]
    with serving(answer) as address:
        body = {"address": address, "token": "their-key"}
        first = demo.post("/sheets/fetch", json=body)
        assert first.status_code == 200, first.text
        assert re.search(
            r"\d+ bytes from http://127\.0\.0\.1:\d+/carriers at \d\d:\d\d:\d\d", " ".join(first.json()["says"])
        )
        assert others() == before | {"Stage 1": 606.3, "Stage 2": 607.1, "Radio car": 608.5}
        second = demo.post("/sheets/fetch", json=body)
    told = " ".join(second.json()["says"])
    assert "1 new, 1 gone, 1 changed" in told
    assert "Stage 2: 607.100 to 609.900 MHz" in told
    assert "Choir is new, on 611.100 MHz" in told
    assert "Radio car is gone, was on 608.500 MHz" in told
    assert others() == before | {"Stage 1": 606.3, "Stage 2": 609.9, "Choir": 611.1}
    assert asked == ["Bearer their-key"] * 2
    assert store.document().ids["link",] == links, "nothing else becomes another entry"
    assert demo.post("/api/undo").status_code == 200
    assert others() == before | {"Stage 1": 606.3, "Stage 2": 607.1, "Radio car": 608.5}


def test_what_was_changed_here_by_hand_stays(demo: TestClient) -> None:
    store = desk_of_client(demo).store
    with serving(says(200, b"name,carrier_mhz\nStage 1,606.3\n")) as address:
        demo.post("/sheets/fetch", json={"address": address})
        id_ = store.document().id_of("other", "Stage 1")
        assert id_ is not None
        store.set_field(("other", id_, "radiated_mw"), None, 10, "laptop")
        port = address
    with serving(says(200, b"name,carrier_mhz\nStage 1,607.5\n")):
        files = {"file": (port, b"name,carrier_mhz\nStage 1,607.5\n", "text/csv")}
        assert demo.post("/sheets/neighbours", files=files).status_code == 200
    assert store.document().at("other", id_, "carrier_mhz") == 606.3


def test_ours_is_served_to_a_key_that_gives_nothing_else(demo: TestClient) -> None:
    made = demo.post("/connect/key", data={"name": "Tower", "role": "list"}).text
    key = re.search(r'class="key">([^<]+)<', made)
    assert key is not None
    assert "/list/carriers.json" in made
    theirs = TestClient(demo.app, headers={"authorization": f"Bearer {key[1]}"}, client=("192.0.2.8", 4711))
    document = json.loads(theirs.get("/list/carriers.json").text)
    assert document["format"] == "open-carrier-list/1"
    assert len(document["carriers"]) > 6
    assert theirs.get("/list/carriers.csv").text.startswith("name,carrier_mhz,use")
    for path in ("/plan", "/plan.json", "/events", "/own", "/sheets/file/carriers.json", "/"):
        assert theirs.get(path, follow_redirects=False).status_code == 403


def test_two_laptops_swap_encrypted_by_the_fingerprint_of_the_certificate(store: Store, tmp_path: Path) -> None:
    from tests.web.conftest import demo_into, wait_for_plan

    of_lan = next(iter(lan_addresses()), "")
    if not of_lan:
        pytest.skip("this machine is on no network")
    demo_into(store)
    store.add_device("Tower", "list", "k" * 40, "laptop")
    with open_pages(store, tmp_path / "door", of_lan) as (app, lan):
        wait_for_plan(app.state.pages.desk)
        certificate = hashlib.sha256(
            ssl.PEM_cert_to_DER_cert(lan.certificate.file.read_text("ascii")) if lan.certificate else b""
        ).hexdigest()
        address = f"https://{of_lan}:{lan.port}/list/carriers.json"
        assert fetch(address, "k" * 40, certificate.upper()).text.startswith("{")
        with pytest.raises(InputError, match="another certificate than was told"):
            fetch(address, "k" * 40, "00" * 32)
        with pytest.raises(InputError, match="nobody vouches for"):
            fetch(address, "k" * 40)
