"""Levels over a long time in few numbers: lowest and highest of each branch in bins of equal length.

Stretches are taken in as they come; when there are too many bins their length doubles, so that a day of any number
of readings stays in bounded memory.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from linkwright.units import FloatArray, IntArray, SampleArray
from linkwright.watch.log.kept import Stretch

#: Bins of all links together, beyond which their length doubles.
MOST_BINS: Final = 2_000_000
#: Length of a bin to begin with [ms].
STEP_MS: Final = 1000


@dataclass(frozen=True, eq=False, slots=True)
class Envelope:
    """One link: the begin of each bin (n,) [ms, UTC], and levels (n, 4) [dBm]: branch A's lowest and highest, then
    B's; NaN where nothing was read. `step_ms` is the length of a bin.
    """

    at_ms: IntArray
    levels: FloatArray
    step_ms: int


@dataclass
class Outline:
    """The envelopes of all links, taken in piece by piece; `from_ms` and `to_ms` bound what is wanted, if given."""

    step_ms: int = STEP_MS
    from_ms: int | None = None
    to_ms: int | None = None
    most_bins: int = MOST_BINS
    _parts: dict[str, list[tuple[IntArray, SampleArray]]] = field(default_factory=dict)
    _bins: int = 0

    def add(self, stretch: Stretch) -> None:
        """Take in readings; within a stretch they stand in the order of time."""
        inside = np.ones(stretch.size, dtype=np.bool_)
        if self.from_ms is not None:
            inside &= stretch.time_ms >= self.from_ms
        if self.to_ms is not None:
            inside &= stretch.time_ms < self.to_ms
        for n in np.unique(stretch.link[inside]).tolist():
            rows = np.flatnonzero(inside & (stretch.link == n))
            at = stretch.time_ms[rows] // self.step_ms
            level = np.stack(
                [stretch.rf_a_dbm[rows], stretch.rf_a_dbm[rows], stretch.rf_b_dbm[rows], stretch.rf_b_dbm[rows]], 1
            )
            bins, levels = _binned(at, level)
            self._parts.setdefault(stretch.links[n], []).append((bins, levels))
            self._bins += bins.size
        while self._bins > self.most_bins:
            self._coarsen()

    def _coarsen(self) -> None:
        """Bins of twice the length."""
        self.step_ms *= 2
        self._bins = 0
        for link, parts in self._parts.items():
            at, levels = _joined(parts)
            at, levels = _binned(at // 2, levels)
            self._parts[link] = [(at, levels)]
            self._bins += at.size

    def links(self) -> tuple[str, ...]:
        """The links that were read, in the order in which they first came."""
        return tuple(self._parts)

    def of(self, link: str, from_ms: int, to_ms: int, columns: int) -> Envelope:
        """A link between two times in at most about `columns` bins; empty for a link that was not read."""
        parts = self._parts.get(link)
        if not parts:
            return Envelope(np.zeros(0, np.int64), np.zeros((0, 4)), self.step_ms)
        at, levels = _binned(*_joined(parts))
        keep = (at * self.step_ms + self.step_ms > from_ms) & (at * self.step_ms < to_ms)
        times = max(1, int(np.ceil((to_ms - from_ms) / self.step_ms / max(1, columns))))
        at, levels = _binned(at[keep] // times, levels[keep])
        step = self.step_ms * times
        return Envelope(at * step, levels.astype(np.float64), step)


def _joined(parts: Iterable[tuple[IntArray, SampleArray]]) -> tuple[IntArray, SampleArray]:
    listed = list(parts)
    at, levels = (
        np.concatenate([stretch[0] for stretch in listed]),
        np.concatenate([stretch[1] for stretch in listed]),
    )
    order = np.argsort(at, kind="stable")
    return at[order], levels[order]


def _binned(at: IntArray, level: SampleArray) -> tuple[IntArray, SampleArray]:
    """Lowest (even columns) and highest (odd) of the rows of each bin; `at` ascends. NaN stands for nothing."""
    if not at.size:
        return at, level
    first = np.flatnonzero(np.concatenate([[True], np.diff(at) > 0]))
    extremes = np.empty((first.size, 4), dtype=np.float32)
    extremes[:, 0::2] = np.fmin.reduceat(level[:, 0::2], first, axis=0)
    extremes[:, 1::2] = np.fmax.reduceat(level[:, 1::2], first, axis=0)
    return at[first], extremes
