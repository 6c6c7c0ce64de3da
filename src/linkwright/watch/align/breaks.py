"""When the audio of each link breaks, gathered from readings batch by batch: what clocks are lined up by.

The same times as `clocks.breaks_of` of the whole log, but what is kept does not grow with the log.
"""

from __future__ import annotations

from array import array
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from linkwright.units import FloatArray, IntArray, SampleArray
from linkwright.watch.diagnose.states import BAD_QUALITY
from linkwright.watch.log.record import MUTED, QUALITY, SECOND_NS, Batch

#: Breaks, and stretches without quality and mute, that are kept of a link; more are counted.
MOST_KEPT: Final = 10_000
#: ... and of all links together: some 32 MB.
MOST_OF_ALL: Final = 2_000_000
#: A break began since the reading before, but no longer ago than this [s].
MOST_STEP_S: Final = 1.0


@dataclass(frozen=True, eq=False, slots=True)
class LinkBreaks:
    """When a link broke. at_ns (n,) : the readings that told it [ns, UTC]; step_s (n,) : since the one before [s].

    left_out : breaks beyond those kept. unsaid (m, 2) : from when to when its readings had neither quality nor mute
    [ns], first and last of them. first_ns, last_ns : its first and last reading.
    """

    link: str
    at_ns: IntArray
    step_s: FloatArray
    left_out: int
    unsaid: IntArray
    first_ns: int
    last_ns: int

    def since(self, base_ns: int) -> FloatArray:
        """The times of the breaks [s since base_ns], each in the middle between two readings."""
        return np.asarray((self.at_ns - base_ns) / SECOND_NS - self.step_s / 2.0, dtype=np.float64)

    def says_nothing(self, from_ns: int, to_ns: int) -> bool:
        """Whether no reading from the one time to the other had quality or mute."""
        if not self.unsaid.size:
            return False
        n = int(np.searchsorted(self.unsaid[:, 0], from_ns, side="right")) - 1
        return n >= 0 and to_ns <= int(self.unsaid[n, 1])


@dataclass(slots=True)
class _Link:
    first_ns: int
    last_ns: int
    bad: bool = False
    unsaid_ns: int | None = None
    at_ns: array[int] = field(default_factory=lambda: array("q"))
    step_s: array[float] = field(default_factory=lambda: array("d"))
    unsaid: array[int] = field(default_factory=lambda: array("q"))
    left_out: int = 0


class Breaks:
    """Takes readings in, each link's own in the order of time; `late` counts those that came out of it."""

    def __init__(self) -> None:
        self.late = 0
        self._links: dict[str, _Link] = {}
        self._kept = 0

    def add(self, batch: Batch) -> None:
        """Take readings in. Late ones, and further ones of a moment that a link had, are left out."""
        order = np.argsort(batch.link, kind="stable")
        edges = np.searchsorted(batch.link[order], np.arange(len(batch.names) + 1))
        for n, name in enumerate(batch.names):
            rows = order[edges[n] : edges[n + 1]]
            if rows.size:
                self._add(name, batch.time_ns[rows], batch.values[rows])

    def _add(self, name: str, time_ns: IntArray, values: SampleArray) -> None:
        link = self._links.get(name)
        newest = np.maximum.accumulate(
            np.concatenate([[time_ns[0] - 1 if link is None else link.last_ns], time_ns])
        )
        new = time_ns > newest[:-1]
        if not new.all():
            self.late += int((time_ns < newest[:-1]).sum())
            time_ns, values = time_ns[new], values[new]
            if not time_ns.size:
                return
        if link is None:
            link = self._links[name] = _Link(int(time_ns[0]), int(time_ns[0]))
        quality, muted = values[:, QUALITY], values[:, MUTED]
        bad = (muted == 1.0) | (quality < BAD_QUALITY)
        before_ns = np.concatenate([[link.last_ns], time_ns[:-1]])
        begins = np.flatnonzero(bad & ~np.concatenate([[link.bad], bad[:-1]]))
        step = np.minimum((time_ns[begins] - before_ns[begins]) / SECOND_NS, MOST_STEP_S)
        room = max(0, min(begins.size, MOST_KEPT - len(link.at_ns), MOST_OF_ALL - self._kept))
        link.at_ns.extend(time_ns[begins[:room]].tolist())
        link.step_s.extend(step[:room].tolist())
        link.left_out += begins.size - room
        self._kept += room
        self._unsaid(link, time_ns, np.isnan(quality) & np.isnan(muted), before_ns)
        link.last_ns, link.bad = int(time_ns[-1]), bool(bad[-1])

    def _unsaid(self, link: _Link, time_ns: IntArray, unsaid: np.ndarray, before_ns: IntArray) -> None:
        """Note where readings without quality and mute begin and end."""
        turns = np.flatnonzero(unsaid != np.concatenate([[link.unsaid_ns is not None], unsaid[:-1]]))
        for n in turns.tolist():
            if link.unsaid_ns is None:
                link.unsaid_ns = int(time_ns[n])
                continue
            if len(link.unsaid) < 2 * MOST_KEPT and self._kept < MOST_OF_ALL:
                link.unsaid.extend((link.unsaid_ns, int(before_ns[n])))
                self._kept += 1
            link.unsaid_ns = None

    def links(self) -> tuple[LinkBreaks, ...]:
        """What was gathered so far, in the order in which the links first appeared; later readings do not change
        it."""
        return tuple(_told(name, link) for name, link in self._links.items())


def _told(name: str, link: _Link) -> LinkBreaks:
    spans = list(link.unsaid) + ([] if link.unsaid_ns is None else [link.unsaid_ns, link.last_ns])
    return LinkBreaks(
        name, np.array(link.at_ns, dtype=np.int64), np.array(link.step_s, dtype=np.float64), link.left_out,
        np.array(spans, dtype=np.int64).reshape(-1, 2), link.first_ns, link.last_ns,
    )  # fmt: skip
