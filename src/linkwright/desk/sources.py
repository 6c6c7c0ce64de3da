"""Where readings come from besides HTTP: a broker of MQTT, messages of OSC; for as long as the pages are open."""

from __future__ import annotations

import asyncio
import datetime
import os
import urllib.parse
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Final

from linkwright.desk.background import Background
from linkwright.shoot.errors import InputError
from linkwright.watch.log.live import Taken
from linkwright.watch.log.mqtt import Broker, listen
from linkwright.watch.log.osc import OscServer

#: Where the password of a broker is looked for.
PASSWORD: Final = "LINKWRIGHT_MQTT_PASSWORD"


@dataclass
class Sources:
    """What `linkwright serve --mqtt` and `--osc` ask for. `tell` hears what becomes of it."""

    broker: Broker | None = None
    osc_port: int | None = None
    tell: Callable[[str], None] = print
    _stop: asyncio.Event = field(default_factory=asyncio.Event)
    _loop: asyncio.AbstractEventLoop | None = None
    _osc: OscServer | None = None

    def start(self, take: Callable[..., Taken], mqtt: Background, osc: Background) -> None:
        """Begin to listen. Raises InputError where an extra is missing or the port is taken."""
        if self.osc_port is not None:
            server = self._osc = OscServer(take, _now, port=self.osc_port)
            osc.begin(lambda _run: server.serve())
            self.tell(f"OSC messages to /reading are taken at UDP port {self.osc_port}.")
        if self.broker is not None:
            broker = self.broker
            mqtt.begin(lambda _run: asyncio.run(self._listen(broker, take)))

    async def _listen(self, broker: Broker, take: Callable[..., Taken]) -> None:
        self._loop = asyncio.get_running_loop()
        await listen(broker, take, self._stop, self.tell)

    def stop(self) -> None:
        """Stop listening."""
        if self._osc is not None:
            self._osc.stop()
        if self._loop is not None and not self._loop.is_closed():
            self._loop.call_soon_threadsafe(self._stop.set)


def broker_at(text: str, topic: str) -> Broker:
    """A broker from [mqtts://][USER@]HOST[:PORT]; mqtts is MQTT over TLS. Raises InputError.

    The password is in the environment (LINKWRIGHT_MQTT_PASSWORD): what stands on a command line others can read.
    """
    try:
        url = urllib.parse.urlsplit(text if "://" in text else f"mqtt://{text}")
        port = url.port or {"mqtt": 1883, "mqtts": 8883}[url.scheme]
    except (ValueError, KeyError):
        url, port = None, 0
    if url is None or not url.hostname or url.password is not None or url.path or url.query:
        raise InputError(
            f'--mqtt is "{text.rpartition("@")[2][:60]}"; expected HOST:PORT or mqtts://USER@HOST:PORT, and the '
            f"password in {PASSWORD}"
        )
    tls = url.scheme == "mqtts"
    return Broker(url.hostname, port, topic, url.username, os.environ.get(PASSWORD), tls)


def _now() -> str:
    return datetime.datetime.now(datetime.UTC).isoformat()
