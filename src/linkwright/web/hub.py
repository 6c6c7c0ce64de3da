"""What happened, told to every open page: one stream a page, small events, the page fetches what it needs."""

from __future__ import annotations

import asyncio
import contextlib
import json
from collections.abc import AsyncIterator, Callable
from dataclasses import dataclass
from typing import Any, Final

#: A stream that says nothing for so long is told that it is still there [s].
BEAT_S: Final = 15.0
#: A page that has not taken so many events is behind: it is told to load again.
MOST_WAITING: Final = 200
#: A stream is told at once, and then not again for so long [s]: a crew of hundreds costs as many sendings an event.
TOGETHER_S: Final = 0.25
#: Events that come many times a second: a page gets them only where it asks for them.
ASKED_FOR: Final = frozenset({"live"})

#: The event that something of a crew's own has changed.
OWN: Final = "own"


@dataclass(frozen=True, slots=True)
class _Listener:
    """Who has a stream: the topics it asked for, its device, and its crew, where it is of one."""

    topics: frozenset[str]
    device: str
    crew: str


def _put(queue: asyncio.Queue[str | None], text: str) -> None:
    behind = queue.qsize() >= MOST_WAITING
    while behind and not queue.empty():
        queue.get_nowait()
    queue.put_nowait("event: behind\ndata: {}\n\n" if behind else text)


class Hub:
    """Hands events to all open streams; may be told from any thread."""

    def __init__(self) -> None:
        self._queues: dict[asyncio.Queue[str | None], _Listener] = {}
        self._loop: asyncio.AbstractEventLoop | None = None
        self._closed = False

    @property
    def open(self) -> int:
        """How many pages listen."""
        return len(self._queues)

    def tell(self, event: str, data: Any) -> None:
        """Tell all pages, from any thread; an event of `ASKED_FOR` only those that asked for it.

        "own" is told to the crew that it is about alone (all crews, where it says none), and without what it says:
        a crew's page then asks for what is its own. Crews are told nothing else. "forgotten" is told to nobody: it
        ends the streams of a device.
        """
        loop = self._loop
        if event == "forgotten" and loop is not None:
            loop.call_soon_threadsafe(self._end, data["device"])
        elif loop is not None and not self._closed and event == OWN:
            with contextlib.suppress(RuntimeError):
                loop.call_soon_threadsafe(self._hand_to_crews, data.get("crew", ""))
        elif loop is not None and not self._closed:
            text = f"event: {event}\ndata: {json.dumps(data, separators=(',', ':'))}\n\n"
            with contextlib.suppress(RuntimeError):  # the loop has ended: nobody listens any more
                loop.call_soon_threadsafe(self._hand_out, text, event if event in ASKED_FOR else "")

    def _hand_out(self, text: str, topic: str = "") -> None:
        for queue, listener in self._queues.items():
            if not listener.crew and (not topic or topic in listener.topics):
                _put(queue, text)

    def _hand_to_crews(self, crew: str) -> None:
        for queue, listener in self._queues.items():
            if listener.crew and crew in ("", listener.crew) and queue.empty():  # one that waits says the same
                _put(queue, f"event: {OWN}\ndata: {{}}\n\n")

    def _end(self, device: str) -> None:
        for queue, listener in self._queues.items():
            if listener.device == device:
                queue.put_nowait(None)

    async def stream(
        self, stands: Callable[[], dict[str, Any]], topics: frozenset[str] = frozenset(), device: str = "",
        lasts: Callable[[], bool] = lambda: True, crew: str = "",
    ) -> AsyncIterator[str]:  # fmt: skip
        """The events from now on; the first tells where things stand, asked once nothing can be missed any more.

        device : whose stream it is; crew : of which crew, by its id. lasts : whether it may go on, asked when
        nothing was said for a while.
        """
        self._loop = asyncio.get_running_loop()
        queue: asyncio.Queue[str | None] = asyncio.Queue()
        self._queues[queue] = _Listener(topics, device, crew)
        try:
            yield f"retry: 1000\nevent: hello\ndata: {json.dumps(stands())}\n\n"
            told_s = -TOGETHER_S
            while not self._closed:
                try:
                    texts = [await asyncio.wait_for(queue.get(), BEAT_S)]
                except TimeoutError:
                    texts = [": still here\n\n"]
                if texts[0] is not None and texts[0][0] != ":":
                    await asyncio.sleep(max(0.0, told_s + TOGETHER_S - self._loop.time()))
                while not queue.empty() and texts[-1] is not None:
                    texts.append(queue.get_nowait())
                if not lasts():
                    return
                told_s = self._loop.time()
                yield "".join(text for text in texts if text is not None)
                if texts[-1] is None:
                    return
        finally:
            self._queues.pop(queue, None)

    def close(self) -> None:
        """End all streams: an open one would hold up the shutdown."""
        self._closed = True
        for queue in list(self._queues):
            queue.put_nowait(None)
