"""The clocks of a receiver's log and of a recording, lined up by mutes in the one and faults in the other."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from linkwright.units import FloatArray
from linkwright.watch.record import MUTED, QUALITY, SECOND_NS, Track
from linkwright.watch.states import BAD_QUALITY

#: Events that may lie so far apart and still be one [s]: at first, as clocks drift, and in the end.
FIRST_S: Final = 0.6
LAST_S: Final = 0.1
#: Clocks drift by no more than this [parts per million] (assumed).
MOST_PPM: Final = 200.0
#: So many events must match, with less than this chance that it is an accident.
LEAST_MATCHED: Final = 3
MOST_CHANCE: Final = 1e-3
#: Another offset with this share of the matches makes it doubtful.
RIVAL: Final = 0.75
MOST_EVENTS: Final = 2000


@dataclass(frozen=True, slots=True)
class Aligned:
    """Time in the log [s since its `base`] = offset_s + (1 + drift_ppm / 1e6) * time in the recording [s].

    matched : events that agree, of so many in the log and in the recording. confidence : one less the chance that
    they do by accident. spread_s : how far the matched ones scatter (median).
    """

    offset_s: float
    drift_ppm: float
    matched: int
    of_log: int
    of_recording: int
    confidence: float
    spread_s: float

    def log_s(self, recording_s: float) -> float:
        """A time of the recording as a time of the log [s]."""
        return self.offset_s + (1.0 + self.drift_ppm * 1e-6) * recording_s


@dataclass(frozen=True, slots=True)
class NotAligned:
    """Why the clocks cannot be lined up, as a sentence without its end."""

    why: str


def breaks_of(track: Track, base_ns: int) -> FloatArray:
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


def align(log_s: Sequence[float], recording_s: Sequence[float]) -> Aligned | NotAligned:
    """Line up events of a log and of a recording, each in seconds on its own clock; they need not be all the same.

    The offset that most pairs agree on, a straight line through those pairs (Theil-Sen), then once more nearer. It
    is refused where few agree, where they might by chance, and where another offset does nearly as well.
    """
    a, b = np.sort(np.asarray(log_s, dtype=np.float64)), np.sort(np.asarray(recording_s, dtype=np.float64))
    if a.size > MOST_EVENTS or b.size > MOST_EVENTS:
        return NotAligned(f"there are more than {MOST_EVENTS} breaks")
    if min(a.size, b.size) < LEAST_MATCHED:
        return NotAligned(
            f"the log has {a.size} breaks and the recording {b.size}; {LEAST_MATCHED} of each are needed"
        )
    apart = np.sort((a[:, None] - b[None, :]).ravel())
    many = np.searchsorted(apart, apart + FIRST_S, side="right") - np.arange(apart.size)
    best = int(np.argmax(many))
    offset, drift = float(np.median(apart[best : best + many[best]])), 0.0
    rival = int(many[np.abs(apart - offset) > 3.0 * FIRST_S].max(initial=0))
    first = _pairs(a, b, offset, 0.0, FIRST_S)
    if first.shape[0] >= LEAST_MATCHED:
        drift = _slope(first)
        offset = float(np.median(first[:, 0] - (1.0 + drift) * first[:, 1]))
    pairs = _pairs(a, b, offset, drift, LAST_S)
    if pairs.shape[0] < LEAST_MATCHED:
        return NotAligned(f"only {pairs.shape[0]} breaks of the two fall together at any offset")
    drift = _slope(pairs) if np.ptp(pairs[:, 1]) > 60.0 else 0.0
    offset = float(np.median(pairs[:, 0] - (1.0 + drift) * pairs[:, 1]))
    matched = pairs.shape[0]
    chance = _chance(a, b, matched)
    if chance > MOST_CHANCE:
        return NotAligned(f"{matched} breaks fall together, which may be chance")
    if rival >= RIVAL * max(matched, int(many[best])):
        return NotAligned("two offsets fit about equally well")
    spread = float(np.median(np.abs(pairs[:, 0] - offset - (1.0 + drift) * pairs[:, 1])))
    return Aligned(offset, drift * 1e6, matched, a.size, b.size, 1.0 - chance, spread)


def _pairs(a: FloatArray, b: FloatArray, offset: float, drift: float, near_s: float) -> FloatArray:
    """Pairs of events (n, 2) that agree within `near_s`, each event once: the nearest."""
    laid = offset + (1.0 + drift) * b
    right = np.clip(np.searchsorted(a, laid), 1, a.size - 1)
    nearest = np.where(np.abs(a[right - 1] - laid) <= np.abs(a[right] - laid), right - 1, right)
    away = np.abs(a[nearest] - laid)
    found: dict[int, int] = {}
    for n in np.argsort(away, kind="stable").tolist():
        if away[n] <= near_s:
            found.setdefault(int(nearest[n]), n)
    return np.array([(a[m], b[n]) for m, n in sorted(found.items())]).reshape(-1, 2)


def _slope(pairs: FloatArray) -> float:
    """The drift that the pairs agree on (Theil-Sen), within what clocks do."""
    x, y = pairs[:, 1], pairs[:, 0] - pairs[:, 1]
    first, second = np.triu_indices(x.size, 1)
    apart = x[second] - x[first]
    some = apart > 1.0
    if not some.any():
        return 0.0
    slope = float(np.median((y[second] - y[first])[some] / apart[some]))
    return max(-MOST_PPM, min(MOST_PPM, slope * 1e6)) * 1e-6


def _chance(a: FloatArray, b: FloatArray, matched: int) -> float:
    """The chance that so many agree at some offset although nothing belongs together: Poisson's tail, times the
    number of offsets that there are to try."""
    long, short = (a, b) if np.ptp(a) >= np.ptp(b) else (b, a)
    density = long.size / max(float(np.ptp(long)), 1.0)
    expected = short.size * density * 2.0 * LAST_S
    term, tail = math.exp(-expected), 0.0
    for n in range(matched + 60):
        if n >= matched:
            tail += term
        term *= expected / (n + 1)
    tries = (float(np.ptp(long)) + float(np.ptp(short))) / (2.0 * LAST_S)
    return min(1.0, tail * max(1.0, tries))
