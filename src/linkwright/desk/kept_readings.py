"""Readings of the day, kept in the job a minute at a time, and read again after a restart or for the wrap."""

from __future__ import annotations

import datetime
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from linkwright.shoot.errors import InputError
from linkwright.store import READINGS, Attachment, Store
from linkwright.watch.log.kept import Stretch, packed, unpacked
from linkwright.watch.log.record import Batch
from linkwright.watch.log.stretches import batch_of, stretch_of

#: So much is put together before it is kept [s]; and never more readings than this.
KEEP_S: Final = 60.0
MOST_TOGETHER: Final = 1_000_000
MOST_BYTES: Final = 64 * 1024 * 1024


@dataclass
class Keeper:
    """Puts readings together and keeps them."""

    store: Store
    _batches: list[Batch] = field(default_factory=list)
    _count: int = 0
    _since_s: float | None = None

    def add(self, batch: Batch, now_s: float) -> None:
        """Readings that came at `now_s`; kept when a minute of them is there."""
        if not len(batch):
            return
        if self._since_s is None:
            self._since_s = now_s
        self._batches.append(batch)
        self._count += len(batch)
        if now_s - self._since_s >= KEEP_S or self._count >= MOST_TOGETHER:
            self.keep()

    def keep(self) -> None:
        """Keep what there is."""
        if self._count:
            stretch = together(self._batches)
            self.store.attach(name_of(stretch), packed(stretch), "receivers", most_bytes=MOST_BYTES, kind=READINGS)
        self._batches, self._count, self._since_s = [], 0, None


def name_of(stretch: Stretch) -> str:
    """What a stretch is called: the UTC time of its first reading. IndexError for an empty one."""
    first = datetime.datetime.fromtimestamp(int(stretch.time_ms[0]) / 1000.0, datetime.UTC)
    return first.isoformat(timespec="milliseconds")


def together(batches: list[Batch]) -> Stretch:
    """Batches as one stretch in the order of time."""
    names = list(dict.fromkeys(name for batch in batches for name in batch.names))
    index = {name: n for n, name in enumerate(names)}
    link = np.concatenate([np.array([index[name] for name in one.names], np.int32)[one.link] for one in batches])
    time_ns = np.concatenate([one.time_ns for one in batches])
    return stretch_of(Batch(tuple(names), link, time_ns, np.concatenate([one.values for one in batches])))


def kept(store: Store) -> list[Attachment]:
    """The stretches that are kept, oldest first."""
    return sorted((one for one in store.attachment_list() if one.kind == READINGS), key=lambda one: one.name)


def read(store: Store, ones: list[Attachment]) -> Iterator[Batch]:
    """These stretches one after the other. Raises InputError for one that is damaged."""
    for one in ones:
        yield batch_of(stretch_in(store, one))


def stretch_in(store: Store, one: Attachment) -> Stretch:
    """A stretch that was kept. Raises InputError where it is damaged."""
    try:
        return unpacked(store.attachment(one.id))
    except ValueError as error:
        raise InputError(f"the readings of {one.name} {error}; they are left out") from None
