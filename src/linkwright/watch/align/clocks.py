"""The clocks of a receiver's log and of a recording, lined up by mutes in the one and faults in the other."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from linkwright.units import FloatArray, IntArray
from linkwright.watch.diagnose.states import BAD_QUALITY
from linkwright.watch.log.record import MUTED, QUALITY, SECOND_NS, LinkReadings

#: Events that may lie so far apart and still be one [s]: at first, as clocks drift, and in the end.
FIRST_S: Final = 0.6
LAST_S: Final = 0.1
#: Clocks drift by no more than this [parts per million] (assumed).
MOST_PPM: Final = 200.0
#: A line is laid through so many pairs at most, evenly of all: their slopes are that many squared.
MOST_LINED: Final = 1000
#: So many events must match, of as many bursts, with less than this chance that it is an accident.
LEAST_MATCHED: Final = 3
MOST_CHANCE: Final = 1e-3
#: Another offset, of the same link or of another, with this share of the matches makes it doubtful; a link with
#: this share of them at the same offset may be meant as well. Measured, see docs/watch.md.
RIVAL: Final = 0.65
ALSO: Final = 0.75
#: ... and this share must match of the events that the log and the recording have while both run, of whichever has
#: fewer.
LEAST_SHARE: Final = 0.4
#: Offsets looked at closely, of one link.
MOST_TRIED: Final = 24
MOST_EVENTS: Final = 2000
#: Breaks that follow each other within this belong to one burst [s] (assumed).
BURST_S: Final = 5.0
#: A clock that somebody set is this near [s] (assumed); two offsets nearer than `APART_S` are one.
SET_S: Final = 120.0
APART_S: Final = 3.0 * FIRST_S
#: Where the clock of a recording is known by another of its tracks: so many must match.
LEAST_KNOWN: Final = 2


@dataclass(frozen=True, slots=True)
class Aligned:
    """Time in the log [s since its `base`] = offset_s + (1 + drift_ppm / 1e6) * time in the recording [s].

    matched : events that agree, of so many in the log and in the recording. confidence : one less the chance that
    they do by accident. spread_s : how far the matched ones scatter (median). drift_doubt_ppm : about how far the
    drift may be from the true one; infinite where it was not looked for.
    """

    offset_s: float
    drift_ppm: float
    matched: int
    of_log: int
    of_recording: int
    confidence: float
    spread_s: float
    drift_doubt_ppm: float = math.inf

    def log_s(self, recording_s: float) -> float:
        """A time of the recording as a time of the log [s]."""
        return self.offset_s + (1.0 + self.drift_ppm * 1e-6) * recording_s


@dataclass(frozen=True, slots=True)
class NotAligned:
    """Why the clocks cannot be lined up, as a sentence without its end. near : a known time might decide it."""

    why: str
    near: bool = False


def breaks_of(track: LinkReadings, base_ns: int) -> FloatArray:
    """When the audio of a log's link breaks, each time [s since base_ns]: it mutes, or its quality falls."""
    values = track.values
    bad = (values[:, MUTED] == 1.0) | (values[:, QUALITY] < BAD_QUALITY)
    begins = np.flatnonzero(bad & ~np.concatenate([[False], bad[:-1]]))
    if not begins.size:
        return np.zeros(0)
    # it broke at some time since the reading before: in the middle, on average
    before = np.maximum(begins - 1, 0)
    step = np.minimum((track.time_ns[begins] - track.time_ns[before]) / SECOND_NS, 1.0)
    return np.asarray((track.time_ns[begins] - base_ns) / SECOND_NS - step / 2.0, dtype=np.float64)


def align(
    log_s: Sequence[float], recording_s: Sequence[float], stamp_s: float | None = None
) -> Aligned | NotAligned:
    """Line up events of a log and of a recording, each in seconds on its own clock; they need not be all the
    same. As `align_links` does for one link."""
    aligned = align_links([(log_s, LAST_S)], recording_s, stamp_s)
    return aligned if isinstance(aligned, NotAligned) else aligned[0]


def align_links(
    logs: Sequence[tuple[Sequence[float], float]], recording_s: Sequence[float], stamp_s: float | None = None
) -> tuple[Aligned, int, tuple[int, ...]] | NotAligned:
    """The link whose events are those of a recording: how the clocks go, its index, and those that fit as well.

    logs : the events of each link [s], and how near they are known (`LAST_S`, more where readings are slow). For
    each link the offsets that most pairs agree on are looked at, a straight line laid through those pairs
    (Theil-Sen), then once more nearer. The best is refused where few agree, where all that agree are of one or two
    bursts, where it might be by chance, and where another offset of any link does nearly as well.

    stamp_s : the offset that the recording's own time stamp says. It decides only what the events leave open: where
    offsets rival each other, or the agreement may be chance, the best one within `SET_S` of it is taken if it has
    nearly as many matches as the best of all and nothing near it rivals it. Where the events are clear, a stamp
    that is wrong (another zone, a clock that was never set) is told by how far it is off.
    """
    b = np.sort(np.asarray(recording_s, dtype=np.float64))
    fits: list[_Fit] = []
    least = sizes = 0
    for n, (log_s, last_s) in enumerate(logs):
        a = np.sort(np.asarray(log_s, dtype=np.float64))
        if a.size > MOST_EVENTS and stamp_s is not None and b.size:
            a = a[(a >= stamp_s + b[0] - SET_S) & (a <= stamp_s + b[-1] + SET_S)]
        if a.size > MOST_EVENTS or b.size > MOST_EVENTS:
            return NotAligned(f"there are more than {MOST_EVENTS} breaks")
        sizes = max(sizes, a.size)
        if min(a.size, b.size) >= LEAST_MATCHED:
            fits += _fits(n, a, b, last_s, stamp_s, least)
            least = max([least, *(round(RIVAL * match.matched) for match in fits if not match.near)])
    if min(sizes, b.size) < LEAST_MATCHED:
        return NotAligned(
            f"the log has {_many(sizes)} and the recording {b.size}; {LEAST_MATCHED} of each are needed"
        )
    answer = _best(fits, b, len(logs), None)
    if isinstance(answer, NotAligned) and answer.near and stamp_s is not None:
        near = _best([match for match in fits if abs(match.offset - stamp_s) <= SET_S], b, len(logs), 2.0 * SET_S)
        if isinstance(near, tuple) and near[0].matched >= RIVAL * max(match.matched for match in fits):
            return near
    return answer


def align_known(
    logs: Sequence[tuple[Sequence[float], float]], recording_s: Sequence[float], known: Aligned
) -> tuple[Aligned, int, tuple[int, ...]] | NotAligned:
    """The same where another track of the recording has told its clock: only a link whose breaks fall together by
    that clock is looked for, so that fewer are needed. The clock stays that of the other track."""
    b = np.sort(np.asarray(recording_s, dtype=np.float64))
    fits = []
    for n, (log_s, last_s) in enumerate(logs):
        a = np.sort(np.asarray(log_s, dtype=np.float64))
        if a.size and b.size and max(a.size, b.size) <= MOST_EVENTS:
            pairs = _pairs(a, b, known.offset_s, known.drift_ppm * 1e-6, last_s)
            fits.append(_Fit(n, a, known.offset_s, known.drift_ppm * 1e-6, pairs, last_s, True))
    best = max(fits, key=lambda match: match.matched, default=None)
    if best is None or best.matched < LEAST_KNOWN:
        return NotAligned("fewer than two of its breaks are a link's by the clock of the recording")
    chance = min(1.0, len(logs) * _chance_known(best, b))
    others = [match for match in fits if match.link != best.link]
    rivals = [other.link for other in others if other.matched >= RIVAL * best.matched]
    if chance > MOST_CHANCE:
        return NotAligned(f"{_many(best.matched)} fall together by the clock of the recording, which may be chance")
    aligned = best.aligned(b, chance)
    return (
        replace(aligned, drift_ppm=known.drift_ppm, drift_doubt_ppm=known.drift_doubt_ppm),
        best.link,
        tuple(rivals),
    )


def _many(count: int) -> str:
    return "one break" if count == 1 else f"{count} breaks"


@dataclass(frozen=True, eq=False, slots=True)
class _Fit:
    """An offset of a link that was looked at closely: the pairs (n, 2) that agree. near : it lies at the stamp."""

    link: int
    log_s: FloatArray
    offset: float
    drift: float
    pairs: FloatArray
    last_s: float
    near: bool

    @property
    def matched(self) -> int:
        return int(self.pairs.shape[0])

    def bursts(self, b: FloatArray) -> int:
        """Of how many bursts the pairs are: of the log's or the recording's, whichever are fewer."""
        return min(
            int(np.unique(_bursts(times)[np.searchsorted(times, self.pairs[:, n])]).size)
            for n, times in enumerate((self.log_s, b))
        )

    def share(self, b: FloatArray) -> float:
        """How many match of the events that both have while both run, of whichever has fewer."""
        a, laid = self.log_s, self.offset + (1.0 + self.drift) * b
        of_a = ((a >= laid[0] - self.last_s) & (a <= laid[-1] + self.last_s)).sum()
        of_b = ((laid >= a[0] - self.last_s) & (laid <= a[-1] + self.last_s)).sum()
        return float(self.matched / max(1, min(int(of_a), int(of_b))))

    def aligned(self, b: FloatArray, chance: float) -> Aligned:
        away = np.abs(self.pairs[:, 0] - self.offset - (1.0 + self.drift) * self.pairs[:, 1])
        spread, span = float(np.median(away)), float(np.ptp(self.pairs[:, 1]))
        # twice the standard error of the slope of a line through events spread evenly over the span; 1.48 times the
        # median of what they are off is their standard deviation
        doubt = 2.0 * 1.48 * max(spread, 0.005) * math.sqrt(12.0 / self.matched) / span if span > 60.0 else math.inf
        sizes = self.log_s.size, b.size
        return Aligned(self.offset, self.drift * 1e6, self.matched, *sizes, 1.0 - chance, spread, doubt * 1e6)


def _fits(n: int, a: FloatArray, b: FloatArray, last_s: float, stamp_s: float | None, least: int) -> list[_Fit]:
    """The offsets of a link that may be the best or a rival of it, those near the stamp too, looked at closely.

    least : so many must agree to matter.
    """
    apart = np.sort((a[:, None] - b[None, :]).ravel())
    many = np.searchsorted(apart, apart + FIRST_S, side="right") - np.arange(apart.size)
    fits: list[_Fit] = []
    for near in (False, True) if stamp_s is not None else (False,):
        left = many.copy()
        if near and stamp_s is not None:
            left[(apart < stamp_s - SET_S) | (apart > stamp_s + SET_S)] = 0
            least = 0
        for _ in range(MOST_TRIED):
            best = int(np.argmax(left))
            if left[best] < max(1, least):
                break
            offset = float(np.median(apart[best : best + many[best]]))
            low, high = np.searchsorted(apart, [offset - APART_S, offset + APART_S])
            left[low:high] = left[best] = 0
            fits.append(_Fit(n, a, *_line(a, b, offset, last_s), last_s, near))
            least = max(least, round(RIVAL * fits[-1].matched))
    return fits


def _line(a: FloatArray, b: FloatArray, offset: float, last_s: float) -> tuple[float, float, FloatArray]:
    """Offset and drift that the pairs near an offset agree on, and those pairs that lie on the line."""
    drift = 0.0
    first = _pairs(a, b, offset, 0.0, FIRST_S)
    if first.shape[0] >= LEAST_MATCHED:
        drift = _slope(first)
        offset = float(np.median(first[:, 0] - (1.0 + drift) * first[:, 1]))
    pairs = _pairs(a, b, offset, drift, last_s)
    if pairs.shape[0]:
        drift = _slope(pairs) if np.ptp(pairs[:, 1]) > 60.0 else 0.0
        offset = float(np.median(pairs[:, 0] - (1.0 + drift) * pairs[:, 1]))
    return offset, drift, pairs


def _best(
    fits: Sequence[_Fit], b: FloatArray, links: int, searched_s: float | None
) -> tuple[Aligned, int, tuple[int, ...]] | NotAligned:
    """The offset at which most agree, if it holds, its link, and the links that fit as well there."""
    best = max(fits, key=lambda match: match.matched, default=None)
    if best is None or best.matched < LEAST_MATCHED:
        agree = 0 if best is None else best.matched
        return NotAligned(f"only {_many(agree)} of the two fall together at any offset", near=True)
    if best.bursts(b) < LEAST_MATCHED:
        return NotAligned(f"{_many(best.matched)} fall together, but nearly all in one stretch", near=False)
    if best.share(b) < LEAST_SHARE:
        return NotAligned(f"only {_many(best.matched)} fall together, and most do not", near=True)
    chance = min(1.0, links * _chance(best.log_s, b, best.matched, best.last_s, searched_s))
    if chance > MOST_CHANCE:
        return NotAligned(f"{_many(best.matched)} fall together, which may be chance", near=True)
    elsewhere = [match for match in fits if abs(match.offset - best.offset) > APART_S]
    if max((match.matched for match in elsewhere), default=0) >= RIVAL * best.matched:
        return NotAligned("two offsets fit about equally well", near=True)
    also = dict.fromkeys(
        match.link
        for match in fits
        if match.link != best.link and match not in elsewhere and match.matched >= ALSO * best.matched
    )
    return best.aligned(b, chance), best.link, tuple(also)


def _pairs(a: FloatArray, b: FloatArray, offset: float, drift: float, near_s: float) -> FloatArray:
    """Pairs of events (n, 2) that agree within `near_s`, each event once: the nearest."""
    laid = offset + (1.0 + drift) * b
    right = np.clip(np.searchsorted(a, laid), 1, a.size - 1)
    nearest = np.where(np.abs(a[right - 1] - laid) <= np.abs(a[right] - laid), right - 1, right)
    away = np.abs(a[nearest] - laid)
    taken: dict[int, int] = {}
    for n in np.argsort(away, kind="stable").tolist():
        if away[n] <= near_s:
            taken.setdefault(int(nearest[n]), n)
    return np.array([(a[m], b[n]) for m, n in sorted(taken.items())]).reshape(-1, 2)


def _slope(pairs: FloatArray) -> float:
    """The drift that the pairs agree on (Theil-Sen, on at most MOST_LINED of them), within what clocks do."""
    from scipy.stats import theilslopes

    some = pairs[:: -(-len(pairs) // MOST_LINED) or 1]
    if len(np.unique(some[:, 1])) < 2:
        return 0.0
    slope = float(theilslopes(some[:, 0] - some[:, 1], some[:, 1]).slope)
    return max(-MOST_PPM, min(MOST_PPM, slope * 1e6)) * 1e-6


def _chance(a: FloatArray, b: FloatArray, matched: int, last_s: float, searched_s: float | None) -> float:
    """The chance that so many agree at some offset although nothing belongs together: Poisson's tail, times the
    number of offsets that there are to try: within `searched_s`, or all. Breaks that come in bursts agree more
    often than that; the rivals tell."""
    long, short = (a, b) if np.ptp(a) >= np.ptp(b) else (b, a)
    density = long.size / max(float(np.ptp(long)), 1.0)
    span = float(np.ptp(long)) + float(np.ptp(short)) if searched_s is None else searched_s
    return min(1.0, _tail(short.size * density * 2.0 * last_s, matched) * max(1.0, span / (2.0 * last_s)))


def _chance_known(fit: _Fit, b: FloatArray) -> float:
    """The chance that so many agree at one offset: counted in bursts, as two bursts that happen to overlap agree in
    many at once; they do at any offset at which a break of the one falls on one of the other."""
    each = []
    for times in (fit.log_s, b):
        first = np.unique(_bursts(times), return_index=True)[1]
        many = np.diff([*first.tolist(), times.size])
        each.append((many, times[first + many - 1] - times[first]))
    (many_a, long_a), (many_b, long_b) = each
    overlap_s = np.minimum(
        2.0 * fit.last_s * many_a[:, None] * many_b[None, :], long_a[:, None] + long_b[None, :] + 2.0 * fit.last_s
    )
    expected = float(overlap_s.sum()) / max(float(np.ptp(fit.log_s)), float(np.ptp(b)), 1.0)
    return _tail(expected, fit.bursts(b))


def _tail(expected: float, matched: int) -> float:
    """The chance of so many or more where so many are expected (Poisson)."""
    term, tail = math.exp(-expected), 0.0
    for n in range(matched + 60):
        if n >= matched:
            tail += term
        term *= expected / (n + 1)
    return tail


def _bursts(times: FloatArray) -> IntArray:
    """To which burst each of these times, in order, belongs."""
    return np.asarray(np.cumsum(np.diff(times, prepend=times[:1]) > BURST_S), dtype=np.int64)
