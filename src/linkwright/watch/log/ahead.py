"""Reading ahead: a second thread fetches the next batches while the watch works on the last.

Both are compiled loops that let others run meanwhile, so a long log takes as long as the slower of the two.
"""

from __future__ import annotations

import contextlib
import queue
import threading
from collections.abc import Generator
from typing import Final, TypeVar

T = TypeVar("T")

#: Batches that may wait.
MOST: Final = 4
#: How often a thread that waits looks whether it is still wanted [s].
LOOK_S: Final = 0.2


class _End:
    """Nothing more comes; `error` is why, where it was not the end."""

    def __init__(self, error: BaseException | None = None) -> None:
        self.error = error


def ahead(items: Generator[T, None, None], most: int = MOST) -> Generator[T, None, None]:
    """The same items in the same order, fetched by a thread of their own, at most `most` ahead.

    What the fetching raises is raised here, after the items before it. Closing this closes `items` too.
    """
    waiting: queue.Queue[T | _End] = queue.Queue(most)
    unwanted = threading.Event()

    def put(item: T | _End) -> None:
        while not unwanted.is_set():
            try:
                waiting.put(item, timeout=LOOK_S)
            except queue.Full:
                continue
            return

    def fetch() -> None:
        try:
            with contextlib.closing(items):
                for item in items:
                    put(item)
                    if unwanted.is_set():
                        return
        except BaseException as error:  # whatever it is, it belongs to whoever asked
            put(_End(error))
        else:
            put(_End())

    thread = threading.Thread(target=fetch, name="reading ahead", daemon=True)
    thread.start()
    try:
        while True:
            next_item = waiting.get()
            if isinstance(next_item, _End):
                if next_item.error is not None:
                    raise next_item.error
                return
            yield next_item
    finally:
        unwanted.set()
        thread.join()
