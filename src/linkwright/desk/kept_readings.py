"""Readings of the day, kept in the job a minute at a time, and read again after a restart or for the wrap."""

from __future__ import annotations

import contextlib
import datetime
import math
from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from linkwright.shoot.errors import InputError
from linkwright.store import READINGS, Attachment, Store
from linkwright.store.attachments import TailTaken
from linkwright.watch.log.kept import Stretch, packed, unpacked
from linkwright.watch.log.record import Batch
from linkwright.watch.log.stretches import batch_of, stretch_of

#: Readings are on the disk after so long [s], and a minute of them becomes one attachment.
WRITE_S: Final = 0.75
KEEP_S: Final = 60.0
#: No more readings than this wait for a disk that refuses them.
MOST_WAITING: Final = 1_000_000
MOST_BYTES: Final = 64 * 1024 * 1024


@dataclass
class ReadingKeeper:
    """Keeps readings: within a second in the tail of the job, which becomes an attachment every minute.

    What the store refuses is kept here and tried again. says : why it was refused, a sentence; waiting, lost : how
    many readings are not on the disk yet, and never will be as too many waited.
    """

    store: Store
    says: str = ""
    waiting: int = 0
    lost: int = 0
    _batches: deque[Batch] = field(default_factory=deque)
    _tried_s: float = -math.inf
    _minute_s: float | None = None

    def add(self, batch: Batch) -> None:
        """Readings to keep; where too many wait, the oldest are lost."""
        if len(batch):
            self._batches.append(batch)
            self.waiting += len(batch)
        while self.waiting > MOST_WAITING:
            gone = len(self._batches.popleft())
            self.waiting, self.lost = self.waiting - gone, self.lost + gone

    def turn(self, now_s: float) -> None:
        """Write what is due at a time that only goes forward. Never raises for what the store refuses."""
        if now_s - self._tried_s < WRITE_S:
            return
        self._tried_s = now_s
        if self._minute_s is None:
            self._minute_s = now_s
        try:
            self._write()
            if now_s - self._minute_s >= KEEP_S:
                self._minute_s = now_s
                self.keep()
        except InputError as error:
            self.says = str(error)

    def _write(self) -> None:
        """What waits into the tail. Raises InputError, with everything as it was."""
        if self._batches:
            self.store.add_tail(packed(together(list(self._batches))))
            self._batches.clear()
            self.waiting = 0
        self.says = ""

    def keep(self) -> None:
        """Everything that came, as an attachment. Raises InputError, with nothing lost."""
        self._write()
        tail = self.store.tail()
        batches = list(_unpacked(tail))
        if batches:
            stretch = together(batches)
            with contextlib.suppress(TailTaken):
                self.store.attach(
                    name_of(stretch), packed(stretch), "receivers", most_bytes=MOST_BYTES, kind=READINGS,
                    for_tail=tail,
                )  # fmt: skip


def name_of(stretch: Stretch) -> str:
    """What a stretch is called: the UTC time of its first reading. IndexError for an empty one."""
    first = datetime.datetime.fromtimestamp(int(stretch.time_ms[0]) / 1000.0, datetime.UTC)
    return first.isoformat(timespec="milliseconds")


def together(batches: list[Batch]) -> Stretch:
    """Batches as one stretch in the order of time."""
    names = list(dict.fromkeys(name for batch in batches for name in batch.names))
    index = {name: n for n, name in enumerate(names)}
    link = np.concatenate(
        [np.array([index[name] for name in batch.names], np.int32)[batch.link] for batch in batches]
    )
    time_ns = np.concatenate([batch.time_ns for batch in batches])
    return stretch_of(Batch(tuple(names), link, time_ns, np.concatenate([batch.values for batch in batches])))


def kept(store: Store) -> list[Attachment]:
    """The stretches that are kept, oldest first."""
    return sorted(
        (attachment for attachment in store.attachment_list() if attachment.kind == READINGS),
        key=lambda attachment: attachment.name,
    )


def newest(store: Store, minutes: int) -> Iterator[Batch]:
    """The last minutes that are kept, and what came since. Raises InputError for one that is damaged."""
    for attachment in kept(store)[-minutes:]:
        yield batch_of(stretch_in(store, attachment))
    yield from _unpacked(store.tail())


def _unpacked(tail: list[tuple[int, bytes]]) -> Iterator[Batch]:
    """The seconds of a tail; a damaged one is left out, so that the rest of its minute is kept."""
    for _, data in tail:
        with contextlib.suppress(ValueError):
            yield batch_of(unpacked(data))


def stretch_in(store: Store, attachment: Attachment) -> Stretch:
    """A stretch that was kept. Raises InputError where it is damaged."""
    try:
        return unpacked(store.attachment(attachment.id))
    except ValueError as error:
        raise InputError(f"the readings of {attachment.name} {error}; they are left out") from None
