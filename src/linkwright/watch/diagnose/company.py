"""What the other links did meanwhile, by their levels and by the plan."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from linkwright.units import BoolArray, FloatArray, IntArray
from linkwright.watch.diagnose.expected import Expected
from linkwright.watch.diagnose.states import BROKE, HISTORY
from linkwright.watch.log.record import FIRST_NS, LAST_NS, SECOND_NS

#: Before: these seconds ahead of the begin; while: up to so long after it; after: these seconds after the end.
BEFORE_S: Final = (6, 2)
WHILE_S: Final = 10
AFTER_S: Final = (2, 6)
#: Moments before an episode at which it is looked up who was on.
MOMENTS: Final = 32
#: Somebody whose receiver says nothing came on, or went, with an episode where the plan says so within this [ns].
PLANNED_NS: Final = 8_000_000_000
#: The level of a link whose audio broke and of which no level was told.
NOTHING_DBM: Final = -128.0
_LONG_NS: Final = 3600 * 1_000_000_000


@dataclass(frozen=True, eq=False, slots=True)
class Company:
    """The other links about an episode: levels (n,) [dBm] before, while and after it, NaN where not known or
    off."""

    names: tuple[str, ...]
    before_dbm: FloatArray
    while_dbm: FloatArray
    after_dbm: FloatArray

    def called(self, name: Callable[[str], str]) -> Company:
        """The same, by what people call each link."""
        return replace(self, names=tuple(map(name, self.names)))


@dataclass(frozen=True, eq=False, slots=True)
class History:
    """Every link's level by the second, as far back as it is kept, and who should be on by the plan.

    levels (l, HISTORY) : dBm plus 128, 0 where nothing was received. laps (l, HISTORY) : of which turn of the ring
    a second is. expected : by name of the link.
    """

    names: list[str]
    index: Mapping[str, int]
    levels: np.ndarray
    laps: np.ndarray
    expected: Mapping[str, Sequence[Expected]]

    def company(self, link: int, from_s: float, to_s: float) -> Company:
        """The levels of all links but one about an episode [s since the base]."""
        begin, end = math.floor(from_s), math.floor(to_s)
        others = self._others(link)

        def mean(first: int, last: int) -> FloatArray:
            levels = self._levels_of(others, first, max(first, last))
            known = ~np.isnan(levels)
            total = np.where(known, levels, 0.0).sum(axis=1)
            return np.asarray(np.where(known.any(axis=1), total / np.maximum(known.sum(axis=1), 1), np.nan))

        return Company(
            tuple(self.names[n] for n in others.tolist()),
            mean(begin - BEFORE_S[0], begin - BEFORE_S[1]),
            mean(begin + 1, min(max(end, begin + 1), begin + WHILE_S)),
            mean(end + AFTER_S[0], end + AFTER_S[1]),
        )

    def own(self, link: int, first: int, last: int) -> FloatArray:
        """A link's level in these seconds since the base, both included [dBm]; NaN where nothing was received."""
        return np.asarray(self._levels_of(np.array([link]), first, last)[0])

    def others(self, link: int, first: int, last: int) -> FloatArray:
        """The levels of the others in these seconds since the base, both included, (n, last - first + 1) [dBm]."""
        return self._levels_of(self._others(link), first, last)

    def broken(self, link: int, first: int, last: int) -> BoolArray:
        """In which of these seconds the audio of the others broke, (n, last - first + 1)."""
        return np.asarray(self._read(self._others(link), first, last) & BROKE > 0)

    def _others(self, link: int) -> IntArray:
        return np.array([n for n in range(len(self.names)) if n != link], dtype=np.int64)

    def _levels_of(self, links: IntArray, first: int, last: int) -> FloatArray:
        read = self._read(links, first, last)
        level = read & (BROKE - 1)
        nothing = np.where(read == BROKE, NOTHING_DBM, np.nan)
        return np.asarray(np.where(level > 0, level - 128.0, nothing))

    def _read(self, links: IntArray, first: int, last: int) -> np.ndarray:
        """The bytes of these seconds, 0 where they are not kept."""
        seconds = np.arange(first, last + 1)
        place, lap = _ring(np.maximum(seconds, 0))
        kept = (self.laps[np.ix_(links, place)] == lap) & (seconds >= 0)
        return np.asarray(np.where(kept, self.levels[np.ix_(links, place)], 0))

    def live_about(self, name: str, time_ns: int) -> Expected | None:
        """What is expected of a link that is on about a time by the plan; None where it is not."""
        known = self.expected.get(name, ())
        near = (planned for at in (time_ns, time_ns + PLANNED_NS) for planned in known if planned.live_at(at))
        return next(near, None)

    def were_on(
        self, link: int, names: Sequence[str], gone_dbm: Mapping[str, float], until_s: int, base_ns: int
    ) -> BoolArray:
        """Which links were on at some moments before a second, as far as `link` was read then: (moments, links).

        By their levels or, where their receivers say nothing, by the plan.
        """
        first = max(0, until_s - HISTORY + 1)
        seconds = np.arange(first, max(first, until_s))
        place, lap = _ring(seconds)
        seconds = seconds[self.laps[link, place] == lap]
        seconds = seconds[:: max(1, seconds.size // MOMENTS)]
        place, lap = _ring(seconds)
        rows = np.array([self.index.get(name, link) for name in names], dtype=np.int64)
        known = np.array([name in self.index for name in names], dtype=np.bool_)
        limit = np.array([gone_dbm[name] for name in names]) + 128.0
        read = (self.laps[np.ix_(rows, place)] == lap) & known[:, None]
        on = read & ((self.levels[np.ix_(rows, place)] & (BROKE - 1)) > limit[:, None])
        when = seconds * SECOND_NS + base_ns
        for n in np.flatnonzero(~read.all(axis=1)).tolist():
            for planned in self.expected.get(names[n], ()):
                for start, end in planned.spans or ((FIRST_NS, LAST_NS),):
                    on[n] |= ~read[n] & (when >= start) & (when < end)
        return np.asarray(on.T)


def _ring(seconds: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Where seconds lie in the ring, and on which turn of it."""
    return seconds % HISTORY, seconds // HISTORY % 250 + 1


def with_planned(company: Company, expected: Iterable[Expected], own: str, from_ns: int, to_ns: int) -> Company:
    """The company with those whose receivers say nothing, but who are on then by the plan, at the plan's level.

    Before and after, they are off where the plan has them come on or go off then.
    """
    silent = {name for name, level in zip(company.names, company.while_dbm, strict=True) if level != level}
    read = set(company.names) - silent
    planned: dict[str, tuple[float, float, float]] = {}
    for link in expected:
        if link.link == own or link.link in read:
            continue
        off = link.gone_dbm - 1.0
        for start, end in link.spans or ((from_ns - _LONG_NS, to_ns + _LONG_NS),):
            if start < from_ns + PLANNED_NS and end > from_ns:
                before = off if start > from_ns - PLANNED_NS else link.wanted_dbm
                after = off if end < to_ns + PLANNED_NS else link.wanted_dbm
                planned[link.link] = (before, link.wanted_dbm, after)
    if not planned:
        return company
    kept = [n for n, name in enumerate(company.names) if name not in planned]
    levels = np.array(list(planned.values()), dtype=np.float64)
    return Company(
        (*(company.names[n] for n in kept), *planned),
        np.concatenate([company.before_dbm[kept], levels[:, 0]]),
        np.concatenate([company.while_dbm[kept], levels[:, 1]]),
        np.concatenate([company.after_dbm[kept], levels[:, 2]]),
    )
