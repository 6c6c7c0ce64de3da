"""Serving the pages on a socket until told to stop."""

from __future__ import annotations

import contextlib
import signal
import socket
import threading
from collections.abc import Iterator
from typing import Any

import uvicorn
from fastapi import FastAPI


class Serving(uvicorn.Server):
    """A server that ends the streams first: an open one would hold up the shutdown."""

    def __init__(self, app: FastAPI) -> None:
        super().__init__(uvicorn.Config(app, log_level="warning", timeout_graceful_shutdown=3))
        self._hub = app.state.pages.hub

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
        self._hub.close()
        await super().shutdown(sockets)
