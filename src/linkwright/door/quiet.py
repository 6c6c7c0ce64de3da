"""The log of faults says the same a few times a minute, however often it happens."""

from __future__ import annotations

import logging
import time
from collections.abc import Callable
from typing import Final

#: The same is said so often in so long [s], in so many characters.
MOST: Final = 5
SPAN_S: Final = 60.0
MOST_LENGTH: Final = 8000
#: So many different things are told apart.
MOST_KINDS: Final = 200
#: Who may be made to say something by whoever is on the network.
LOGGERS: Final = ("uvicorn.error", "asyncio", "python_multipart.multipart", "linkwright.door")


class Seldom(logging.Filter):
    """Lets a message pass a few times a minute; the next after that says how many did not."""

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        super().__init__()
        self._clock = clock
        self._said: dict[str, tuple[float, int]] = {}

    def filter(self, record: logging.LogRecord) -> bool:
        """Whether it is said."""
        now, key = self._clock(), f"{record.name}{record.levelno}{record.msg}"[:200]
        since, count = self._said.get(key, (now, 0))
        held = count - MOST if now - since >= SPAN_S else 0
        if now - since >= SPAN_S:
            since, count = now, 0
        if len(self._said) >= MOST_KINDS:
            self._said.clear()
        self._said[key] = since, count + 1
        if count >= MOST:
            return False
        more = f" (and {held} more like it before)" if held > 0 else ""
        record.msg, record.args = f"{record.getMessage()[:MOST_LENGTH]}{more}", ()
        return True


def quieten() -> None:
    """Let those who may be made to say something say it seldom."""
    for name in LOGGERS:
        logger = logging.getLogger(name)
        if not any(isinstance(log_filter, Seldom) for log_filter in logger.filters):
            logger.addFilter(Seldom())
