"""Live intake: HTTP payloads, MQTT by a real broker, OSC by another library's client; nothing raises, all is
counted."""

from __future__ import annotations

import asyncio
import json
import shutil
import socket
import ssl
import subprocess
import threading
import time
from collections.abc import Coroutine
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from linkwright.desk.sources import PASSWORD, broker_at
from linkwright.shoot.errors import InputError
from linkwright.watch.diagnose.watcher import Watcher
from linkwright.watch.log.live import Intake, Taken
from linkwright.watch.log.mqtt import Broker, listen
from linkwright.watch.log.osc import OscServer
from linkwright.watch.log.record import FIELDS, Batch

NOW = "2027-05-14T09:00:00+01:00"
GOOD = {"time": NOW, "link": "Potter", "rf_a_dbm": -60, "quality": 1.0, "muted": False}


def free_port() -> int:
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        return int(one.getsockname()[1])


def in_a_loop_of_its_own(work: Coroutine[Any, Any, None]) -> None:
    """Run it in a thread: the tests by hand keep an event loop running in this one."""
    with ThreadPoolExecutor(1) as pool:
        pool.submit(asyncio.run, work).result()


def test_one_record_many_and_lines() -> None:
    live = Intake()
    assert live.take(GOOD) == Taken(1)
    assert live.take(json.dumps([GOOD, {**GOOD, "link": "Cook"}]).encode()) == Taken(2)
    assert live.take("\n".join(json.dumps({**GOOD, "link": name}) for name in "AB")) == Taken(2)
    assert {name for batch in live.drain() for name in batch.names} == {"Potter", "Cook", "A", "B"}
    assert live.counts().taken == 5


@pytest.mark.parametrize(
    "payload",
    [b"", b"\xff\xfe", b"{", b"[" * 100_000, b"1e999", b"null", b'"x"', b"[[]]", b"[NaN]", b"\0" * 100, [None], {}],
)
def test_whatever_comes_is_refused_and_counted(payload: bytes | list[None] | dict[str, str]) -> None:
    live = Intake()
    taken = live.take(payload)
    assert taken.count == 0
    assert taken.refused == live.counts().refused == 1
    assert all("\n" not in reason for reason in taken.reasons)


def test_the_good_ones_of_a_payload_are_taken() -> None:
    taken = Intake().take([GOOD, {**GOOD, "quality": 7}, {**GOOD, "time": "2027-05-14T09:00:01"}])
    assert (taken.count, taken.refused) == (1, 2)
    assert taken.reasons[0].startswith("record 2 has quality 7")


def test_too_many_waiting_are_lost_and_counted() -> None:
    live = Intake(most_waiting=3)
    assert live.take([GOOD] * 5) == Taken(3, lost=2)
    assert live.counts().lost == 2
    live.drain()
    assert live.take(GOOD).count == 1


def test_the_clock_of_a_link_is_put_right() -> None:
    live = Intake(clock_s={"Potter": 2.5})
    live.take(GOOD)
    (batch,) = live.drain()
    assert batch.names == ("Potter",)
    # 14 May 2027 08:00 UTC is 20 952 days and 8 hours after 1970, by hand
    assert int(batch.time_ns[0]) == (20_952 * 24 + 8) * 3_600_000_000_000 + 2_500_000_000


def test_many_threads_lose_nothing() -> None:
    live = Intake()
    one = json.dumps([{**GOOD, "time": f"2027-05-14T09:00:{n // 10:02d}.{n % 10}Z"} for n in range(100)])
    named = [one.replace("Potter", f"L{n}") for n in range(8)]
    threads = [threading.Thread(target=live.take, args=(text,)) for text in named]
    for thread in threads:
        thread.start()
    came = 0
    while any(thread.is_alive() for thread in threads):
        came += sum(map(len, live.drain()))
    assert came + sum(map(len, live.drain())) == 800
    assert live.counts().waiting == 0


def test_an_episode_comes_out() -> None:
    live = Intake()
    count = 200
    values = np.full((count, len(FIELDS)), np.nan, dtype=np.float32)
    values[:, 0], values[:, 3], values[150:, 3] = -60.0, 1.0, 0.0
    times = 1_810_000_000_000_000_000 + np.arange(count, dtype=np.int64) * 100_000_000
    assert live.take(Batch(("A",), np.zeros(count, np.int32), times, values)) == Taken(count)
    watcher = Watcher()
    changes = [change for batch in live.drain() for change in watcher.add(batch)]
    assert [change.kind for change in changes] == ["opened"]
    assert watcher.episodes()[0].cause == "interference"


def test_osc_from_another_librarys_client() -> None:
    from pythonosc.udp_client import SimpleUDPClient

    live = Intake()
    server = OscServer(live.take, lambda: NOW)
    thread = threading.Thread(target=server.serve)
    thread.start()
    try:
        client = SimpleUDPClient(str(server.host), server.port)
        with client:
            client.send_message("/reading", ["Potter", "rf_a_dbm", -61.0, "quality", 1.0])
            client.send_message("/reading", ["Potter", "rf_a_dbm", 400.0])
            client.send_message("/reading", [])
            client.send_message("/other", ["x"])
        for _ in range(100):
            if live.counts().taken and live.counts().refused == 2:
                break
            time.sleep(0.02)
    finally:
        server.stop()
        thread.join()
    assert (live.counts().taken, live.counts().refused) == (1, 2)


def _with_login_and_tls(folder: Path) -> str:
    """What a broker's configuration says of its certificate and its users; both are made."""
    key, certificate, users = folder / "key.pem", folder / "cert.pem", folder / "users"
    made = ["openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes"]
    made += [
        "-keyout",
        str(key),
        "-out",
        str(certificate),
        "-subj",
        "/CN=broker",
        "-addext",
        "subjectAltName=IP:127.0.0.1",
    ]
    subprocess.run(made, check=True, capture_output=True)
    subprocess.run(["mosquitto_passwd", "-b", "-c", str(users), "potter", "clay"], check=True, capture_output=True)
    for path in (key, certificate, users, folder):
        path.chmod(0o755 if path is folder else 0o644)  # run by root, the broker reads them as somebody else
    return f"certfile {certificate}\nkeyfile {key}\nallow_anonymous false\npassword_file {users}\n"


@pytest.mark.skipif(shutil.which("mosquitto") is None, reason="mosquitto is not installed")
@pytest.mark.parametrize("secured", [False, True])
def test_mqtt_by_a_real_broker(secured: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    import aiomqtt

    live, port = Intake(), free_port()
    config = tmp_path / "broker.conf"
    more = _with_login_and_tls(tmp_path) if secured else "allow_anonymous true\n"
    config.write_text(f"listener {port} 127.0.0.1\npersistence false\nuser root\n{more}", "utf-8")
    where = Broker(port=port)
    if secured:
        monkeypatch.setenv(PASSWORD, "clay")
        monkeypatch.setenv("SSL_CERT_FILE", str(tmp_path / "cert.pem"))
        where = broker_at(f"mqtts://potter@127.0.0.1:{port}", where.topic)
    login: dict[str, Any] = {"username": where.username, "password": where.password}
    login["tls_context"] = ssl.create_default_context() if secured else None
    said: list[str] = []

    async def run() -> None:
        stop, ready = asyncio.Event(), asyncio.Event()

        def tell(text: str) -> None:
            said.append(text)
            if text.startswith("listening"):
                ready.set()

        task = asyncio.create_task(listen(where, live.take, stop, tell))
        await asyncio.wait_for(ready.wait(), 20.0)
        async with aiomqtt.Client("127.0.0.1", port, **login) as client:
            await client.publish("linkwright/readings/Potter", json.dumps(GOOD))
            await client.publish("linkwright/readings/all", json.dumps([GOOD, {**GOOD, "link": "Cook"}]))
            await client.publish("linkwright/readings/all", b"\xff")
            await client.publish("elsewhere", json.dumps(GOOD))
        for _ in range(200):
            if live.counts().taken >= 3 and live.counts().refused:
                break
            await asyncio.sleep(0.02)
        stop.set()
        await asyncio.wait_for(task, 10.0)

    command = [str(shutil.which("mosquitto")), "-c", str(config)]
    broker = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    try:
        in_a_loop_of_its_own(run())
    finally:
        broker.terminate()
        assert broker.wait(10) == 0
    assert (live.counts().taken, live.counts().refused) == (3, 1)
    assert said[-1].startswith("listening to linkwright/readings/#")


def test_a_broker_by_its_address(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv(PASSWORD, raising=False)
    assert broker_at("rack.local", "t") == Broker("rack.local", 1883, "t")
    assert broker_at("mqtts://potter@rack.local", "t") == Broker("rack.local", 8883, "t", "potter", None, True)
    for bad in ("", ":1", "rack:x", "http://rack", "rack/topic", "rack:99999", "potter:clay@rack"):
        with pytest.raises(InputError, match="--mqtt is") as refused:
            broker_at(bad, "t")
        assert "clay" not in str(refused.value)


def test_a_broker_that_is_not_there_is_told_and_left_when_asked() -> None:
    said: list[str] = []

    async def run() -> None:
        stop = asyncio.Event()
        task = asyncio.create_task(listen(Broker(port=free_port()), Intake().take, stop, said.append))
        while not said:
            await asyncio.sleep(0.01)
        stop.set()
        await asyncio.wait_for(task, 10.0)

    in_a_loop_of_its_own(run())
    assert "cannot be reached" in said[0]


def test_what_lasts_is_told_again_with_what_is_known_by_then() -> None:
    live, watcher, told = Intake(), Watcher(), []
    for second in range(40):
        broken = second >= 20
        records = [
            {
                **GOOD,
                "time": f"2027-05-14T09:00:{second:02d}.{n}Z",
                "quality": 0.1 if broken else 1.0,
                "muted": broken,
            }
            for n in range(10)
        ]
        live.take(records)
        changes = [change for batch in live.drain() for change in watcher.add(batch)]
        told += [(second, one.kind, one.episode.because) for one in changes]
    kinds = [kind for _, kind, _ in told]
    assert kinds[0] == "opened"
    later = [(second, because) for second, kind, because in told if kind == "changed"]
    assert 2 <= len(later) <= 5  # twenty seconds, once in five
    for second, because in later:
        assert f"broken for {second - 19} s so far" in because  # from 20 to the end of this second
