"""How many bytes each route takes, looked at before anything is read and counted while it is."""

from __future__ import annotations

import asyncio
import time
from typing import Final

from starlette.responses import JSONResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from linkwright.desk.files import MOST_UPLOAD
from linkwright.desk.listening import MOST_BYTES as MOST_RECORDING
from linkwright.desk.wrap_run import MOST_LOG

KIB: Final = 1024
MIB: Final = 1024 * 1024
#: What a form adds to the file in it.
AROUND: Final = 64 * KIB
#: What a route takes that is no file: an edit, a paste.
MOST: Final = 2 * MIB
#: What is taken of a device that is not paired, on any route.
MOST_STRANGER: Final = 4 * KIB
#: What the routes take that take more or less than that.
MOST_OF: Final[dict[str, int]] = {
    "/join": MOST_STRANGER,
    "/connect/code": 4 * KIB,
    "/connect/key": 4 * KIB,
    "/connect/forget": 4 * KIB,
    "/log/readings": 8 * MIB,
    "/log/sweeps": 8 * MIB,
    "/api/import": MOST_UPLOAD + AROUND,
    "/api/attach": MOST_UPLOAD + AROUND,
    "/sheets/neighbours": 8 * MIB + AROUND,
    "/wrap/logs": MOST_LOG + AROUND,
    "/sound/recordings": MOST_RECORDING + AROUND,
}
#: Nothing may come for so long while more is awaited; what a device that is not paired sends is there by then.
SILENT_S: Final = 20.0
STRANGER_S: Final = 10.0


def size_text(size: int) -> str:
    """A limit in words."""
    return f"{size // MIB} MiB" if size >= MIB else f"{size // KIB} kiB"


class Bodies:
    """Plain ASGI, so that streams pass without being held up."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request through whose body is no larger than its route takes."""
        if scope["type"] != "http" or scope["method"] in ("GET", "HEAD", "OPTIONS"):
            await self.app(scope, receive, send)
            return
        paired = scope["person"].paired
        most = MOST_OF.get(scope["path"], MOST) if paired else MOST_STRANGER
        body = _Body(receive, most, None if paired else STRANGER_S)
        if body.declared_too_long(scope):
            await body.refusal(paired)(scope, receive, send)
            return
        started = False

        async def unless_refused(message: Message) -> None:
            nonlocal started
            if not body.refused:
                started = True
                await send(message)

        try:
            await self.app(scope, body.receive, unless_refused)
        except Exception:
            if not body.refused:  # else it is the end of what broke off
                raise
        if body.refused and not started:
            await body.refusal(paired=False)(scope, receive, send)


class _Body:
    """The body of one request as it comes."""

    def __init__(self, receive: Receive, most: int, within_s: float | None) -> None:
        self._receive, self.most = receive, most
        self._until_s = None if within_s is None else time.monotonic() + within_s
        self._size, self._whole = 0, False
        self.refused = 0

    def declared_too_long(self, scope: Scope) -> bool:
        """Whether it says itself that it is too long."""
        given = next((value for key, value in scope["headers"] if key == b"content-length"), b"0")
        if not given.isdigit() or len(given) > 18 or int(given) > self.most:
            self.refused = 413
        return bool(self.refused)

    async def receive(self) -> Message:
        """The next piece; where it is one too many the request counts as broken off."""
        if self._whole:
            return await self._receive()
        wait_s = SILENT_S if self._until_s is None else self._until_s - time.monotonic()
        try:
            message = await asyncio.wait_for(self._receive(), max(0.0, wait_s))
        except TimeoutError:
            self.refused = 408
            return {"type": "http.disconnect"}
        self._size += len(message.get("body", b""))
        self._whole = not message.get("more_body", False)
        if self._size > self.most:
            self.refused = 413
            return {"type": "http.disconnect"}
        return message

    def refusal(self, paired: bool) -> Response:
        """Why it was not taken. What a paired device sends on is read and thrown away, so that it hears why."""
        headers = {} if paired else {"connection": "close"}
        says = f"this takes at most {size_text(self.most)}; send less at once"
        if self.refused == 408:
            says = "what was sent stopped coming; send it again"
        return JSONResponse({"says": [says]}, self.refused, headers)
