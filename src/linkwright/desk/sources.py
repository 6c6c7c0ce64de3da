"""Where readings come from besides HTTP: a broker of MQTT, messages of OSC; for as long as the pages are open."""

from __future__ import annotations

import asyncio
import datetime
import threading
from collections.abc import Callable
from dataclasses import dataclass, field

from linkwright.shoot.errors import InputError
from linkwright.watch.log.live import Taken
from linkwright.watch.log.mqtt import Broker, listen
from linkwright.watch.log.osc import OscServer

Take = Callable[[object], Taken]


@dataclass
class Sources:
    """What `linkwright serve --mqtt` and `--osc` ask for. `tell` hears what becomes of it."""

    broker: Broker | None = None
    osc_port: int | None = None
    tell: Callable[[str], None] = print
    _stop: asyncio.Event = field(default_factory=asyncio.Event)
    _loop: asyncio.AbstractEventLoop | None = None
    _thread: threading.Thread | None = None
    _osc: OscServer | None = None

    def start(self, take: Callable[..., Taken]) -> None:
        """Begin to listen. Raises InputError where an extra is missing or the port is taken."""
        if self.osc_port is not None:
            self._osc = OscServer(take, _now, port=self.osc_port)
            self._osc.start()
            self.tell(f"OSC messages to /reading are taken at UDP port {self.osc_port}.")
        if self.broker is not None:
            self._thread = threading.Thread(target=self._run, args=(self.broker, take), name="mqtt", daemon=True)
            self._thread.start()

    def _run(self, broker: Broker, take: Callable[..., Taken]) -> None:
        async def run() -> None:
            self._loop = asyncio.get_running_loop()
            try:
                await listen(broker, take, self._stop, self.tell)
            except InputError as error:
                self.tell(str(error))

        asyncio.run(run())

    def stop(self) -> None:
        """Stop listening."""
        if self._osc is not None:
            self._osc.stop()
        if self._thread is not None and self._loop is not None and self._thread.is_alive():
            self._loop.call_soon_threadsafe(self._stop.set)
            self._thread.join(timeout=10)


def broker_at(text: str, topic: str) -> Broker:
    """A broker from HOST or HOST:PORT. Raises InputError."""
    host, _, port = text.rpartition(":") if ":" in text else (text, "", "1883")
    if not host or not port.isdigit() or not 1 <= int(port) <= 65535:
        raise InputError(f'--mqtt is "{text[:60]}"; expected HOST or HOST:PORT such as 127.0.0.1:1883')
    return Broker(host, int(port), topic)


def _now() -> str:
    return datetime.datetime.now(datetime.UTC).isoformat()
