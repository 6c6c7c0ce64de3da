"""One-time codes that let a device in, and actions that were sent more than once."""

from __future__ import annotations

import secrets
import threading
import time
from typing import Final

from linkwright.web.security import Role

#: How long a code lets a device in [s], and how many wrong ones are borne in that time.
CODE_S: Final = 300.0
MOST_WRONG: Final = 20


class Codes:
    """The one-time codes that are out: kept in memory, as they live for minutes."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._out: dict[str, tuple[Role, float]] = {}
        self._wrong: list[float] = []

    def new(self, role: Role) -> str:
        """A code for one device."""
        code = secrets.token_urlsafe(24)
        with self._lock:
            now = time.monotonic()
            self._out = {old: one for old, one in self._out.items() if now - one[1] < CODE_S}
            self._out[code] = (role, now)
        return code

    def take(self, code: str) -> Role | None:
        """The role of a code that is out, which is then used up."""
        with self._lock:
            now = time.monotonic()
            self._wrong = [then for then in self._wrong if now - then < CODE_S]
            if len(self._wrong) >= MOST_WRONG:
                return None
            role, when = self._out.pop(code, (None, 0.0))
            if role is None or now - when > CODE_S:
                self._wrong.append(now)
                return None
            return role
