"""Serving the pages on a socket until told to stop."""

from __future__ import annotations

import asyncio
import contextlib
import gc
import logging
import resource
import signal
import socket
import sys
import threading
import time
from collections.abc import Iterator
from typing import Any, Final

import uvicorn
from fastapi import FastAPI

from linkwright.door.awake import Gaps
from linkwright.door.keeper import Visit
from linkwright.door.lan import looked
from linkwright.door.quiet import quieten
from linkwright.door.sockets import Door, Guarded

#: So many files this process may have open, where the system allows it.
DESCRIPTORS: Final = 4096
#: The laptop's addresses are looked at once in so many tenths of a second.
LOOK_TICKS: Final = 100
#: What lasts is set aside from the collector after a minute, and again every ten, in tenths of a second.
SETTLED_TICKS: Final = 600
SETTLED_AGAIN_TICKS: Final = 6000

log = logging.getLogger("linkwright.door")


def set_aside() -> None:
    """Collect, and take what is left out of the collector's rounds: to go through all that lasts the day stopped
    every answer for 0.2 s, every eight seconds (200 telephones)."""
    gc.unfreeze()
    gc.collect()
    gc.freeze()


class Serving(uvicorn.Server):
    """A server that takes connections by the house's own door, and ends the streams first when it stops: an open
    one would hold up the shutdown."""

    def __init__(self, app: FastAPI) -> None:
        super().__init__(uvicorn.Config(app, log_level="warning", timeout_graceful_shutdown=3))
        pages = app.state.pages
        self._hub, self._keeper, self._lan, self._desk = pages.hub, pages.keeper, pages.lan, pages.desk
        self._gaps = Gaps()
        self._look: asyncio.Task[None] | None = None
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
            door = Door(sock, self._keeper, self._protocol, self._lan.tls)
            door.open()
            self._doors.append(door)
        set_aside()
        self.started = True

    def _protocol(self, visit: Visit) -> Guarded:
        return Guarded(
            self._keeper, visit, config=self.config, server_state=self.server_state, app_state=self.lifespan.state
        )

    async def on_tick(self, counter: int) -> bool:
        """Ten times a second."""
        self._keeper.sweep(time.monotonic())
        gap = self._gaps.look()
        if gap is not None:
            log.warning("%s", await asyncio.to_thread(self._desk.slept, *gap))
        if counter % SETTLED_AGAIN_TICKS == SETTLED_TICKS:
            set_aside()
        if self._lan.port and counter % LOOK_TICKS == LOOK_TICKS - 1 and (self._look is None or self._look.done()):
            self._look = asyncio.create_task(self._follow())
        return await super().on_tick(counter)

    async def _follow(self) -> None:
        """Look where the laptop is; to be told its own name may take the system seconds."""
        said = await asyncio.to_thread(looked, self._lan)
        if said:
            log.warning("%s", said)

    @contextlib.contextmanager
    def capture_signals(self) -> Iterator[None]:
        """A terminal that is closed ends the pages as Ctrl-C does: in good order, then the command."""
        with super().capture_signals():
            hangs_up = threading.current_thread() is threading.main_thread()
            before = signal.signal(signal.SIGHUP, self.handle_exit) if hangs_up else None
            try:
                yield
            finally:
                if hangs_up:
                    signal.signal(signal.SIGHUP, before)

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> Any:
        """End the streams, then everything else."""
        for door in self._doors:
            door.close()
        self._hub.close()
        await super().shutdown(sockets)
