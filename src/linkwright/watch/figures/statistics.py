"""What a link did all day, from its readings: time on the air, levels, drop-outs, batteries, in bounded memory.

A link is on the air while a branch is at the level that its receiver needs. Below it on both branches, or muted,
its audio is lost: a drop-out. Gone for longer than a minute it is off the air, not broken up (common practice, no
source). Time without readings is a gap and belongs to neither.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from linkwright.units import BoolArray, IntArray, SampleArray
from linkwright.watch.log.kept import Stretch

#: Gone for longer than this, a link is off the air [ms].
OFF_MS: Final = 60_000
#: No reading for so many usual periods, and for so long at least [ms], is a gap.
GAP_PERIODS: Final = 5
GAP_MS: Final = 1000
#: The level that is needed where no plan says it [dBm]: kTB in 200 kHz, 6 dB of noise figure, 18 dB over it.
NEEDED_DBM: Final = -97.0
#: Levels are counted in tenths of a decibel between these [dBm].
LOWEST_DBM: Final = -200.0
STEPS: Final = 2501
#: So many drop-outs and gaps of a link are listed; further ones are counted.
MOST_LISTED: Final = 10_000


@dataclass(frozen=True, slots=True)
class Between:
    """A stretch of time [ms, UTC]."""

    from_ms: int
    to_ms: int

    @property
    def length_s(self) -> float:
        """How long it is [s]."""
        return (self.to_ms - self.from_ms) / 1000.0


@dataclass(frozen=True, slots=True)
class Branch:
    """Lowest and median level of a branch while the link is on the air [dBm]; None where it was not read."""

    lowest_dbm: float | None
    median_dbm: float | None


@dataclass(frozen=True, slots=True)
class LinkFigures:
    """One link over all its readings.

    read_s : time that readings cover; on_air_s : of that, on the air, drop-outs included. both_usable : share of
    the time on the air with both branches at `needed_dbm`; None where there is one branch only. dropouts : how
    many, longest_s and lost_s : the longest, and all. gaps : without readings. listed : the drop-outs themselves,
    the first `MOST_LISTED`. battery_first and battery_last : what the gauge said, 0..1, and when [ms].
    """

    link: str
    readings: int
    late: int
    first_ms: int
    last_ms: int
    needed_dbm: float
    read_s: float
    on_air_s: float
    a: Branch
    b: Branch
    both_usable: float | None
    dropouts: int
    longest_s: float
    lost_s: float
    listed: tuple[Between, ...]
    off: tuple[Between, ...]
    gaps: tuple[Between, ...]
    battery_first: tuple[int, float] | None
    battery_last: tuple[int, float] | None


@dataclass
class _LinkSoFar:
    """What is kept of a link between stretches; times in ms."""

    needed_dbm: float
    readings: int = 0
    late: int = 0
    first: int = 0
    last: int = -1
    last_bad: bool = False
    last_both: bool = False
    both_known: bool = False
    period: float = 0.0
    read: int = 0
    both: int = 0
    bad_since: int | None = None
    lost: int = 0
    dropouts: int = 0
    longest: int = 0
    off_total: int = 0
    listed: list[Between] = field(default_factory=list)
    off: list[Between] = field(default_factory=list)
    gaps: list[Between] = field(default_factory=list)
    counts: tuple[IntArray, IntArray] = field(
        default_factory=lambda: (np.zeros(STEPS, dtype=np.int64), np.zeros(STEPS, dtype=np.int64))
    )
    battery: list[tuple[int, float]] = field(default_factory=list)


@dataclass
class FiguresTally:
    """The figures of all links, taken in stretch by stretch, each link's readings in the order of time.

    needed_dbm : the level that each link's receiver needs; links that are not in it need `NEEDED_DBM`.
    """

    needed_dbm: Mapping[str, float] = field(default_factory=dict)
    _links: dict[str, _LinkSoFar] = field(default_factory=dict)

    def add(self, stretch: Stretch) -> None:
        """Take in readings. What is not later than the link's last one is left out, and counted as late."""
        order = np.argsort(stretch.link, kind="stable")
        edges = np.searchsorted(stretch.link[order], np.arange(len(stretch.links) + 1))
        for n, name in enumerate(stretch.links):
            rows = order[edges[n] : edges[n + 1]]
            if rows.size:
                known = self._links.setdefault(name, _LinkSoFar(self.needed_dbm.get(name, NEEDED_DBM)))
                _take(known, stretch, rows)

    def figures(self) -> tuple[LinkFigures, ...]:
        """Every link as it stands now; more may be added afterwards."""
        return tuple(_figures(name, link) for name, link in self._links.items())


def _take(known: _LinkSoFar, stretch: Stretch, rows: IntArray) -> None:
    """The readings of one link."""
    new = np.maximum.accumulate(np.concatenate([[known.last], stretch.time_ms[rows]]))
    keep = np.diff(new) > 0
    known.late += int(rows.size - keep.sum())
    rows = rows[keep]
    if not rows.size:
        return
    time = stretch.time_ms[rows].astype(np.int64)
    a, b = stretch.rf_a_dbm[rows], stretch.rf_b_dbm[rows]
    bad, both = _judged(stretch, rows, known.needed_dbm)
    if known.readings == 0:
        known.first = int(time[0])
        times, bads, boths = time, bad, both
    else:
        times = np.concatenate([[known.last], time])
        bads, boths = np.concatenate([[known.last_bad], bad]), np.concatenate([[known.last_both], both])
    steps = np.diff(times)
    if steps.size:
        known.period = float(np.median(steps)) if not known.period else min(known.period, float(np.median(steps)))
    broken = steps > max(GAP_PERIODS * known.period, GAP_MS)
    held = np.where(broken, 0, steps)
    known.read += int(held.sum())
    known.both += int(held[boths[:-1]].sum())
    known.both_known |= bool(np.isfinite(a).any() and np.isfinite(b).any())
    _runs(known, times, bads, broken)
    on = ~bad
    for counts, level in zip(known.counts, (a, b), strict=True):
        said = level[on & np.isfinite(level)].astype(np.float64)
        steps_of = np.clip(np.round((said - LOWEST_DBM) * 10.0), 0, STEPS - 1).astype(np.int64)
        counts += np.bincount(steps_of, minlength=STEPS)
    _battery(known, time, stretch.battery[rows])
    known.readings += int(time.size)
    known.last, known.last_bad, known.last_both = int(time[-1]), bool(bad[-1]), bool(both[-1])


def _judged(stretch: Stretch, rows: IntArray, needed_dbm: float) -> tuple[BoolArray, BoolArray]:
    """Whether audio is lost at each reading, and whether both branches are usable."""
    a, b = stretch.rf_a_dbm[rows], stretch.rf_b_dbm[rows]
    read = np.isfinite(a) | np.isfinite(b)
    low = read & ~(a >= needed_dbm) & ~(b >= needed_dbm)
    return low | (stretch.muted[rows] == 1), (a >= needed_dbm) & (b >= needed_dbm)


def _runs(known: _LinkSoFar, times: IntArray, bads: BoolArray, broken: BoolArray) -> None:
    """Drop-outs, from the first bad reading to the next good one, and gaps; row 0 is the last taken before."""
    if known.readings == 0 and bads[0]:
        known.bad_since = int(times[0])
    for n in (np.flatnonzero((bads[1:] != bads[:-1]) | broken) + 1).tolist():
        if broken[n - 1]:
            if len(known.gaps) < MOST_LISTED:
                known.gaps.append(Between(int(times[n - 1]), int(times[n])))
            _end(known, int(times[n - 1]))
        elif not bads[n]:
            _end(known, int(times[n]))
        if bads[n] and known.bad_since is None:
            known.bad_since = int(times[n])


def _end(known: _LinkSoFar, at: int) -> None:
    """A drop-out, or time off the air, ends."""
    if known.bad_since is None:
        return
    since, known.bad_since = known.bad_since, None
    lasted = at - since
    if lasted > OFF_MS:
        known.off_total += lasted
        if len(known.off) < MOST_LISTED:
            known.off.append(Between(since, at))
        return
    known.lost += lasted
    known.dropouts += 1
    known.longest = max(known.longest, lasted)
    if len(known.listed) < MOST_LISTED:
        known.listed.append(Between(since, at))


def _battery(known: _LinkSoFar, time: IntArray, battery: SampleArray) -> None:
    """The first thing that the gauge said, and the last."""
    said = np.flatnonzero(np.isfinite(battery))
    if said.size:
        last = (int(time[said[-1]]), float(battery[said[-1]]))
        if not known.battery:
            known.battery = [(int(time[said[0]]), float(battery[said[0]])), last]
        known.battery[1] = last


def _figures(name: str, known: _LinkSoFar) -> LinkFigures:
    """A link's figures, with a drop-out that still lasts counted up to the last reading."""
    lost, dropouts, longest, off_total = known.lost, known.dropouts, known.longest, known.off_total
    listed, off = list(known.listed), list(known.off)
    if known.bad_since is not None:
        open_one = Between(known.bad_since, known.last)
        lasted = known.last - known.bad_since
        if lasted > OFF_MS:
            off_total += lasted
            off.append(open_one)
        else:
            lost, dropouts, longest = lost + lasted, dropouts + 1, max(longest, lasted)
            listed.append(open_one)
    on_air = known.read - off_total
    return LinkFigures(
        name, known.readings, known.late, known.first, known.last, known.needed_dbm, known.read / 1000.0,
        on_air / 1000.0, _branch(known.counts[0]), _branch(known.counts[1]),
        known.both / on_air if known.both_known and on_air > 0 else None,
        dropouts, longest / 1000.0, lost / 1000.0, tuple(listed), tuple(off), tuple(known.gaps),
        known.battery[0] if known.battery else None, known.battery[1] if known.battery else None,
    )  # fmt: skip


def _branch(counts: IntArray) -> Branch:
    """Lowest level, and the lower median, from how often each level was read."""
    total = int(counts.sum())
    if not total:
        return Branch(None, None)
    lowest = int(np.flatnonzero(counts)[0])
    middle = int(np.searchsorted(np.cumsum(counts), math.ceil(total / 2)))
    return Branch(round(LOWEST_DBM + lowest / 10.0, 1), round(LOWEST_DBM + middle / 10.0, 1))
