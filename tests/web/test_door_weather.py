"""Bad weather from the network: half requests, endless bodies. The crew comes in all the same."""

from __future__ import annotations

import asyncio
import contextlib
import errno
import io
import json
import logging
import os
import socket
from collections.abc import Coroutine, Iterator
from pathlib import Path

import pytest
from tests.web.conftest import client_of
from tests.web.outside import Outside, apart, outside

from linkwright.door import bodies
from linkwright.door.keeper import MOST_EACH, PACE, WAIT_S, Keeper
from linkwright.door.quiet import MOST, SPAN_S, Seldom
from linkwright.door.sockets import Door
from linkwright.store import Store

JSON = {"Content-Type": "application/json"}
PHONE, STRANGER, LAPTOP = "127.0.0.7", "127.0.0.9", "127.0.0.1"


@pytest.fixture(scope="module")
def open_house(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Outside]:
    """A job that is open to the network, with 1,024 descriptors."""
    with outside(tmp_path_factory.mktemp("door"), "--lan", "--plain") as running:
        yield running


def half_requests(to: Outside, address: str, count: int) -> list[socket.socket]:
    """Connections in which a request is begun and not ended."""
    held = []
    for _ in range(count):
        with contextlib.suppress(OSError):  # some are ended before they are asked anything
            sock = to.connect(address)
            held.append(sock)
            sock.sendall(b"GET /plan HTTP/1.1\r\nHost: ")
    return held


@pytest.mark.parametrize("address", [STRANGER, LAPTOP])
def test_eleven_hundred_half_requests_keep_nobody_out(open_house: Outside, address: str) -> None:
    token = open_house.key()
    bearer = {"Authorization": f"Bearer {token}"}
    held = half_requests(open_house, address, 1100)
    try:
        assert open_house.ask(PHONE, "GET", "/plan", headers=bearer)[0] == 200
        assert open_house.ask(LAPTOP, "GET", "/plan")[0] == 200
        assert open_house.ask("127.0.0.8", "GET", "/join")[0] == 200, "somebody new may join"
        assert open_house.errors.stat().st_size < 20_000
    finally:
        for sock in held:
            sock.close()


def test_a_slow_head_is_not_waited_for() -> None:
    """By a clock of the test's own."""
    keeper, ended = Keeper(), []
    visit = keeper.come(STRANGER, 0.0)
    assert visit is not None
    visit.end = lambda: ended.append(visit)
    keeper.sweep(WAIT_S - 0.1)
    assert not ended
    keeper.sweep(WAIT_S + 0.1)
    assert ended == [visit]
    assert not keeper.held()


class Given(socket.socket):
    """A socket that gives what it is told to give when a connection is asked for."""

    def __init__(self, *answers: Exception | tuple[socket.socket, tuple[str, int]]) -> None:
        super().__init__()
        self.answers = list(answers)

    def accept(self) -> tuple[socket.socket, tuple[str, int]]:
        answer = self.answers.pop(0)
        if isinstance(answer, Exception):
            raise answer
        return answer


def test_where_no_descriptor_is_left_who_came_is_ended_and_where_nobody_came_nothing_is_said(
    caplog: pytest.LogCaptureFixture,
) -> None:
    kept, came = socket.socketpair()
    with Given(OSError(errno.EMFILE, "Too many open files"), (came, (STRANGER, 1)), BlockingIOError()) as sock:
        door = Door(sock, Keeper(), lambda _visit: pytest.fail("nobody may begin"), None)
        door._take()
        assert kept.recv(1) == b"", "it is ended, not left waiting"
        assert [record.getMessage() for record in caplog.records] == [
            "A connection could not be taken (Too many open files)."
        ]
        door._take()
        assert len(caplog.records) == 1
        assert not sock.answers
        os.close(door._spare)
    kept.close()


def test_room_of_one_kind_is_not_taken_by_another() -> None:
    keeper = Keeper(1024)
    keeper.know(PHONE)
    crowd = [keeper.come(f"10.{n // 250}.{n % 250}.9", 0.0) for n in range(1000)]
    kept = [visit for visit in crowd if visit is not None]
    for visit in kept:
        keeper.asks(visit)  # each is busy: none may be sent away for another
    assert sum(keeper.held().values()) == keeper.most["strange"]
    assert keeper.come("10.9.9.9", 0.0) is None
    assert keeper.come(PHONE, 0.0) is not None
    assert keeper.come(LAPTOP, 0.0) is not None
    assert sum(keeper.most.values()) < 1024 - 100, "files and databases have descriptors of their own"


def test_an_address_has_no_more_than_its_share_and_its_oldest_goes() -> None:
    keeper = Keeper(1024)
    gone: list[int] = []
    for n in range(MOST_EACH["strange"] + 5):
        visit = keeper.come(STRANGER, float(n))
        assert visit is not None
        visit.end = lambda n=n: gone.append(n)  # type: ignore[misc]
    assert gone == [0, 1, 2, 3, 4]
    assert keeper.held() == {STRANGER: MOST_EACH["strange"]}


def test_an_address_may_begin_so_many_connections_a_second() -> None:
    keeper, now = Keeper(1024), 0.0
    came = []
    for n in range(10_000):
        now = n / 1000  # a thousand a second, for ten
        visit = keeper.come(STRANGER, now)
        if visit is not None:
            came.append(now)
            keeper.leave(visit)
    a_second, at_once = PACE["strange"]
    assert len(came) == pytest.approx(at_once + a_second * 10, abs=2)
    assert keeper.come("127.0.0.8", now) is not None, "others are not held up"
    assert keeper.come(STRANGER, now + 1.0) is not None


def test_an_unpaired_body_is_not_read_beyond_a_few_kilobytes(open_house: Outside) -> None:
    before = open_house.resident_mib()
    status, _, text = open_house.ask(STRANGER, "POST", "/join", b"x" * 5000, JSON)
    assert status == 413
    assert json.loads(text)["says"] == ["this takes at most 4 kiB; send less at once"]
    sent = 0
    for head in ("Content-Length: 1500000000\r\n", "Transfer-Encoding: chunked\r\n"):
        sock = open_house.connect(STRANGER)
        line = f"POST /join HTTP/1.1\r\nHost: 127.0.0.1:{open_house.port}\r\n{head}"
        sock.sendall(f"{line}Origin: http://127.0.0.1:{open_house.port}\r\n\r\n".encode())
        with contextlib.suppress(OSError):
            for _ in range(1600):
                sock.sendall(b"10000\r\n" + b"x" * 65536 + b"\r\n")
                sent += 65536
        sock.close()
    assert sent < 32 * 1024 * 1024, "what the kernel's buffers hold, not a hundred megabytes each"
    assert open_house.resident_mib() - before < 30
    # another one, who has not used up how many connections it may begin
    refused = open_house.ask("127.0.0.10", "POST", "/api/import", b"x" * 5000)
    assert refused[0] == 401
    assert refused[1]["connection"] == "close"


def test_a_paired_device_hears_why_its_body_is_too_long(open_house: Outside) -> None:
    before = open_house.resident_mib()
    body = b'{"path": ["shoot", "title"], "text": "' + b"x" * bodies.MOST + b'"}'
    status, _, text = open_house.ask(LAPTOP, "POST", "/api/field", body, JSON)
    assert status == 413
    assert json.loads(text)["says"] == ["this takes at most 2 MiB; send less at once"]
    pieces = io.BytesIO(body)  # sent in chunks, without a length that could be looked at before
    headers = {**JSON, "Transfer-Encoding": "chunked"}
    status, _, text = open_house.ask(LAPTOP, "POST", "/api/field", pieces, headers)
    assert (status, json.loads(text)["says"]) == (413, ["this takes at most 2 MiB; send less at once"])
    assert open_house.resident_mib() - before < 40


def test_every_route_that_takes_a_file_says_how_large_and_no_other_does() -> None:
    import inspect

    from linkwright.web.pages import ROUTERS

    files = {
        route.path
        for router in ROUTERS
        for route in router.routes
        if "UploadFile" in str(inspect.signature(route.endpoint).parameters.values())
    }
    large = {path: most for path, most in bodies.MOST_OF.items() if most > bodies.MIB}
    assert files == {path for path, most in large.items() if most % bodies.MIB == bodies.AROUND}


def test_the_log_of_faults_says_the_same_a_few_times_a_minute() -> None:
    now = [0.0]
    seldom, said = Seldom(lambda: now[0]), []
    for n in range(1000):
        now[0] = n * SPAN_S * 2 / 1000
        record = logging.LogRecord("x", 30, "", 0, "Invalid request from %s", (f"10.0.0.{n}",), None)
        if seldom.filter(record):
            said.append(record.getMessage())
    assert len(said) <= 3 * MOST
    assert "(and 495 more like it before)" in said[MOST]


def test_a_body_that_stops_coming_is_given_up(open_house: Outside, monkeypatch: pytest.MonkeyPatch) -> None:
    del open_house
    monkeypatch.setattr(bodies, "STRANGER_S", 0.05)
    waits, wait_for = list[float](), asyncio.wait_for

    def told(what: Coroutine[object, object, object], wait_s: float) -> Coroutine[object, object, object]:
        waits.append(wait_s)
        return wait_for(what, wait_s)

    monkeypatch.setattr("linkwright.door.bodies.asyncio.wait_for", told)

    async def never() -> dict[str, object]:
        await asyncio.sleep(60)
        return {}

    sent: list[dict[str, object]] = []

    async def run() -> None:
        async def app(_scope: object, receive: object, _send: object) -> None:
            assert (await receive())["type"] == "http.disconnect"  # type: ignore[operator]

        async def send(message: dict[str, object]) -> None:
            sent.append(message)

        from linkwright.door.gate import Person

        scope = {
            "type": "http",
            "method": "POST",
            "path": "/join",
            "headers": [],
            "person": Person("x", "look", False),
        }
        await bodies.Bodies(app)(scope, never, send)  # type: ignore[arg-type]

    apart(run)
    assert sent[0]["status"] == 408
    assert len(waits) == 1
    assert waits[0] <= 0.05


def test_what_a_full_table_of_descriptors_costs(tmp_path: Path) -> None:
    """With hardly a descriptor to spare, connections are ended rather than left to wait, and little is written."""
    with outside(tmp_path, "--lan", "--plain", descriptors=160) as running:
        held = half_requests(running, STRANGER, 200)
        assert running.ask(LAPTOP, "GET", "/plan")[0] == 200
        for sock in held:
            sock.close()
        assert running.errors.stat().st_size < 20_000


def test_what_cannot_be_read_or_kept_is_one_sentence(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    with client_of(store) as client:
        head = {"content-type": "multipart/form-data; boundary=x"}
        for body in (b"", b"--x", b"nothing of the kind", b"--x\r\nContent-Disposition: form-data"):
            answered = client.post("/api/attach", content=body, headers=head)
            assert answered.status_code in (400, 422)
            assert len(answered.json()["says"]) == 1
        assert client.post("/nothing", json={}).json() == {"says": ["Not Found"]}

        def full(**_: object) -> None:
            raise OSError(errno.ENOSPC, "No space left on device")

        monkeypatch.setattr("starlette.formparsers.SpooledTemporaryFile", full)
        answered = client.post("/api/attach", files={"file": ("a.csv", b"566,1")})
        assert answered.status_code == 507
        assert "No space left on device" in answered.json()["says"][0]
