"""Serving the pages on a socket until told to stop."""

from __future__ import annotations

import socket
from typing import Any

import uvicorn
from fastapi import FastAPI


class Serving(uvicorn.Server):
    """A server that ends the streams first: an open one would hold up the shutdown."""

    def __init__(self, app: FastAPI) -> None:
        super().__init__(uvicorn.Config(app, log_level="warning", timeout_graceful_shutdown=3))
        self._hub = app.state.pages.hub

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> Any:
        """End the streams, then everything else."""
        self._hub.close()
        await super().shutdown(sockets)
