"""`linkwright serve --lan` from outside, and clients at many addresses.

Linux gives this machine all of 127.0.0.0/8; the program takes 127.0.0.1 alone for the laptop itself, so that
127.0.0.7 is a device on the network.
"""

from __future__ import annotations

import asyncio
import contextlib
import http.client
import os
import re
import resource
import signal
import socket
import ssl
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Coroutine, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

from fastapi import FastAPI

from linkwright.door.lan import Lan
from linkwright.store import Store
from linkwright.web.app import create_app
from linkwright.web.serving import Serving

T = TypeVar("T")


def apart(run: Callable[[], Coroutine[Any, Any, T]]) -> T:
    """Run it in a thread of its own: in that of the tests the browser may have a loop already."""
    with ThreadPoolExecutor(1) as pool:
        return pool.submit(lambda: asyncio.run(run())).result()


@dataclass(frozen=True)
class Outside:
    """A running command: its process, its port, where its faults are written."""

    process: subprocess.Popen[str]
    port: int
    errors: Path
    said: str = ""

    def connect(self, address: str, timeout_s: float = 10.0) -> socket.socket:
        """A connection from an address."""
        sock = socket.socket()
        sock.settimeout(timeout_s)
        sock.bind((address, 0))
        sock.connect(("127.0.0.1", self.port))
        return sock

    def ask(
        self, address: str, method: str, path: str, body: Any = None, headers: dict[str, str] | None = None,
        tls: ssl.SSLContext | None = None,
    ) -> tuple[int, dict[str, str], str]:  # fmt: skip
        """The status, headers and text of one answer to a device at an address."""
        host = f"127.0.0.1:{self.port}"
        given = {"Host": host, "Origin": f"http{'' if tls is None else 's'}://{host}", **(headers or {})}
        connection = http.client.HTTPConnection("127.0.0.1", self.port)
        sock = self.connect(address)
        connection.sock = sock if tls is None else tls.wrap_socket(sock, server_hostname="127.0.0.1")
        with contextlib.closing(connection):
            connection.request(method, path, body, given, encode_chunked="Transfer-Encoding" in given)
            answered = connection.getresponse()
            return answered.status, dict(answered.getheaders()), answered.read().decode()

    def key(self, name: str = "gateway") -> str:
        """A token of the role log, made on the laptop."""
        form = {"Content-Type": "application/x-www-form-urlencoded"}
        _, _, text = self.ask("127.0.0.1", "POST", "/connect/key", f"name={name}", form)
        found = re.search(r'class="key">([^<]+)<', text)
        assert found is not None, text
        return found[1]

    def resident_mib(self) -> float:
        """The memory of the process [MiB]."""
        status = Path(f"/proc/{self.process.pid}/status").read_text("utf-8")
        return int(status.split("VmRSS:")[1].split()[0]) / 1024


def _wait_until_it_answers(said: str) -> None:
    """What is ended while its loop is being made lets Python say so; a person who is so quick is rare, tests are
    not."""
    found = re.search(r"http://127\.0\.0\.1:(\d+)", said)
    with contextlib.suppress(OSError, http.client.HTTPException):
        asked = http.client.HTTPConnection("127.0.0.1", int(found[1]) if found else 0, timeout=20)
        asked.request("GET", "/")
        asked.getresponse().read()
        asked.close()


@contextmanager
def outside(
    folder: Path, *arguments: str, descriptors: int = 1024, env: dict[str, str] | None = None
) -> Iterator[Outside]:
    """`linkwright serve` with these arguments, until it says where its pages are; ended by Ctrl-C."""
    errors = folder / "errors.txt"
    env = {**os.environ, "XDG_DATA_HOME": str(folder / "data"), "PYTHONFAULTHANDLER": "1", **(env or {})}
    with errors.open("w") as err:
        process = subprocess.Popen(
            [sys.executable, "-m", "linkwright.cli", "serve", "--port", "0", *arguments], cwd=folder, text=True,
            stdout=subprocess.PIPE, stderr=err, env=env,
            preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_NOFILE, (descriptors, descriptors)),
        )  # fmt: skip
    assert process.stdout is not None
    said = ""
    try:
        for line in process.stdout:
            said += line
            found = re.search(r"http://127\.0\.0\.1:(\d+)", line)
            if found:
                break
        assert found, said + errors.read_text()
        if "--lan" in arguments:  # what is said of the network is one block, ended by an empty line
            for line in process.stdout:
                said += line
                if not line.strip():
                    break
        yield Outside(process, int(found[1]), errors, said)
    finally:
        _wait_until_it_answers(said)
        process.send_signal(signal.SIGINT)
        try:
            process.communicate(timeout=20)
        except subprocess.TimeoutExpired:  # where it hangs is said before it is ended
            process.send_signal(signal.SIGABRT)
            process.communicate()
            raise AssertionError(f"it does not end: {errors.read_text('utf-8')}") from None
    assert "Traceback" not in errors.read_text("utf-8")


@contextmanager
def open_pages(store: Store, folder: Path | None, address: str) -> Iterator[tuple[FastAPI, Lan]]:
    """The pages of a job in this process, open to the network at an address of this machine."""
    sock = socket.socket()
    sock.bind(("0.0.0.0", 0))
    port = sock.getsockname()[1]
    lan = Lan.at({f"127.0.0.1:{port}"}, port, folder, lambda: [address])
    app = create_app(store, lan=lan)
    server = Serving(app)
    thread = threading.Thread(target=server.run, kwargs={"sockets": [sock]}, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.01)
    try:
        yield app, lan
    finally:
        server.should_exit = True
        thread.join(timeout=10)
