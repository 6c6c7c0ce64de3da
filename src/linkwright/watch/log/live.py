"""Readings as they come in: records from anywhere, thread safe, bounded, everything lost counted.

One way in: `take` is what HTTP, MQTT, OSC, a replay and the simulator give their readings to, from any thread; it
only checks and puts them by. One way out: `drain` gives what waits, to whoever shows, keeps and judges it.
"""

from __future__ import annotations

import json
import threading
import time
from collections import deque
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np

from linkwright.shoot.errors import InputError
from linkwright.watch.log.common_clock import Agreed
from linkwright.watch.log.record import MOST_LINKS, SECOND_NS, Batch, Reading, iso_of, reading_from

#: Readings that may wait: half a minute of 1000 links ten times a second.
MOST_WAITING: Final = 300_000
#: Links that are in no shoot: so many, whatever is sent; each is a tile, and looks to send to every page.
MOST_STRANGERS: Final = 100
#: Longest payload [bytes], and most records in one.
MOST_BYTES: Final = 16 * 1024 * 1024
MOST_RECORDS: Final = 100_000
#: Reasons for refusing that one answer lists; the count is of all.
MOST_REASONS: Final = 20

Payload = bytes | bytearray | str | dict[str, Any] | list[Any]


@dataclass(frozen=True, slots=True)
class Taken:
    """What became of a payload: readings taken, refused (`reasons` of the first), and lost as too many waited."""

    count: int
    refused: int = 0
    reasons: tuple[str, ...] = ()
    lost: int = 0

    def document(self) -> dict[str, Any]:
        """As the answer of a request."""
        return {"taken": self.count, "refused": self.refused, "lost": self.lost, "reasons": list(self.reasons)}


@dataclass(frozen=True, slots=True)
class Counts:
    """All that came since the begin."""

    taken: int
    refused: int
    lost: int
    waiting: int


class Intake:
    """Where readings come in.

    clock_s : what is added to the times of a link [s].
    """

    def __init__(self, *, clock_s: Mapping[str, float] | None = None, most_waiting: int = MOST_WAITING) -> None:
        self._in = threading.Lock()
        self._waiting: deque[Batch] = deque()
        self._wait = self._taken = self._refused = self._lost = 0
        self._most = most_waiting
        self._clock = dict(clock_s or {})
        self._strangers: set[str] = set()
        self._known: frozenset[str] | None = None
        self._agreed = Agreed()

    def know(self, links: frozenset[str]) -> None:
        """The links of the shoot: there is always room for these."""
        self._known = links

    @property
    def now_ns(self) -> int:
        """The time that the receivers agree on [ns]; 0 before the first reading."""
        return self._agreed.now_ns

    def take(self, payload: Payload | Batch) -> Taken:
        """Take in one record or many: as JSON text, as values, as columns. Never raises for what is in it."""
        if isinstance(payload, Batch):
            return self._put(payload, len(payload), [])
        try:
            records = _records(payload)
        except InputError as error:
            with self._in:
                self._refused += 1
            return Taken(0, 1, (str(error),))
        readings: list[Reading] = []
        reasons: list[str] = []
        many = len(records) > 1
        for n, record in enumerate(records):
            try:
                readings.append(reading_from(record, f"record {n + 1}" if many else "the record"))
            except InputError as error:
                if len(reasons) < MOST_REASONS:
                    reasons.append(str(error))
        return self._put(Batch.of(self._admitted(readings, reasons)), len(records), reasons)

    def _admitted(self, readings: list[Reading], reasons: list[str]) -> list[Reading]:
        """Without those of more strangers than there may be."""
        known, most = self._known or frozenset(), MOST_LINKS if self._known is None else MOST_STRANGERS
        with self._in:
            for reading in readings:
                if reading.of not in known and len(self._strangers) < most:
                    self._strangers.add(reading.of)
            kept = [reading for reading in readings if reading.of in known or reading.of in self._strangers]
        if len(kept) < len(readings):
            reasons.append(f"there are {most} links already that the shoot does not have; is that field the link?")
        return kept

    def _put(self, batch: Batch, records: int, reasons: list[str]) -> Taken:
        """Put readings by; what became of all records. Some are not believed, some lost as too many wait."""
        with self._in:
            if len(batch):
                batch = self._believed(batch, reasons)
            room = max(0, self._most - self._wait)
            lost = max(0, len(batch) - room)
            if lost:
                batch = batch.part(0, room)
            if len(batch):
                self._waiting.append(batch)
            refused = records - len(batch) - lost
            self._wait += len(batch)
            self._taken += len(batch)
            self._lost += lost
            self._refused += refused
        return Taken(len(batch), refused, tuple(reasons[:MOST_REASONS]), lost)

    def _believed(self, batch: Batch, reasons: list[str]) -> Batch:
        """With the clocks of links put right, without what is of another day than the others say it is."""
        clock = [round(self._clock.get(name, 0.0) * SECOND_NS) for name in batch.names]
        if any(clock):
            batch = replace(batch, time_ns=batch.time_ns + np.array(clock, dtype=np.int64)[batch.link])
        believed = self._agreed.hear(batch, time.monotonic(), time.time_ns())
        if believed.all():
            return batch
        first = int(np.argmin(believed))
        reasons.append(
            f"a reading of {batch.names[batch.link[first]]} is dated {iso_of(int(batch.time_ns[first]))}, and the "
            f"others say {iso_of(self._agreed.now_ns)}: set the clock of that receiver"
        )
        return Batch(batch.names, batch.link[believed], batch.time_ns[believed], batch.values[believed])

    def drain(self) -> list[Batch]:
        """What waits, in the order in which it came."""
        with self._in:
            batches, self._waiting, self._wait = list(self._waiting), deque(), 0
            return batches

    def counts(self) -> Counts:
        """What came, was refused, was lost, and waits."""
        with self._in:
            return Counts(self._taken, self._refused, self._lost, self._wait)


def _records(payload: Payload) -> list[Any]:
    """The records of a payload: one, a list of them, or one a line. Raises InputError."""
    if isinstance(payload, dict):
        return [payload]
    if not isinstance(payload, list):
        payload = _parsed(payload)
        if not isinstance(payload, list):
            return [payload]
    if len(payload) > MOST_RECORDS:
        raise InputError(f"the payload has {len(payload)} records; expected at most {MOST_RECORDS}")
    return payload


def _parsed(payload: bytes | bytearray | str) -> Any:
    if len(payload) > MOST_BYTES:
        raise InputError(f"the payload has {len(payload)} bytes; expected at most {MOST_BYTES}")
    try:
        text = payload if isinstance(payload, str) else bytes(payload).decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise InputError(f"the payload is not UTF-8 text (byte {error.start})") from None
    try:
        return json.loads(text)
    except (json.JSONDecodeError, RecursionError, ValueError) as error:
        lines = [line for line in text.splitlines() if line.strip()]
        if len(lines) > 1:
            try:
                return [json.loads(line) for line in lines]
            except (json.JSONDecodeError, RecursionError, ValueError):
                pass
        says = getattr(error, "msg", "nested too deeply")
        raise InputError(f"the payload is not JSON ({says}); expected a reading or a list of them") from None
