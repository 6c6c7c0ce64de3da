"""The book at the door: who joined, was refused, was forgotten. What is refused often is written down seldom."""

from __future__ import annotations

import contextlib
import threading
import time
from collections import Counter
from collections.abc import Callable
from typing import Final

from linkwright.shoot.errors import InputError
from linkwright.store import Passing, Store

#: Refusals are written down together so often [s], and of so many addresses; the others count as one.
TOGETHER_S: Final = 10.0
MOST_ADDRESSES: Final = 100
OTHERS: Final = "further addresses"


class Book:
    """Writes into the job what happens at its door. Safe to use from several threads."""

    def __init__(self, store: Store, clock: Callable[[], float] = time.monotonic) -> None:
        self._store, self._clock = store, clock
        self._lock = threading.Lock()
        self._refused: Counter[tuple[Passing, str]] = Counter()
        self._due_s = 0.0

    def refuse(self, what: Passing, address: str) -> bool:
        """Somebody was not let in. Whether it is time to `write`."""
        with self._lock:
            known = (what, address) in self._refused or len(self._refused) < MOST_ADDRESSES
            self._refused[what, address if known else OTHERS] += 1
            return self._clock() >= self._due_s

    def write(self) -> None:
        """Write down the refusals since the last time; what cannot be written is counted on."""
        with self._lock:
            refused, self._refused = self._refused, Counter()
            self._due_s = self._clock() + TOGETHER_S
        for (what, address), times in refused.items():
            try:
                self._store.pass_door(what, "", address, times)
            except InputError:  # a full disk, a database that is away: told where edits are refused
                with self._lock:
                    self._refused[what, address] += times

    def put(self, what: Passing, who: str, address: str) -> None:
        """Something happened at the door."""
        with contextlib.suppress(InputError):
            self._store.pass_door(what, who, address)
