"""The newest of every link, for a page at arm's length: levels since the last look, quality, audio, battery, age.

Bounded: a column of a few numbers for each look back over the last minute, whatever comes in.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Final, Literal

import numpy as np

from linkwright.units import FloatArray, IntArray, SampleArray
from linkwright.watch.log.record import AUDIO, BATTERY, FIELDS, MUTED, QUALITY, RF_A, RF_B, Batch

State = Literal["holds", "thin", "fails", "no readings", "not on now"]

#: Looks that are kept: a minute at four a second.
LOOKS: Final = 240
#: A link that says nothing for so long has no readings [s].
SILENT_S: Final = 3.0
#: Under this quality the audio breaks; under that it is near it (assumed; receivers differ).
BREAKS, NEAR = 0.5, 0.9
#: Looks over which fading is evened out before what is in hand is told: ten seconds.
STEADY: Final = 40
#: A look in which nothing was said.
NOTHING: Final = np.full(4, np.nan, np.float32)
#: More links than this are not shown.
MOST_LINKS: Final = 2000


@dataclass
class Board:
    """What every link says now.

    need_dbm : what a link's receiver needs at its input, by name; links without are judged by quality alone.
    fading_db : what fading takes of the margin. off : links that nobody expects to hear now.
    """

    need_dbm: dict[str, float] = field(default_factory=dict)
    fading_db: dict[str, float] = field(default_factory=dict)
    names: list[str] = field(default_factory=list)
    off: frozenset[str] = frozenset()
    refused: int = 0
    _index: dict[str, int] = field(default_factory=dict)
    _last: SampleArray = field(default_factory=lambda: np.empty((0, len(FIELDS)), np.float32))
    _arrived_s: FloatArray = field(default_factory=lambda: np.empty(0))
    _time_ns: IntArray = field(default_factory=lambda: np.empty(0, np.int64))
    _now: SampleArray = field(default_factory=lambda: np.empty((0, 4), np.float32))
    _looks: SampleArray = field(default_factory=lambda: np.empty((LOOKS, 0, 4), np.float32))
    _steady_dbm: SampleArray = field(default_factory=lambda: np.empty(0, np.float32))
    _at: int = 0
    last_look: SampleArray = field(default_factory=lambda: np.empty((0, 4), np.float32))

    def know(self, names: list[str]) -> None:
        """Show these links, in this order, before they have said anything."""
        for name in names:
            self._place(name)

    def add(self, batch: Batch, now_s: float) -> None:
        """Readings that came at `now_s` (a clock that only goes forward)."""
        where = np.array([self._place(name) for name in batch.names], dtype=np.int64)
        rows = where[batch.link]
        known = rows >= 0
        self.refused += int((~known).sum())
        rows, values, times = rows[known], batch.values[known], batch.time_ns[known]
        if not rows.size:
            return
        for column, (field_, way) in enumerate(
            ((RF_A, np.fmin), (RF_A, np.fmax), (RF_B, np.fmin), (RF_B, np.fmax))
        ):
            way.at(self._now[:, column], rows, values[:, field_])
        order = np.argsort(times, kind="stable")
        rows, values, times = rows[order], values[order], times[order]
        for column in range(len(FIELDS)):
            said = ~np.isnan(values[:, column])
            self._last[rows[said], column] = values[said, column]  # the last of a link wins
        self._arrived_s[rows] = now_s
        self._time_ns[rows] = times

    def look(self) -> SampleArray:
        """Lowest and highest of both branches since the last look, (links, 4) [dBm]; and begin the next."""
        samples = self._now.copy()
        self._looks[self._at] = samples
        self._at = (self._at + 1) % LOOKS
        self.last_look = samples
        self._steady_dbm = _median(self._looks[(self._at - STEADY + np.arange(STEADY)) % LOOKS])
        self._now[:] = np.nan
        return samples

    def looks(self, link: int) -> SampleArray:
        """The kept looks of a link, oldest first, (LOOKS, 4)."""
        return np.roll(self._looks[:, link], -self._at, axis=0)

    def level_dbm(self, link: int, looks: int = LOOKS) -> float | None:
        """The level of the better branch over the last looks, the median [dBm]; None where none was said."""
        level = float(_median(self.looks(link)[-looks:, None])[0])
        return None if math.isnan(level) else level

    def age_s(self, link: int, now_s: float) -> float | None:
        """How long a link has said nothing [s]; None where it never has."""
        return float(now_s - self._arrived_s[link]) if np.isfinite(self._arrived_s[link]) else None

    def time_ns(self, link: int) -> int:
        """The time of a link's newest reading [ns]; 0 where there is none."""
        return int(self._time_ns[link])

    def last(self, link: int) -> SampleArray:
        """The newest of each field, NaN where it was never said."""
        return np.asarray(self._last[link])

    def state(self, link: int, now_s: float) -> State:
        """How a link stands now."""
        age = self.age_s(link, now_s)
        if age is None or age > SILENT_S:
            return "not on now" if self.names[link] in self.off else "no readings"
        last = self._last[link]
        quality, muted = last[QUALITY], last[MUTED]
        if muted == 1.0 or quality < BREAKS:
            return "fails"
        in_hand = self.in_hand_db(link)
        return "thin" if quality < NEAR or (in_hand is not None and in_hand < 0.0) else "holds"

    def in_hand_db(self, link: int) -> float | None:
        """What the better branch, evened out over ten seconds, has over the need and the fading that the plan
        counts with [dB]; None where one of them is not known. What is measured leaves no doubt."""
        name, level = self.names[link], float(self._steady_dbm[link])
        need = self.need_dbm.get(name)
        return None if need is None or math.isnan(level) else level - need - self.fading_db.get(name, 0.0)

    def row(self, link: int, look: SampleArray, now_s: float) -> list[float | int | str | None]:
        """A link as the page takes it: state, four levels, quality, audio, battery, in hand, age."""
        last = self._last[link]
        age = self.age_s(link, now_s)
        in_hand = self.in_hand_db(link)
        return [
            self.state(link, now_s),
            *(_whole(value) for value in (look[link] if link < look.shape[0] else NOTHING)),
            _share(last[QUALITY]),
            _whole(last[AUDIO]),
            _share(last[BATTERY]),
            None if in_hand is None else round(in_hand, 1),
            None if age is None else round(age, 1),
        ]

    def _place(self, name: str) -> int:
        place = self._index.get(name)
        if place is not None:
            return place
        if len(self.names) >= MOST_LINKS:
            return -1
        self.names.append(name)
        self._index[name] = len(self.names) - 1
        count = len(self.names)
        if count > self._last.shape[0]:
            self._grow(max(16, 2 * count))
        return count - 1

    def _grow(self, size: int) -> None:
        old = self._last.shape[0]
        more = size - old
        self._last = np.concatenate((self._last, np.full((more, len(FIELDS)), np.nan, np.float32)))
        self._arrived_s = np.concatenate((self._arrived_s, np.full(more, np.nan)))
        self._time_ns = np.concatenate((self._time_ns, np.zeros(more, np.int64)))
        self._steady_dbm = np.concatenate((self._steady_dbm, np.full(more, np.nan, np.float32)))
        self._now = np.concatenate((self._now, np.full((more, 4), np.nan, np.float32)))
        self._looks = np.concatenate((self._looks, np.full((LOOKS, more, 4), np.nan, np.float32)), axis=1)


def _median(looks: SampleArray) -> SampleArray:
    """The level of every link's better branch, the median over looks of shape (looks, links, 4) [dBm]; NaN where
    none was said. Sorting puts what was not said last."""
    with np.errstate(invalid="ignore"):
        best = np.sort(np.fmax(looks[..., 0] + looks[..., 1], looks[..., 2] + looks[..., 3]) / 2.0, axis=0)
    last = np.maximum((~np.isnan(best)).sum(axis=0) - 1, 0)
    middle = np.take_along_axis(best, np.stack((last // 2, (last + 1) // 2)), axis=0)
    return np.asarray(middle.mean(axis=0), dtype=np.float32)


def _whole(value: np.floating) -> int | None:
    return round(float(value)) if np.isfinite(value) else None


def _share(value: np.floating) -> int | None:
    return round(100.0 * float(value)) if np.isfinite(value) else None
