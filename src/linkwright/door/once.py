"""An action that is sent again, as its answer was lost on the way, is done once and answered twice.

A page sends each of its actions with a name of its own (`x-once`), and sends it again until it has an answer. Who
sends the same name again while the first is being done waits for it.
"""

from __future__ import annotations

import asyncio
from collections import OrderedDict
from typing import Final

from starlette.types import ASGIApp, Message, Receive, Scope, Send

#: Answers that are remembered, and the longest name.
MOST: Final = 1000
MOST_NAME: Final = 80


class Once:
    """Plain ASGI, so that streams pass without being held up."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app
        self._answers: OrderedDict[tuple[str, str], asyncio.Future[list[Message]]] = OrderedDict()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let through what is new; answer again what was done."""
        name = _name(scope)
        if not name:
            await self.app(scope, receive, send)
            return
        person = scope.get("person")
        key = (f"{getattr(person, 'device', '')}{scope['path']}", name)
        known = self._answers.get(key)
        if known is not None:
            for message in await asyncio.shield(known):
                await send(message)
            return
        answer: asyncio.Future[list[Message]] = asyncio.get_running_loop().create_future()
        self._answers[key] = answer
        while len(self._answers) > MOST:
            self._answers.popitem(last=False)
        messages: list[Message] = []

        async def both(message: Message) -> None:
            messages.append(message)
            await send(message)

        try:
            await self.app(scope, receive, both)
        finally:
            done = bool(messages) and messages[0]["type"] == "http.response.start" and messages[0]["status"] < 500
            if not done:
                self._answers.pop(key, None)
            answer.set_result(messages if messages else [_gone(), {"type": "http.response.body", "body": b""}])


def _name(scope: Scope) -> str:
    """The name of an action; nothing where it has none."""
    if scope["type"] != "http" or scope["method"] != "POST":
        return ""
    given = next((value for key, value in scope["headers"] if key == b"x-once"), b"")
    return str(given[:MOST_NAME].decode("latin-1"))


def _gone() -> Message:
    return {"type": "http.response.start", "status": 503, "headers": []}
