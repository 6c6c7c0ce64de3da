"""A log played again at any speed: batches handed out when their time has come."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterable, Iterator
from typing import Final

import numpy as np

from linkwright.watch.log.record import SECOND_NS, Batch

#: Readings of so long are handed out together [s of the reader's time].
TOGETHER_S: Final = 0.1


def paced(
    batches: Iterable[Batch], speed: float, *, clock: Callable[[], float], sleep: Callable[[float], None]
) -> Iterator[Batch]:
    """Batches in the order of time, each part when its time has come: `speed` times as fast as it was logged.

    `clock` gives seconds and `sleep` waits: the caller's, so that this module has no clock. An infinite speed hands
    everything out at once. What is late is handed out at once and nothing is left out.
    """
    begun: float | None = None
    first_ns = 0
    for batch in batches:
        if not len(batch):
            continue
        if not math.isfinite(speed):
            yield batch
            continue
        if begun is None:
            begun, first_ns = clock(), int(batch.time_ns[0])
        part = (batch.time_ns - first_ns) // max(1, round(TOGETHER_S * speed * SECOND_NS))
        edges = [0, *(np.flatnonzero(np.diff(part)) + 1).tolist(), len(batch)]
        for start, stop in itertools.pairwise(edges):
            due = (int(batch.time_ns[start]) - first_ns) / SECOND_NS / speed
            wait = due - (clock() - begun)
            if wait > 0.0:
                sleep(wait)
            yield batch.part(start, stop)
