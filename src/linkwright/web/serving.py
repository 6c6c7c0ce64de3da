"""Serving the pages on a socket until told to stop."""

from __future__ import annotations

import asyncio
import resource
import socket
import ssl
import sys
import time
from typing import Any, Final

import uvicorn
from fastapi import FastAPI

from linkwright.door.accepting import Door, Guarded
from linkwright.door.keeper import Visit
from linkwright.door.quiet import quieten

#: So many files this process may have open, where the system allows it.
DESCRIPTORS: Final = 4096


class Serving(uvicorn.Server):
    """A server that takes connections by the house's own door, and ends the streams first when it stops: an open
    one would hold up the shutdown. tls : what connections from the network are encrypted by."""

    def __init__(self, app: FastAPI, tls: ssl.SSLContext | None = None) -> None:
        super().__init__(uvicorn.Config(app, log_level="warning", timeout_graceful_shutdown=3))
        self._hub, self._keeper = app.state.pages.hub, app.state.pages.keeper
        self._tls = tls
        self._doors: list[Door] = []
        quieten()

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        """Begin: the pages, then the door."""
        soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
        wanted = DESCRIPTORS if hard == resource.RLIM_INFINITY else min(DESCRIPTORS, hard)
        if soft < wanted:
            resource.setrlimit(resource.RLIMIT_NOFILE, (wanted, hard))
        self._keeper.room(max(soft, wanted))
        await self.lifespan.startup()
        if self.lifespan.should_exit:
            sys.exit(3)
        self.servers: list[asyncio.Server] = []
        for sock in sockets or ():
            door = Door(sock, self._keeper, self._protocol, self._tls)
            door.open()
            self._doors.append(door)
        self.started = True

    def _protocol(self, visit: Visit) -> Guarded:
        return Guarded(
            self._keeper, visit, config=self.config, server_state=self.server_state, app_state=self.lifespan.state
        )

    async def on_tick(self, counter: int) -> bool:
        """Ten times a second."""
        self._keeper.sweep(time.monotonic())
        return await super().on_tick(counter)

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> Any:
        """End the streams, then everything else."""
        for door in self._doors:
            door.close()
        self._hub.close()
        await super().shutdown(sockets)
