"""200 telephones of crews with open streams on two processes and one PostgreSQL, while changes come.

`python -m bench.crews_on_two_processes --seconds 30`. Told: a page at the middle and the 99th percentile, how long
a change takes to a stream of the same process and of the other, what was lost, what went to another crew.
"""

from __future__ import annotations

import argparse
import asyncio
import contextlib
import json
import tempfile
import time
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

import numpy as np
import tomli_w
from tests.store.conftest import running_postgresql
from tests.web.event import LINK, document
from tests.web.outside import Outside, outside

from linkwright.store import Store

CREWS: Final = 20
LINKS_EACH: Final = 3
#: A change is lost where no stream of its crew was told within so long [s].
LOST_S: Final = 10.0


@dataclass
class Telephone:
    """A telephone of a crew at a process: its token, and when its stream was told something."""

    number: int
    crew: int
    process: int
    token: str
    told_s: list[float] = field(default_factory=list)
    other: list[str] = field(default_factory=list)

    @property
    def address(self) -> str:
        """Its own address: Linux gives this machine all of 127.0.0.0/8, and 127.0.0.1 alone is the laptop's."""
        return f"127.1.{self.number // 250}.{1 + self.number % 250}"


@dataclass
class Told:
    """What was measured: changes (crew, process, when they were answered), pages [s], answers to changes [s]."""

    changes: list[tuple[int, int, float, float]] = field(default_factory=list)
    pages_s: list[float] = field(default_factory=list)
    wrong: list[str] = field(default_factory=list)


def event_of(crews: int) -> dict[str, Any]:
    """A job of so many crews, each with a call of its own on one of four sites."""
    typed = document()
    typed["shoot"]["date"] = "2027-05-14"
    typed["crew"] = [{"name": f"Crew {n}", "contact": f"Contact {n}"} for n in range(crews)]
    typed["site"] = [{"name": f"Site {n}", "surroundings": "street"} for n in range(4)]
    names = [[f"Link {n}-{k}" for k in range(LINKS_EACH)] for n in range(crews)]
    typed["link"] = [{"name": name, "crew": f"Crew {n}", **LINK} for n, own in enumerate(names) for name in own]
    typed["call"] = [
        {"name": f"Call {n}", "crew": f"Crew {n}", "site": f"Site {n % 4}", "from": "09:00:00", "to": "12:00:00",
         "links": own}
        for n, own in enumerate(names)
    ]  # fmt: skip
    return typed


async def asked(
    telephone: Telephone,
    port: int,
    method: str,
    path: str,
    body: Any = None,
) -> tuple[int, float]:
    """The status of an answer, and how long it took [s]."""
    began = time.monotonic()
    reader, writer = await asyncio.open_connection("127.0.0.1", port, local_addr=(telephone.address, 0))
    data = b"" if body is None else json.dumps(body).encode()
    head = (
        f"{method} {path} HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nOrigin: http://127.0.0.1:{port}\r\n"
        f"Authorization: Bearer {telephone.token}\r\nContent-Type: application/json\r\n"
        f"Content-Length: {len(data)}\r\nConnection: close\r\n\r\n"
    )
    writer.write(head.encode() + data)
    answer = await reader.read()
    writer.close()
    return int(answer[9:12] or b"0"), time.monotonic() - began


async def listen(telephone: Telephone, port: int, ready: asyncio.Event) -> None:
    """Hold a stream."""
    reader, writer = await asyncio.open_connection("127.0.0.1", port, local_addr=(telephone.address, 0))
    head = f"GET /own/events HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nAuthorization: Bearer {telephone.token}\r\n\r\n"
    writer.write(head.encode())
    with contextlib.suppress(asyncio.CancelledError):
        while line := await reader.readline():
            if line.startswith(b"event: own"):
                telephone.told_s.append(time.monotonic())
            elif line.startswith(b"event: hello"):
                ready.set()
            elif line.startswith(b"event:"):
                telephone.other.append(line.decode())
    writer.close()


async def change(
    telephones: list[Telephone], ports: list[int], seconds: float, a_second: float, told: Told
) -> None:
    """Changes of crews in turn, by a telephone of each: trouble reported, a question asked and given back."""
    chance = np.random.default_rng(1)
    end, number, pending = time.monotonic() + seconds, 0, set[asyncio.Task[None]]()

    async def one(telephone: Telephone) -> None:
        body = {"text": f"trouble {number}"}
        status, took_s = await asked(telephone, ports[telephone.process], "POST", "/own/trouble", body)
        if status == 200:
            told.changes.append((telephone.crew, telephone.process, time.monotonic(), took_s))
        elif status != 400:
            told.wrong.append(f"a change was answered {status}")

    while time.monotonic() < end:
        number += 1
        task = asyncio.create_task(one(telephones[int(chance.integers(len(telephones)))]))
        pending.add(task)
        task.add_done_callback(pending.discard)
        await asyncio.sleep(1.0 / a_second)
    await asyncio.gather(*pending)


async def look(telephones: list[Telephone], ports: list[int], seconds: float, told: Told) -> None:
    """Pages of telephones, ten a second."""
    chance, end = np.random.default_rng(2), time.monotonic() + seconds
    while time.monotonic() < end:
        telephone = telephones[int(chance.integers(len(telephones)))]
        status, took_s = await asked(telephone, ports[telephone.process], "GET", "/own/body")
        told.pages_s.append(took_s)
        if status != 200:
            told.wrong.append(f"a page was answered {status}")
        await asyncio.sleep(0.1)


async def measure(telephones: list[Telephone], ports: list[int], seconds: float, a_second: float) -> Told:
    """All of it."""
    told, readies = Told(), [asyncio.Event() for _ in telephones]
    streams = [
        asyncio.create_task(listen(telephone, ports[telephone.process], ready))
        for telephone, ready in zip(telephones, readies, strict=True)
    ]
    await asyncio.gather(*(ready.wait() for ready in readies))
    for telephone in telephones:
        telephone.told_s.clear()
    await asyncio.gather(change(telephones, ports, seconds, a_second, told), look(telephones, ports, seconds, told))
    await asyncio.sleep(LOST_S / 4)
    for stream in streams:
        stream.cancel()
    await asyncio.gather(*streams, return_exceptions=True)
    return told


def judged(telephones: list[Telephone], told: Told) -> list[str]:
    """What is told of it."""
    here, there = list[float](), list[float]()
    lost, strange = 0, 0
    by_crew = {n: [when - took for crew, _, when, took in told.changes if crew == n] for n in range(CREWS)}
    for telephone in telephones:
        times = np.array(telephone.told_s)
        for crew, process, when, took in told.changes:
            if crew != telephone.crew:
                continue
            after = times[times >= when - took]
            if not len(after) or after[0] - when > LOST_S:
                lost += 1
            else:
                (here if process == telephone.process else there).append(max(0.0, after[0] - when))
        began = np.array(by_crew[telephone.crew])
        strange += sum(not np.any((began <= at) & (at - began < LOST_S)) for at in times)
    page, post = np.array(told.pages_s) * 1000, np.array([took for *_, took in told.changes]) * 1000
    strange += sum(len(telephone.other) for telephone in telephones)
    lines = [f"{len(telephones)} streams, {len(told.changes)} changes, {lost} lost, {strange} to another crew"]
    for what, values in (
        ("page", page), ("change answered", post), ("told, same process", np.array(here) * 1000),
        ("told, other process", np.array(there) * 1000),
    ):  # fmt: skip
        middle, high, most = np.percentile(values, (50, 99, 100))
        lines.append(f"{what}: {middle:.0f} ms in the middle, 99 % within {high:.0f}, longest {most:.0f}")
    return [*lines, *dict.fromkeys(told.wrong)]


def started(folder: Path, url: str, number: int) -> Any:
    """A process of the pages."""
    own = folder / f"process-{number}"
    own.mkdir()
    shoot = own / "shoot.toml"
    shoot.write_text(tomli_w.dumps(event_of(CREWS)).replace('"2027-05-14"', "2027-05-14"), "utf-8")
    return outside(own, str(shoot), "--database", url, "--lan", "--plain", descriptors=4096)


def main() -> None:
    """Run it from the command line."""
    given = argparse.ArgumentParser(description=__doc__)
    given.add_argument("--seconds", type=float, default=30.0)
    given.add_argument("--streams", type=int, default=200)
    given.add_argument("--changes", type=float, default=20.0)
    options = given.parse_args()
    with (
        running_postgresql() as postgresql, tempfile.TemporaryDirectory() as at, contextlib.ExitStack() as stack,
    ):  # fmt: skip
        if isinstance(postgresql, str):
            print(postgresql)
            return
        pages: list[Outside] = [
            stack.enter_context(started(Path(at), postgresql[0], number)) for number in range(2)
        ]
        telephones = []
        with Store.open(postgresql[0]) as store:
            ids = {str(crew["name"]): id_ for id_, crew in store.document().entries("crew")}
            for n in range(options.streams):
                telephone = Telephone(n, n % CREWS, (n // CREWS) % 2, f"{n:04d}" * 10)
                store.add_device(f"T{n}", "crew", telephone.token, "laptop", crew=ids[f"Crew {telephone.crew}"])
                telephones.append(telephone)
            while len(store.carriers_told()) < CREWS * LINKS_EACH:
                time.sleep(0.2)  # the plan comes first
        time.sleep(3.0)
        told = asyncio.run(measure(telephones, [page.port for page in pages], options.seconds, options.changes))
        print("\n".join(judged(telephones, told)))
        print(f"memory: {', '.join(f'{page.resident_mib():.0f}' for page in pages)} MiB")


if __name__ == "__main__":
    main()
