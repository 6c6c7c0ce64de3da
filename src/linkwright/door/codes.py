"""One-time codes that let a device in."""

from __future__ import annotations

import datetime
import secrets
import threading
import time
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import asdict, dataclass
from typing import Final, cast

from linkwright.store import Role, Store

#: How long a code lets a device in [s], and how many wrong ones are borne from one address in that time.
CODE_S: Final = 300.0
HOLDS: Final = datetime.timedelta(seconds=CODE_S)
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
    """The one-time codes that are out: in the job, so that any process that serves it takes them. How often which
    address guessed is this process's own."""

    def __init__(self, store: Store, clock: Callable[[], float] = time.monotonic) -> None:
        self._store, self._clock = store, clock
        self._lock = threading.Lock()
        self._wrong: OrderedDict[str, list[float]] = OrderedDict()

    def new(self, role: Role, name: str = "", device: str = "", crew: str = "") -> str:
        """A code for one device."""
        code = secrets.token_urlsafe(24)
        self._store.put_code(code, asdict(Admission(role, name, device, crew)), HOLDS)
        return code

    def take(self, code: str, address: str = "") -> Admission | None:
        """What a code that is out is for; it is then used up. An address that guesses is not heard for a while."""
        with self._lock:
            now = self._clock()
            wrong = [then for then in self._wrong.get(address, ()) if now - then < CODE_S]
            if len(wrong) >= MOST_WRONG:
                return None
            admits = self._store.take_code(code, HOLDS)
            if admits is not None:
                return Admission(cast(Role, admits["role"]), admits["name"], admits["device"], admits["crew"])
            self._wrong[address] = [*wrong, now]
            self._wrong.move_to_end(address)
            while len(self._wrong) > MOST_ADDRESSES:
                self._wrong.popitem(last=False)
            return None
