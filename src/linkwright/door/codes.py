"""One-time codes that let a device in."""

from __future__ import annotations

import secrets
import threading
import time
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from linkwright.store import Role

#: How long a code lets a device in [s], and how many wrong ones are borne from one address in that time.
CODE_S: Final = 300.0
MOST_WRONG: Final = 20
#: So many addresses are remembered.
MOST_ADDRESSES: Final = 1000


@dataclass(frozen=True, slots=True)
class Admission:
    """What a code is for: a role (of a crew: which) and a name, or a device that joined before and comes
    from another address."""

    role: Role
    name: str = ""
    device: str = ""
    crew: str = ""


class Codes:
    """The one-time codes that are out: kept in memory, as they live for minutes."""

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._lock = threading.Lock()
        self._out: dict[str, tuple[Admission, float]] = {}
        self._wrong: OrderedDict[str, list[float]] = OrderedDict()

    def new(self, role: Role, name: str = "", device: str = "", crew: str = "") -> str:
        """A code for one device."""
        code = secrets.token_urlsafe(24)
        with self._lock:
            now = self._clock()
            self._out = {old: one for old, one in self._out.items() if now - one[1] < CODE_S}
            self._out[code] = (Admission(role, name, device, crew), now)
        return code

    def take(self, code: str, address: str = "") -> Admission | None:
        """What a code that is out is for; it is then used up. An address that guesses is not heard for a while."""
        with self._lock:
            now = self._clock()
            wrong = [then for then in self._wrong.get(address, ()) if now - then < CODE_S]
            if len(wrong) >= MOST_WRONG:
                return None
            admission, when = self._out.pop(code, (None, 0.0))
            if admission is not None and now - when <= CODE_S:
                return admission
            self._wrong[address] = [*wrong, now]
            self._wrong.move_to_end(address)
            while len(self._wrong) > MOST_ADDRESSES:
                self._wrong.popitem(last=False)
            return None
