"""A crew far larger than any: telephones that look on, change and note, while receivers send readings.

`python -m tests.storm crew --telephones 200 --changes 20 --readings 2000 --minutes 10`. Each telephone has an
address of its own, a token and an open stream; changes, pages and readings come at a steady pace, from one process
beside the server's. At the end each acknowledged change is in the job, no reading was lost, every stream has heard
of the last change, and the memory is level. How long pages and changes took is told, with how busy the machine was.
"""

from __future__ import annotations

import argparse
import asyncio
import contextlib
import functools
import itertools
import json
import os
import re
import subprocess
import sys
import tempfile
import time
from collections.abc import Awaitable, Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

import numpy as np
from tests.web.soak import HEAD, LINK, SITE

from linkwright.shoot.reading import parse_document
from linkwright.store import Store

LINKS: Final = 20
GATEWAY_HZ: Final = 4.0
PAGES: Final = ("/plan", "/live", "/shoot", "/day")
#: Pages that are opened anew each second, by all telephones together.
PAGES_HZ: Final = 5.0
#: The memory that may be added between a third of the time and its end [MiB].
MOST_MORE_MIB: Final = 60.0
#: All open their pages in the first seconds [s].
OPENING_S: Final = 10.0
#: A shorter run ends before everything that is loaded once has been [s].
WARM_S: Final = 120.0


@dataclass
class Told:
    """What came of it; times in seconds."""

    pages: list[float] = field(default_factory=list)
    changes: list[float] = field(default_factory=list)
    posts: list[float] = field(default_factory=list)
    acknowledged: list[int] = field(default_factory=list)
    made: int = 0
    readings: int = 0
    wrong: list[str] = field(default_factory=list)
    heard: dict[int, int] = field(default_factory=dict)
    opening: list[float] = field(default_factory=list)
    began_s: float = field(default_factory=time.monotonic)
    first_mib: float = 0.0
    last_mib: float = 0.0

    def note(self, times: list[float], took_s: float) -> None:
        """How long something took; the first seconds, in which all come at once, are told apart."""
        (times if time.monotonic() - self.began_s > OPENING_S else self.opening).append(took_s)

    def lines(self) -> list[str]:
        """In words."""
        took_all = {
            "pages": self.pages, "changes": self.changes, "posts of readings": self.posts,
            f"all of it in the first {OPENING_S:.0f} s": self.opening,
        }  # fmt: skip
        said = [
            f"{name}: {len(took)}, median {1000 * float(np.median(took)):.0f} ms, "
            f"99 % within {1000 * float(np.quantile(took, 0.99)):.0f} ms, longest {1000 * max(took):.0f} ms"
            for name, took in took_all.items()
            if took
        ]
        said.append(
            f"{self.readings} readings; memory {self.first_mib:.0f} MiB after a third, {self.last_mib:.0f} at last"
        )
        return said


class Phone:
    """One telephone: an address of its own, a token, one connection for what it asks and one for its stream."""

    def __init__(self, n: int, port: int, token: str) -> None:
        self.n, self.port, self.token = n, port, token
        self.address = f"127.0.{1 + n // 250}.{1 + n % 250}"
        self._pair: tuple[asyncio.StreamReader, asyncio.StreamWriter] | None = None
        self._turn = asyncio.Lock()

    async def _open(self) -> tuple[asyncio.StreamReader, asyncio.StreamWriter]:
        return await asyncio.open_connection("127.0.0.1", self.port, local_addr=(self.address, 0), limit=2**22)

    def _head(self, method: str, path: str, body: bytes) -> bytes:
        host = f"127.0.0.1:{self.port}"
        lines = [
            f"{method} {path} HTTP/1.1", f"Host: {host}", f"Origin: http://{host}",
            f"Cookie: linkwright={self.token}", "Content-Type: application/json", f"Content-Length: {len(body)}",
            "", "",
        ]  # fmt: skip
        return "\r\n".join(lines).encode()

    async def ask(self, method: str, path: str, body: Any = None) -> tuple[int, bytes, float]:
        """The status, the body, and how long it took [s]; a connection that was idle too long is opened anew."""
        data = b"" if body is None else json.dumps(body).encode()
        async with self._turn:
            began = time.monotonic()
            for _ in range(2):
                self._pair = self._pair or await self._open()
                reader, writer = self._pair
                try:
                    writer.write(self._head(method, path, data) + data)
                    head = (await reader.readuntil(b"\r\n\r\n")).decode("latin-1").lower()
                    length = re.search(r"content-length: (\d+)", head)
                    assert length is not None, head
                    answered = await reader.readexactly(int(length[1]))
                    return int(head.split()[1]), answered, time.monotonic() - began
                except (asyncio.IncompleteReadError, ConnectionError):
                    writer.close()
                    self._pair = None
        return 0, b"the connection was ended twice", time.monotonic() - began

    async def listen(self, told: Told) -> None:
        """Hold a stream open, and note the newest revision that it told."""
        reader, writer = await self._open()
        writer.write(self._head("GET", "/events", b""))
        try:
            while line := await reader.readline():
                found = re.search(rb'"revision":\s?(\d+)', line)
                if found:
                    told.heard[self.n] = max(told.heard.get(self.n, 0), int(found[1]))
            told.wrong.append(f"the stream of {self.address} ended")
        finally:
            writer.close()

    def close(self) -> None:
        """Hang up."""
        if self._pair is not None:
            self._pair[1].close()


async def _paced(rate_hz: float, seconds: float, does: Callable[[int], Awaitable[None]]) -> None:
    """Begin so many a second, whether or not the ones before are through."""
    began, under_way = time.monotonic(), set()
    for n in itertools.count():
        wait = began + n / rate_hz - time.monotonic()
        if n / rate_hz >= seconds:
            break
        await asyncio.sleep(max(0.0, wait))
        task = asyncio.ensure_future(does(n))
        under_way.add(task)
        task.add_done_callback(under_way.discard)
    await asyncio.gather(*under_way)


@dataclass
class Day:
    """What the telephones and the gateway do."""

    phones: list[Phone]
    links: list[str]
    told: Told
    readings_hz: float
    seen: dict[str, Any] = field(default_factory=dict)
    turns: dict[str, asyncio.Lock] = field(default_factory=dict)

    async def page(self, n: int) -> None:
        """A page is opened."""
        status, _, took = await self.phones[n % len(self.phones)].ask("GET", PAGES[n % len(PAGES)])
        self.told.note(self.told.pages, took)
        if status != 200:
            self.told.wrong.append(f"{PAGES[n % len(PAGES)]}: {status}")

    async def change(self, n: int) -> None:
        """A note is kept, or a field changed."""
        phone = self.phones[n % len(self.phones)]
        if n % 4:
            status, answered, took = await phone.ask("POST", "/log/happen", {"kind": "note", "text": f"Note {n}"})
        else:
            link = self.links[n // 4 % len(self.links)]
            async with self.turns.setdefault(link, asyncio.Lock()):
                before = self.seen.get(link)
                now = 3 - (before or 1)  # 1 and 2 in turn: each change is planned for
                body = {"path": ["link", link, "spares"], "seen": json.dumps(before), "text": str(now)}
                status, answered, took = await phone.ask("POST", "/api/field", body)
                if status == 200:
                    self.seen[link] = now
                    self.told.acknowledged.append(json.loads(answered)["change"])
        self.told.made += 1
        self.told.note(self.told.changes, took)
        if status != 200:
            self.told.wrong.append(f"change {n}: {status} {answered[:200]!r}")

    async def readings(self, n: int) -> None:
        """A gateway sends what came in a quarter of a second."""
        count = int(self.readings_hz / GATEWAY_HZ)
        now_ms = time.time_ns() // 1_000_000
        names = [f"Talent {one + 1}" for one in range(LINKS)]
        step = 1000.0 / GATEWAY_HZ / max(1, count // LINKS)
        records = [
            {
                "link": names[one % LINKS],
                "time": (now_ms + round(one // LINKS * step)) / 1000.0,
                "rf_a_dbm": -60.0 - one % 7,
            }
            for one in range(count)
        ]
        status, answered, took = await self.phones[0].ask("POST", "/log/readings", records)
        self.told.note(self.told.posts, took)
        said = json.loads(answered) if status == 200 else {}
        self.told.readings += said.get("taken", 0)
        if status != 200 or said["refused"] or said["lost"] or said["taken"] != count:
            self.told.wrong.append(f"readings {n}: {status} {answered[:200]!r}")


async def crew(port: int, tokens: list[str], links: list[str], changes_hz: float, readings_hz: float,
               seconds: float, mib: Callable[[], float]) -> Told:  # fmt: skip
    """Everybody at once, for so long."""
    told = Told()
    phones = [Phone(n, port, token) for n, token in enumerate(tokens)]
    gateway = Phone(len(tokens), port, tokens[0])
    streams = [asyncio.ensure_future(phone.listen(told)) for phone in phones]
    day = Day([*phones], links, told, readings_hz)
    sending = Day([gateway], links, told, readings_hz)

    async def weigh() -> None:
        await asyncio.sleep(seconds / 3)
        told.first_mib = mib()

    await asyncio.gather(
        _paced(changes_hz, seconds, day.change), _paced(PAGES_HZ, seconds, day.page),
        _paced(GATEWAY_HZ, seconds, sending.readings), weigh(),
    )  # fmt: skip
    told.last_mib = mib()
    for _ in range(600):
        if len(told.heard) == len(phones) and min(told.heard.values()) >= max(told.acknowledged, default=0):
            break
        await asyncio.sleep(0.1)
    else:
        told.wrong.append("not every stream has heard of the last change")
    for stream in streams:
        stream.cancel()
    await asyncio.gather(*streams, return_exceptions=True)
    for phone in (*phones, gateway):
        phone.close()
    await asyncio.sleep(0.1)
    return told


def storm(telephones: int, changes_hz: float, readings_hz: float, seconds: float) -> Told:
    """Serve a job in a process of its own, and send them all."""
    with tempfile.TemporaryDirectory() as folder:
        job, tokens = Path(folder) / "job.lwjob", [f"{n:04d}" * 10 for n in range(telephones)]
        with Store.open(job, create=True) as store:
            store.replace(_shoot(), "laptop")
            links = list(store.document().ids["link",])
            for n, token in enumerate(tokens):
                store.add_device(f"Telephone {n}", "edit", token, "laptop")
        command = [sys.executable, "-m", "linkwright.cli", "serve", str(job), "--port", "0", "--lan", "--plain"]
        env = {**os.environ, "XDG_DATA_HOME": folder}
        with (Path(folder) / "errors").open("w+") as errors:
            process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=errors, text=True, env=env)
            assert process.stdout is not None
            port = 0
            for line in process.stdout:
                found = re.search(r"http://127\.0\.0\.1:(\d+)", line)
                port = int(found[1]) if found else port
                if not line.strip():
                    break

            def mib() -> float:
                status = Path(f"/proc/{process.pid}/status").read_text("utf-8")
                return int(status.split("VmRSS:")[1].split()[0]) / 1024

            try:
                with ThreadPoolExecutor(1) as own:  # a worker of the tests may have a loop of a browser's already
                    run = functools.partial(crew, port, tokens, links, changes_hz, readings_hz, seconds, mib)
                    day = own.submit(lambda: asyncio.run(run()))
                    told = day.result()
            finally:
                process.terminate() if process.poll() is None else None
                with contextlib.suppress(subprocess.TimeoutExpired):
                    process.communicate(timeout=30)
                process.kill()
            errors.seek(0)
            said = errors.read()
        if "Traceback" in said:
            told.wrong.append(said[-2000:])
        with Store.open(job) as store:
            known = {change.revision for change in store.changes(0, most=10**6)}
            lost = [one for one in told.acknowledged if one not in known]
            notes = len(store.happenings(kinds=("note",)))
        told.wrong += [f"change {one} is not in the job" for one in lost[:10]]
        kept = told.made - len(told.acknowledged)
        if notes != kept:
            told.wrong.append(f"{kept} notes were acknowledged, {notes} are in the job")
        if seconds >= WARM_S and told.last_mib - told.first_mib > MOST_MORE_MIB:
            told.wrong.append(f"memory went from {told.first_mib:.0f} to {told.last_mib:.0f} MiB")
    return told


def _shoot() -> dict[str, Any]:
    from linkwright.shoot.catalogue import catalogue_names

    transmitter = next(name for name in catalogue_names("transmitter") if "uhf" in name and "body" in name)
    receiver = next(name for name in catalogue_names("receiver") if "uhf" in name)
    links = "".join(LINK.format(n=n + 1, transmitter=transmitter, receiver=receiver) for n in range(LINKS))
    return parse_document(HEAD + SITE + links, "crew")


def main(arguments: Sequence[str]) -> int:
    """What `make storm` runs."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--telephones", type=int, default=200)
    parser.add_argument("--changes", type=float, default=20.0, help="a second")
    parser.add_argument("--readings", type=float, default=2000.0, help="a second")
    parser.add_argument("--minutes", type=float, default=10.0)
    asked = parser.parse_args(arguments)
    told = storm(asked.telephones, asked.changes, asked.readings, 60 * asked.minutes)
    print("\n".join([*told.lines(), f"load of the machine {os.getloadavg()[0]:.1f}"]))
    print("\n".join(told.wrong[:50]) or "All as it should be.")
    return 1 if told.wrong else 0
