"""Readings made by hand: levels, gaps and drop-outs whose figures are exact arithmetic."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from linkwright.watch.log.kept import Stretch

#: 14 May 2027, 09:00 in London [ms since 1970]; by hand: 20,952 days and 8 hours.
NINE_MS = (20_952 * 24 + 8) * 3_600_000


def readings(
    links: Sequence[str] = ("Boom",), seconds: float = 60.0, every_ms: int = 100, *, from_ms: int = NINE_MS,
    a_dbm: float = -60.0, b_dbm: float | None = -65.0,
) -> Stretch:  # fmt: skip
    """Steady readings of links, one after the other at each moment."""
    times = from_ms + every_ms * np.arange(round(1000 * seconds / every_ms), dtype=np.int64)
    count = times.size * len(links)

    def all_of(value: float) -> np.ndarray:
        return np.full(count, value, dtype=np.float32)

    return Stretch(
        tuple(links), np.repeat(times, len(links)), np.tile(np.arange(len(links), dtype=np.int32), times.size),
        all_of(a_dbm), all_of(np.nan if b_dbm is None else b_dbm), all_of(-24.0), all_of(1.0), all_of(0.5),
        np.zeros(count, dtype=np.int8),
    )  # fmt: skip


def part(one: Stretch, keep: np.ndarray) -> Stretch:
    """Some of the readings."""
    return Stretch(
        one.links, one.time_ms[keep], one.link[keep], one.rf_a_dbm[keep], one.rf_b_dbm[keep], one.audio_dbfs[keep],
        one.quality[keep], one.battery[keep], one.muted[keep],
    )  # fmt: skip
