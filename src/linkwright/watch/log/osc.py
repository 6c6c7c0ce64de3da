"""Readings over OSC (Open Sound Control 1.0) by UDP: one message a reading. Needs the extra `osc`.

Address `/reading`, arguments: the link's name, then pairs of a field's name and its value:
"Presenter", "rf_a_dbm", -61.0, "quality", 1.0 . Without "time" it is of the moment at which it came.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from typing import Any, Final

from linkwright.shoot.errors import InputError
from linkwright.watch.log.live import Taken

ADDRESS: Final = "/reading"


def record_of(arguments: tuple[Any, ...], now: str) -> dict[str, Any]:
    """The record of a message's arguments; `now` is its time where it has none."""
    link = arguments[0] if arguments else ""
    pairs = arguments[1:]
    record: dict[str, Any] = {"link": link, "time": now}
    for n in range(0, len(pairs) - 1, 2):
        record[str(pairs[n])] = pairs[n + 1]
    if len(pairs) % 2:
        record[str(pairs[-1])] = None
    return record


class OscServer:
    """Listens for messages on a UDP port until it is stopped.

    take : gets each record. now : gives the present moment, ISO 8601 with offset. port 0: a free one. Raises
    InputError where the extra is missing or the port is taken.
    """

    def __init__(
        self,
        take: Callable[[dict[str, Any]], Taken],
        now: Callable[[], str],
        host: str = "127.0.0.1",
        port: int = 0,
    ) -> None:
        try:
            from pythonosc.dispatcher import Dispatcher
            from pythonosc.osc_server import BlockingOSCUDPServer
        except ImportError:
            raise InputError('OSC needs the extra "osc": pip install "linkwright[osc]"') from None

        def heard(_address: str, *arguments: Any) -> None:
            take(record_of(arguments, now()))  # what a handler returns would be sent back

        dispatcher = Dispatcher()
        dispatcher.map(ADDRESS, heard)
        try:
            self._server = BlockingOSCUDPServer((host, port), dispatcher)
        except OSError as error:
            raise InputError(f"OSC cannot listen on {host}:{port} ({error.strerror or error})") from None
        self.host, self.port = self._server.server_address[:2]
        self._serving = threading.Event()

    def serve(self) -> None:
        """Listen until `stop` is called from another thread."""
        self._serving.set()
        self._server.serve_forever(poll_interval=0.1)

    def stop(self) -> None:
        """Stop listening and give the port back."""
        if self._serving.is_set():
            self._server.shutdown()
        self._server.server_close()
