"""How many connections are held, in all and by address, and whose goes first where there are too many.

Three kinds of addresses have room of their own, so that none takes that of another: this machine, devices that have
shown a token since the pages were opened, and everybody else. Where room is gone, the connection that has been
waiting longest without a request in it goes; one in which something is being answered stays.
"""

from __future__ import annotations

from collections import Counter, OrderedDict
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Final, Literal

Kind = Literal["home", "known", "strange"]

#: The addresses of this machine itself; the rest of 127.0.0.0/8 counts as the network.
HOME: Final = frozenset({"127.0.0.1", "::1"})
#: Descriptors that are left to files and databases.
LEFT: Final = 128
#: What share of the others each kind has, and how many connections one address of it.
SHARES: Final[dict[Kind, float]] = {"home": 0.2, "known": 0.6, "strange": 0.2}
MOST_EACH: Final[dict[Kind, int]] = {"home": 1_000_000, "known": 256, "strange": 24}
#: How many connections an address may begin each second, and how many at once: each costs a handshake.
PACE: Final[dict[Kind, tuple[float, float]]] = {"home": (1e9, 1e9), "known": (50.0, 256.0), "strange": (10.0, 50.0)}
#: How long a connection may be without a whole request in it: its handshake, a slow line of headers [s].
WAIT_S: Final = 10.0
#: So many addresses are known as those of devices, or by their pace.
MOST_KNOWN: Final = 1000


def _nothing() -> None:
    """A connection that cannot be ended yet."""


@dataclass(eq=False, slots=True)
class Visit:
    """One connection: from where, since when it waits, and what ends it."""

    address: str
    kind: Kind
    since_s: float
    end: Callable[[], None] = field(default=_nothing)


class Keeper:
    """Counts connections; to be used from one thread, that of the loop.

    descriptors : how many files this process may have open.
    """

    def __init__(self, descriptors: int = 1024) -> None:
        self._known: OrderedDict[str, None] = OrderedDict()
        self._behind = False
        self._visits: set[Visit] = set()
        self._waiting: OrderedDict[Visit, None] = OrderedDict()
        self._each: Counter[str] = Counter()
        self._kinds: Counter[Kind] = Counter()
        self._pace: OrderedDict[str, tuple[float, float]] = OrderedDict()
        self.room(descriptors)

    def room(self, descriptors: int) -> None:
        """Share out so many descriptors."""
        self.most: dict[Kind, int] = {kind: int(share * (descriptors - LEFT)) for kind, share in SHARES.items()}
        if self._behind:
            self.trust()

    def trust(self) -> None:
        """All come from a balancer in front, which counts them: each as from this machine itself."""
        self._behind = True
        self.most["home"] += self.most["known"] + self.most["strange"]

    def know(self, address: str) -> None:
        """A device of the crew is at this address."""
        self._known[address] = None
        self._known.move_to_end(address)
        while len(self._known) > MOST_KNOWN:
            self._known.popitem(last=False)

    def come(self, address: str, now_s: float) -> Visit | None:
        """One more connection; another may have to go for it. None: there is no room, and none that could go."""
        kind: Kind = "home" if self._behind or address in HOME else "known" if address in self._known else "strange"
        if self._too_fast(address, kind, now_s):
            return None
        if self._each[address] >= MOST_EACH[kind] and not self._make_room(lambda visit: visit.address == address):
            return None
        if self._kinds[kind] >= self.most[kind] and not self._make_room(lambda visit: visit.kind == kind):
            return None
        visit = Visit(address, kind, now_s)
        self._visits.add(visit)
        self._waiting[visit] = None
        self._each[address] += 1
        self._kinds[kind] += 1
        return visit

    def _too_fast(self, address: str, kind: Kind, now_s: float) -> bool:
        a_second, at_once = PACE[kind]
        left, since_s = self._pace.pop(address, (at_once, now_s))
        left = min(at_once, left + a_second * (now_s - since_s))
        self._pace[address] = (left - 1.0 if left >= 1.0 else left), now_s
        while len(self._pace) > MOST_KNOWN:
            self._pace.popitem(last=False)
        return left < 1.0

    def _make_room(self, of: Callable[[Visit], bool]) -> bool:
        oldest = next((visit for visit in self._waiting if of(visit)), None)
        if oldest is not None:
            self._drop(oldest)
        return oldest is not None

    def _drop(self, visit: Visit) -> None:
        self.leave(visit)
        visit.end()

    def asks(self, visit: Visit) -> None:
        """There is a whole request in it."""
        self._waiting.pop(visit, None)

    def waits(self, visit: Visit, now_s: float) -> None:
        """What it asked is answered; it may be used again."""
        if visit in self._visits:
            visit.since_s = now_s
            self._waiting[visit] = None
            self._waiting.move_to_end(visit)

    def leave(self, visit: Visit) -> None:
        """It has ended."""
        if visit in self._visits:
            self._visits.discard(visit)
            self._waiting.pop(visit, None)
            self._kinds[visit.kind] -= 1
            self._each[visit.address] -= 1
            if not self._each[visit.address]:
                del self._each[visit.address]

    def sweep(self, now_s: float) -> None:
        """End those that have waited too long."""
        while self._waiting and now_s - (oldest := next(iter(self._waiting))).since_s > WAIT_S:
            self._drop(oldest)

    def held(self) -> dict[str, int]:
        """How many there are, by address."""
        return dict(self._each)
