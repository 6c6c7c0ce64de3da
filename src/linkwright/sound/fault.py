"""What a fault is, and how faults of one track are told apart and together."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from linkwright.units import BoolArray

#: Faults of one kind that one track can list; more are only counted.
MOST: Final = 2000
#: Faults nearer than this are one, told by the surest name [samples].
NEAR: Final = 96
SUREST: Final = ("mute", "hold", "repeat", "hole", "edit", "repeat?", "burst", "hole?", "click")
#: Clicks are regular from so many on, where so many of the places between the first and the last have one; each
#: within this of its place [s]. Periods looked for [s]; at most so many series in a track. Own choices.
REGULAR_COUNT: Final = 8
REGULAR_SHARE: Final = 0.7
REGULAR_S: Final = 0.005
PERIODS_S: Final = (0.04, 600.0)
SERIES: Final = 3
#: Single ones that follow each other within this [s] are one from so many on. Own choices.
SOON_S, OFTEN = 1.0, 6


@dataclass(frozen=True)
class Fault:
    """Something wrong in a track, from `at` for `length` samples; `kind` is a row of `sound.kinds`.

    every_s : period of clicks that come regularly, told as one. other : file and channel (from 0) of a track that
    has live sound, and nothing of the kind, at the same moment. level_db : as its row says. hz : its frequency.
    """

    at: int
    length: int
    kind: str
    certain: bool
    every_s: float | None = None
    other: tuple[int, int] | None = None
    level_db: float | None = None
    hz: float | None = None


def stretches(where: BoolArray, gap: int) -> list[tuple[int, int]]:
    """Runs of true, first and past the last; those with at most `gap` false between them are one."""
    at = np.flatnonzero(where)
    if not at.size:
        return []
    breaks = np.flatnonzero(np.diff(at) > gap + 1)
    firsts, lasts = at[np.r_[0, breaks + 1]], at[np.r_[breaks, at.size - 1]] + 1
    return [(int(first), int(last)) for first, last in zip(firsts, lasts, strict=True)]


def apart(faults: Sequence[Fault]) -> list[Fault]:
    """Without those that are a part of what was already told by a surer name."""
    kept: list[Fault] = []
    starts: list[int] = []
    for fault in sorted(faults, key=lambda f: (_rank(f), f.at)):
        place = bisect_left(starts, fault.at)
        beside = kept[max(0, place - 1) : place + 1]
        if not any(fault.at < k.at + k.length + NEAR and k.at - NEAR < fault.at + fault.length for k in beside):
            kept.insert(place, fault)
            starts.insert(place, fault.at)
    return kept


def _rank(fault: Fault) -> int:
    name = f"{fault.kind}?" if fault.kind in ("repeat", "hole") and not fault.certain else fault.kind
    return SUREST.index(name) if name in SUREST else len(SUREST)


def regular_clicks(faults: Sequence[Fault], rate_hz: int) -> list[Fault]:
    """The same faults, but clicks that come regularly, as an unsynchronised clock makes them, told as one."""
    clicks = sorted((fault for fault in faults if fault.kind == "click"), key=lambda fault: fault.at)
    rest = [fault for fault in faults if fault.kind != "click"]
    for _ in range(SERIES):
        times = np.array([click.at for click in clicks]) / rate_hz
        series = _series(times)
        if series is None:
            break
        period, members = series
        first, last = clicks[int(members[0])], clicks[int(members[-1])]
        rest.append(Fault(first.at, last.at + last.length - first.at, "click", False, every_s=period))
        taken = set(members.tolist())
        clicks = [click for i, click in enumerate(clicks) if i not in taken]
    return rest + clicks


def gathered(faults: Sequence[Fault], of: Callable[[Fault], bool], rate_hz: int, name: str) -> list[Fault]:
    """The same faults, but single ones of some kind that follow each other soon and often told as one of `name`."""
    members = sorted((fault for fault in faults if of(fault) and fault.every_s is None), key=lambda fault: fault.at)
    rest = [fault for fault in faults if not of(fault) or fault.every_s is not None]
    rows: list[list[Fault]] = []
    for member in members:
        if rows and member.at - rows[-1][-1].at <= SOON_S * rate_hz:
            rows[-1].append(member)
        else:
            rows.append([member])
    for row in rows:
        long = row[-1].at + row[-1].length - row[0].at
        if len(row) >= OFTEN and long <= len(row) * SOON_S * rate_hz / 2.0:
            rest.append(Fault(row[0].at, long, name, False))
        else:
            rest += row
    return rest


def _series(
    times: np.ndarray[tuple[int], np.dtype[np.float64]],
) -> tuple[float, np.ndarray[tuple[int], np.dtype[np.int64]]] | None:
    """The period of the largest regular series, and its members; None where there is none."""
    best: tuple[float, np.ndarray[tuple[int], np.dtype[np.int64]]] | None = None
    if times.size < REGULAR_COUNT:
        return None
    steps = np.concatenate([times[k:] - times[:-k] for k in range(1, 4)])
    steps = steps[(steps >= PERIODS_S[0]) & (steps <= PERIODS_S[1])]
    tried = np.unique(np.round(np.log(steps) / 0.02).astype(int), return_counts=True)
    for key in tried[0][np.argsort(-tried[1], kind="stable")][:12]:
        near = steps[np.round(np.log(steps) / 0.02).astype(int) == key]
        members = _followed(times, float(np.median(near)))
        if members.size < REGULAR_COUNT or (best is not None and members.size <= best[1].size):
            continue
        span = times[members[-1]] - times[members[0]]
        number = np.round((times[members] - times[members[0]]) / np.median(near))
        period = float(np.polyfit(number, times[members], 1)[0])
        if members.size >= REGULAR_SHARE * (span / period + 1.0):
            best = period, members
    return best


def _followed(
    times: np.ndarray[tuple[int], np.dtype[np.float64]], period: float
) -> np.ndarray[tuple[int], np.dtype[np.int64]]:
    """The longest row of times that follow each other by the period, or by twice or three times that."""
    before = np.full(times.size, -1, np.int64)
    length = np.ones(times.size, np.int64)
    for i in range(times.size):
        for many in (1, 2, 3):
            near = REGULAR_S + 0.01 * period
            low, high = np.searchsorted(times, (times[i] - many * period - near, times[i] - many * period + near))
            for j in range(int(low), min(int(high), i)):
                if length[j] + 1 > length[i]:
                    length[i], before[i] = length[j] + 1, j
            if before[i] >= 0:
                break
    at = int(np.argmax(length))
    row = [at]
    while before[row[-1]] >= 0:
        row.append(int(before[row[-1]]))
    return np.array(row[::-1], np.int64)
