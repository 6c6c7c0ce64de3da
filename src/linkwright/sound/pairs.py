"""Tracks against each other: delay, polarity, drift and jumps, from windows read all along the recordings.

The recordings are laid side by side by the time stamps of broadcast waves where both have one, else from their
first samples. Some hundred windows are read, whatever the length, and only their delays are kept. A positive
delay means that `b` is later than `a`.
"""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import ExitStack
from dataclasses import dataclass, field
from datetime import date
from itertools import combinations, pairwise
from typing import Final

import numpy as np

from linkwright.physics import delays
from linkwright.physics.delays import DelayCourse, Peak
from linkwright.progress import Tell
from linkwright.sound.found_in import begins_after
from linkwright.sound.jumps import Loss, Voice, losses
from linkwright.sound.recordings import Reader, Recording, reading
from linkwright.units import BoolArray, SampleArray

#: A window, and the shortest one [s]; the longest delay is this share of it.
WINDOW_S: Final = 1.024
SHORTEST_S: Final = 0.2
REACH: Final = 0.4
#: Windows begin at least this far apart [s]; there are at most so many.
HOP_S: Final = 0.5
MOST_WINDOWS: Final = 480
#: Every track against every other up to so many tracks; beyond, each against one.
ALL_PAIRS: Final = 8
#: Two files can be this far apart [s], which is looked for in windows of so long [s], so many, in the voice's band.
FILES_APART_S: Final = 20.0
FILES_WINDOW_S: Final = 40.0
FILES_WINDOWS: Final = 4
FILES_HZ: Final = 3000.0
#: Where fewer windows than this tell a delay, all windows are looked at together.
FEW_WINDOWS: Final = 3
#: The polarity turns over between parts of at least so many windows, whose mean polarities (-1 to 1) differ by
#: this; all parts are as pure as this. Own choices.
LEAST_TURNED, TURNED, PURE = 4, 1.0, 0.6
#: A track under this rms holds nothing to compare [full scale 1].
SILENT: Final = 1e-6
DAY_S: Final = 86_400


@dataclass(frozen=True)
class Side:
    """One track of a pair: which recording of those given, and which channel, both from 0."""

    file: int
    channel: int


@dataclass(frozen=True)
class Pair:
    """Two tracks against each other; `why` says what could not be told, and why.

    delay_ms at the first moment that both have; later it is that plus drift times the time since, plus the jumps.
    level_db : of b against a, where both sound. quality : the peak over the rms of all lags, median. drift_low_ppm,
    drift_high_ppm : 95 % interval. begins_s : where both begin, in a's time.
    """

    a: Side
    b: Side
    delay_ms: float | None = None
    inverted: bool | None = None
    drift_ppm: float | None = None
    drift_low_ppm: float | None = None
    drift_high_ppm: float | None = None
    jumps: tuple[Loss, ...] | None = None
    quality: float | None = None
    level_db: float | None = None
    begins_s: float = 0.0
    why: str = ""
    turns_at_s: tuple[float, ...] = ()


@dataclass
class _Heard:
    """What the windows told of one pair so far."""

    times: list[float] = field(default_factory=list)
    peaks: list[Peak] = field(default_factory=list)
    levels: list[float] = field(default_factory=list)
    together: SampleArray | None = None
    looked: int = 0


def compare(recordings: Sequence[Recording], tell: Tell | None = None) -> list[Pair]:
    """Tracks of all recordings against each other. Raises InputError where one can no longer be read."""
    sides = [Side(f, c) for f, recording in enumerate(recordings) for c in range(recording.tracks)]
    wanted = list(combinations(sides, 2)) if len(sides) <= ALL_PAIRS else []
    if len(sides) < 2:
        return []
    with ExitStack() as stack:
        readers = [stack.enter_context(reading(recording)) for recording in recordings]
        if not wanted:
            first = _reference(readers, sides)
            wanted = [
                (first, side) if first.file <= side.file else (side, first) for side in sides if side != first
            ]
        offsets = [_offset(readers, f) for f in range(len(readers))]
        return _compared(readers, offsets, wanted, tell)


def _reference(readers: Sequence[Reader], sides: Sequence[Side]) -> Side:
    """The first track that has sound in the middle of its recording; the first of all where none has."""
    for side in sides:
        reader = readers[side.file]
        middle = reader.read(reader.recording.frames // 3, round(5 * reader.recording.rate_hz))[side.channel]
        if middle.std() > 1e-4:
            return side
    return sides[0]


def stamped_offset(first: Recording, other: Recording) -> int | None:
    """How many samples after the first recording the other begins, by their time stamps; None without both."""
    if first.stamp is None or other.stamp is None:
        return None
    rate = first.rate_hz
    apart = other.stamp.samples_since_midnight - first.stamp.samples_since_midnight
    try:
        days = (date.fromisoformat(other.stamp.date) - date.fromisoformat(first.stamp.date)).days
    except ValueError:
        half = DAY_S * rate // 2
        return (apart + half) % (2 * half) - half
    return apart + days * DAY_S * rate


def _offset(readers: Sequence[Reader], f: int) -> int:
    """Where a file lies on the first's time, in samples: by stamps or first samples, then by what is heard
    near there; where that tells nothing, by what is heard anywhere in both."""
    first, other = readers[0], readers[f]
    rate = first.recording.rate_hz
    if f == 0 or other.recording.rate_hz != rate:
        return 0
    base = stamped_offset(first.recording, other.recording) or 0
    near = _heard_near(first, other, base)
    if near is None:
        after_s = begins_after(first, other)
        near = None if after_s is None else _heard_near(first, other, round(after_s * rate))
    return base if near is None else near


def _heard_near(first: Reader, other: Reader, base: int) -> int | None:
    """The same by what is heard within `FILES_APART_S` of an offset; None where nothing is surely the same."""
    rate = first.recording.rate_hz
    begin, end = max(0, base), min(first.recording.frames, base + other.recording.frames)
    count = min(round(FILES_WINDOW_S * rate), end - begin)
    if count < SHORTEST_S * rate:
        return None
    places = np.unique(np.linspace(begin, end - count, FILES_WINDOWS).astype(int))
    total: SampleArray | None = None
    for at in places:
        phases = [
            delays.phases(_loudest(reader.read(int(at) - shift, count)), rate, FILES_HZ)
            for reader, shift in ((first, 0), (other, base))
        ]
        correlation = delays.correlation(phases[0][0], phases[1][0], count, rate, FILES_HZ)
        total = correlation if total is None else total + correlation
    if total is None:
        return None
    peak = delays.highest(total, 2.0 * count / rate, min(FILES_APART_S, REACH * 2.0 * count / rate))
    return base - round(peak.delay_s * rate) if peak.quality >= delays.LEAST_QUALITY else None


def _loudest(x: SampleArray) -> SampleArray:
    return x[[int(np.argmax(x.var(axis=1)))]]


def _compared(
    readers: Sequence[Reader], offsets: Sequence[int], wanted: Sequence[tuple[Side, Side]], tell: Tell | None
) -> list[Pair]:
    """Every wanted pair; the windows lie on the first file's time."""
    rate = readers[0].recording.rate_hz
    spans = {pair: _common(readers, offsets, *pair) for pair in wanted}
    usable = {pair: span for pair, span in spans.items() if isinstance(span, tuple)}
    heard = {pair: _Heard() for pair in usable}
    if usable:
        begin, end = min(s[0] for s in usable.values()), max(s[1] for s in usable.values())
        shortest = min(last - first for first, last in usable.values())
        count = round(min(WINDOW_S, max(SHORTEST_S, shortest / rate / 6.0)) * rate)
        hop = max(min(round(HOP_S * rate), count // 2), (end - begin) // MOST_WINDOWS)
        places = list(range(begin, end - count + 1, hop))
        for number, at in enumerate(places):
            _look(readers, offsets, usable, heard, at, count)
            if tell is not None:
                tell("comparing the tracks", (number + 1) / len(places))
    answers = []
    for pair in wanted:
        span = spans[pair]
        if isinstance(span, str):
            answers.append(Pair(*pair, why=span))
        else:
            answers.append(_answer(readers, offsets, pair, span, heard[pair], count / rate))
    return answers


def _common(readers: Sequence[Reader], offsets: Sequence[int], a: Side, b: Side) -> tuple[int, int] | str:
    """The samples that both have, on the first file's time; or why there are none."""
    first, second = (readers[side.file].recording for side in (a, b))
    if first.rate_hz != second.rate_hz:
        return f"the rates differ ({first.rate_hz} and {second.rate_hz} Hz)"
    if first.rate_hz != readers[0].recording.rate_hz:
        return "the first file has another rate"
    begin = max(offsets[a.file], offsets[b.file])
    end = min(offsets[a.file] + first.frames, offsets[b.file] + second.frames)
    if end - begin < SHORTEST_S * first.rate_hz:
        return "they do not overlap in time" if end <= begin else f"less than {SHORTEST_S:g} s of both"
    return begin, end


def _look(
    readers: Sequence[Reader],
    offsets: Sequence[int],
    usable: dict[tuple[Side, Side], tuple[int, int]],
    heard: dict[tuple[Side, Side], _Heard],
    at: int,
    count: int,
) -> None:
    """One window of all pairs that have it."""
    rate = readers[0].recording.rate_hz
    here = [pair for pair, (begin, end) in usable.items() if begin <= at and at + count <= end]
    files = sorted({side.file for pair in here for side in pair})
    x = {f: readers[f].read(at - offsets[f], count) for f in files}
    rms = {f: x[f].std(axis=1) for f in files}
    phases = {f: delays.phases(x[f], rate) for f in files}
    for a, b in here:
        powers = float(rms[a.file][a.channel]), float(rms[b.file][b.channel])
        if min(powers) < SILENT:
            continue
        pair = heard[(a, b)]
        pair.looked += 1
        correlation = delays.correlation(phases[a.file][a.channel], phases[b.file][b.channel], count, rate)
        pair.together = correlation if pair.together is None else pair.together + correlation
        peak = delays.highest(correlation, 2.0 * count / rate, REACH * count / rate)
        if peak.quality >= delays.LEAST_QUALITY:
            pair.times.append((at + count / 2.0) / rate)
            pair.peaks.append(peak)
            pair.levels.append(20.0 * float(np.log10(powers[1] / powers[0])))


def _of_few(pair: tuple[Side, Side], peak: Peak, delay_s: float, begins_s: float) -> Pair:
    """What the sum of too few windows says of a pair."""
    if peak.quality < delays.LEAST_QUALITY:
        return Pair(*pair, begins_s=begins_s, why="no common sound")
    why = "drift and jumps: too few windows with common sound"
    return Pair(*pair, 1000.0 * delay_s, peak.inverted, quality=peak.quality, begins_s=begins_s, why=why)


# long: a line for every figure of a pair
def _answer(
    readers: Sequence[Reader],
    offsets: Sequence[int],
    pair: tuple[Side, Side],
    span: tuple[int, int],
    heard: _Heard,
    window_s: float,
) -> Pair:
    """What all windows together say of a pair. Delays are told against the offsets by stamp or first sample."""
    a, b = pair
    rate = readers[a.file].recording.rate_hz
    begins_s = (span[0] - offsets[a.file]) / rate
    extra_s = (_laid(readers, a.file, b.file) - (offsets[b.file] - offsets[a.file])) / rate
    if heard.together is None:
        return Pair(a, b, begins_s=begins_s, why="one of them is silent")
    if len(heard.peaks) < FEW_WINDOWS:
        peak = delays.highest(heard.together, 2.0 * window_s, REACH * window_s)
        return _of_few(pair, peak, peak.delay_s + extra_s, begins_s)
    times = np.array(heard.times) - span[0] / rate
    course = delays.course(times, np.array([peak.delay_s for peak in heard.peaks]), rate)
    down_at = np.array([peak.inverted for peak in heard.peaks])
    turns = _turns(down_at)
    down = float(down_at.mean() if not turns else down_at[: turns[0]].mean())
    turned = -1.0 if down > 0.5 else 1.0
    first = Voice(readers[a.file], a.channel, span[0] - offsets[a.file])
    lost = losses(first, Voice(readers[b.file], b.channel, span[0] - offsets[b.file], turned), course, window_s)
    drift, low, high = (
        None if ppm is None else 1e6 * ppm for ppm in (course.drift, course.drift_low, course.drift_high)
    )
    return Pair(
        *pair,
        delay_ms=1000.0 * (course.delay_s + extra_s),
        inverted=None if turns or 0.2 < down < 0.8 else down > 0.5,
        drift_ppm=drift,
        drift_low_ppm=low,
        drift_high_ppm=high,
        jumps=None if course.alternates else lost,
        quality=float(np.median([peak.quality for peak in heard.peaks])),
        level_db=float(np.median(heard.levels)),
        begins_s=begins_s,
        why=_why(course, 0.0 if turns else down),
        turns_at_s=tuple(begins_s + float(times[turn - 1] + times[turn]) / 2.0 for turn in turns),
    )


def _turns(down: BoolArray) -> list[int]:
    """The windows from which on the polarity is the other one; none where it changes too often to be a fault.

    Each part must be of one polarity but for a tenth of its windows, and have `LEAST_TURNED`.
    """
    steps = np.where(down, -1.0, 1.0)
    parts, turns = [(0, steps.size)], []
    while parts:
        first, last = parts.pop()
        total = np.cumsum(steps[first:last])
        if last - first < 2 * LEAST_TURNED:
            continue
        inside = np.arange(LEAST_TURNED, last - first - LEAST_TURNED + 1)
        left = total[inside - 1]
        apart = np.abs(left / inside - (total[-1] - left) / (last - first - inside))
        best = int(inside[np.argmax(apart)])
        if apart.max() >= TURNED:
            turns.append(first + best)
            parts += [(first, first + best), (first + best, last)]
    edges = [0, *sorted(turns), steps.size]
    pure = [abs(float(steps[a:b].mean())) for a, b in pairwise(edges)]
    return sorted(turns) if turns and min(pure) >= PURE else []


def _laid(readers: Sequence[Reader], a: int, b: int) -> int:
    """How many samples after file `a` file `b` begins, by stamps, else 0."""
    if a == b:
        return 0
    return stamped_offset(readers[a].recording, readers[b].recording) or 0


def _why(course: DelayCourse, down: float) -> str:
    parts = []
    if course.alternates:
        parts.append("drift and jumps: the delay goes back and forth, as with sources at different distances")
    elif course.drift is None:
        parts.append("drift: too short")
    if 0.2 < down < 0.8:
        parts.append("polarity: the windows do not agree")
    return "; ".join(parts)
