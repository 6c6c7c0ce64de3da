"""Taking connections at a listening socket: counted before anything is read, encrypted on a network."""

from __future__ import annotations

import asyncio
import contextlib
import logging
import os
import socket
import ssl
import time
from collections.abc import Callable
from typing import Any, Final

from uvicorn.protocols.http.h11_impl import H11Protocol

from linkwright.door.keeper import HOME, Keeper, Visit

log = logging.getLogger("linkwright.door")

#: So many connections are taken at once, before others have their turn.
AT_ONCE: Final = 64
#: So many wait in the system until they are taken, before one more is left to try again a second later.
WAITING: Final = 1024
#: Handshakes that take longer are ended [s].
HANDSHAKE_S: Final = 10.0


class Guarded(H11Protocol):
    """One connection that tells the keeper when there is a request in it."""

    def __init__(self, keeper: Keeper, visit: Visit, **more: Any) -> None:
        super().__init__(**more)
        self._keeper, self._visit = keeper, visit

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """It stands; from now on it can be ended."""
        self._visit.end = transport.abort
        super().connection_made(transport)

    def handle_events(self) -> None:
        """Bytes came: perhaps they make a whole request."""
        super().handle_events()
        if self.cycle is not None and not self.cycle.response_complete:
            self._keeper.asks(self._visit)

    def on_response_complete(self) -> None:
        """It was answered."""
        self._keeper.waits(self._visit, time.monotonic())
        super().on_response_complete()

    def connection_lost(self, exc: Exception | None) -> None:
        """It has ended."""
        self._keeper.leave(self._visit)
        super().connection_lost(exc)


class Door:
    """A listening socket.

    make : the protocol of a connection. tls : what connections from the network are encrypted by; those of this
    machine are not, as they do not leave it.
    """

    def __init__(
        self, sock: socket.socket, keeper: Keeper, make: Callable[[Visit], Guarded], tls: ssl.SSLContext | None
    ) -> None:
        self._sock, self._keeper, self._make, self._tls = sock, keeper, make, tls
        self._beginning: set[asyncio.Task[None]] = set()
        self._spare = os.open(os.devnull, os.O_RDONLY)

    def open(self) -> None:
        """Begin to take connections."""
        self._sock.listen(WAITING)
        self._sock.setblocking(False)
        asyncio.get_running_loop().add_reader(self._sock, self._take)

    def close(self) -> None:
        """Take no more."""
        asyncio.get_running_loop().remove_reader(self._sock)
        os.close(self._spare)
        for task in self._beginning:
            task.cancel()

    def _take(self) -> None:
        for _ in range(AT_ONCE):
            try:
                connection, peer = self._sock.accept()
            except (BlockingIOError, InterruptedError, ConnectionAbortedError):
                return
            except OSError as error:
                self._starved(error)
                return
            address = str(peer[0])
            visit = self._keeper.come(address, time.monotonic())
            if visit is None:
                log.warning("Too many connections from %s; more of them are refused.", address)
                connection.close()
                continue
            task = asyncio.get_running_loop().create_task(self._begin(connection, visit))
            visit.end = _cancelling(task)
            self._beginning.add(task)
            task.add_done_callback(self._beginning.discard)

    async def _begin(self, connection: socket.socket, visit: Visit) -> None:
        connection.setblocking(False)
        tls = None if visit.address in HOME else self._tls
        try:
            await asyncio.get_running_loop().connect_accepted_socket(
                lambda: self._make(visit),
                connection,
                ssl=tls,
                ssl_handshake_timeout=HANDSHAKE_S if tls is not None else None,
            )
        except (OSError, asyncio.CancelledError):  # no TLS was spoken, or it was too slow, or it had to go
            self._keeper.leave(visit)
            connection.close()

    def _starved(self, error: OSError) -> None:
        """No descriptor is left: one kept for this takes the connection and ends it, so that it does not wait."""
        log.warning("A connection could not be taken (%s).", error.strerror)
        os.close(self._spare)
        with contextlib.suppress(OSError):
            self._sock.accept()[0].close()
        with contextlib.suppress(OSError):
            self._spare = os.open(os.devnull, os.O_RDONLY)


def _cancelling(task: asyncio.Task[None]) -> Callable[[], None]:
    def end() -> None:
        task.cancel()

    return end
