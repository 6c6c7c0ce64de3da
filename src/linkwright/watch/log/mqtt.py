"""Readings over MQTT: what is published under a topic is taken in as over HTTP. Needs the extra `mqtt`."""

from __future__ import annotations

import asyncio
import ssl
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any, Final

from linkwright.shoot.errors import InputError
from linkwright.watch.log.live import Taken

TOPIC: Final = "linkwright/readings/#"
#: After so long it is tried again where the broker cannot be reached [s].
AGAIN_S: Final = 2.0


@dataclass(frozen=True, slots=True)
class Broker:
    """Where the readings are published, and under which topic (MQTT 5, section 4.7)."""

    host: str = "127.0.0.1"
    port: int = 1883
    topic: str = TOPIC
    username: str | None = None
    password: str | None = field(default=None, repr=False)
    tls: bool = False


async def listen(
    broker: Broker, take: Callable[[bytes], Taken], stop: asyncio.Event, tell: Callable[[str], None] | None = None
) -> None:
    """Take in what is published until `stop` is set; a lost broker is tried again, `tell` hears of both.

    Raises InputError where the extra is missing.
    """
    try:
        import aiomqtt
    except ImportError:
        raise InputError('MQTT needs the extra "mqtt": pip install "linkwright[mqtt]"') from None
    say = tell or (lambda _text: None)
    where = f"{broker.host}:{broker.port}"
    while not stop.is_set():
        try:
            async with aiomqtt.Client(
                broker.host, broker.port, username=broker.username, password=broker.password,
                tls_context=ssl.create_default_context() if broker.tls else None,
            ) as client:  # fmt: skip
                await client.subscribe(broker.topic)
                say(f"listening to {broker.topic} at {where}")
                await _until_stopped(client, take, stop)
        except (aiomqtt.MqttError, OSError) as error:
            say(f"{where} cannot be reached ({error}); trying again")
            with_wait = asyncio.create_task(stop.wait())
            await asyncio.wait([with_wait], timeout=AGAIN_S)
            with_wait.cancel()


async def _until_stopped(client: Any, take: Callable[[bytes], Taken], stop: asyncio.Event) -> None:
    """Messages until `stop` is set; raises what the client raises where the broker is lost."""

    async def messages() -> None:
        async for message in client.messages:
            payload = message.payload
            take(payload if isinstance(payload, bytes) else str(payload).encode())

    listening, stopped = asyncio.create_task(messages()), asyncio.create_task(stop.wait())
    try:
        done, _ = await asyncio.wait([listening, stopped], return_when=asyncio.FIRST_COMPLETED)
        if listening in done:
            listening.result()
    finally:
        for task in (listening, stopped):
            task.cancel()
        await asyncio.gather(listening, stopped, return_exceptions=True)
