"""Logs diagnosed afterwards: read in a stream, watched, and told; a long log is never in memory whole."""

from __future__ import annotations

import statistics
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from linkwright.progress import Tell
from linkwright.shoot.errors import InputError, nearest, raise_if_none
from linkwright.units import counted
from linkwright.watch.diagnose.expected import Expected, at_any_time
from linkwright.watch.diagnose.watcher import Episode, LinkIntake, Watcher
from linkwright.watch.log.ahead import ahead
from linkwright.watch.log.columns import Amiss
from linkwright.watch.log.mapping import TIDY, Mapping
from linkwright.watch.log.reading import read_batches
from linkwright.watch.log.record import Batch, Log

#: A log that is out of order is sorted in memory up to so many readings (some 40 bytes each).
MOST_SORTED: Final = 20_000_000
#: Readings are given to the watch in parts of so many, so that what it says on the way is not of one moment only.
PART: Final = 65_536
#: A meter of such steps hides much of what tells causes apart [dB]; it is known after so many readings (assumed).
COARSE_DB: Final = 4.0
LEAST_READINGS: Final = 300
#: Quality that falls so long after the level, or before it, is told [s], from so many falls on that agree so well
#: [s]: smoothed by up to 0.3 s it is usual (assumed).
LATE_S: Final = 0.4
LEAST_FALLS: Final = 4
LAGS_ALIKE_S: Final = 0.2
#: So many links that the shoot lacks are named.
MOST_NAMED: Final = 8


@dataclass(frozen=True, slots=True)
class Diagnosis:
    """What logs tell: all episodes in the order of time, what came of each link, from when to when [ns], and what
    was put right or left out while reading; `unread` are logs that could not be read to their end."""

    all: tuple[Episode, ...]
    seen: tuple[LinkIntake, ...]
    from_ns: int
    to_ns: int
    told: tuple[str, ...]
    unread: tuple[InputError, ...] = ()

    @property
    def episodes(self) -> tuple[Episode, ...]:
        """What could be heard, or soon will be."""
        return tuple(episode for episode in self.all if episode.alarm)

    @property
    def marks(self) -> tuple[Episode, ...]:
        """What nobody could hear: worth knowing, and no more."""
        return tuple(episode for episode in self.all if not episode.alarm)


def diagnose(
    paths: Sequence[tuple[Path, str]],
    expected: Sequence[Expected] = (),
    mapping: Mapping = TIDY,
    tell: Tell | None = None,
) -> Diagnosis:
    """Diagnose logs, in turn: paths with the names that messages call them by. Raises InputError."""
    unread: dict[str, InputError] = {}
    watcher, told, span = _watched(_stream(paths, mapping, tell, unread), expected)
    spans = [stretch for link in expected for stretch in link.spans]
    if spans and not any(start < span[1] and span[0] < end for start, end in spans):
        expected = at_any_time(expected)
        watcher, told, span = _watched(_stream(paths, mapping, tell, unread), expected)
        told.append("the log lies outside all calls of the shoot: the plan's levels were used, not its times")
    if any(seen.late for seen in watcher.seen()):
        if sum(seen.readings + seen.late for seen in watcher.seen()) > MOST_SORTED:
            raise InputError(
                f"the log is out of order, and with over {MOST_SORTED} readings too long to be sorted here; "
                "sort it by time",
                path=paths[0][1],
            )
        kept: list[str] = []
        log = Log.of(_batches(_stream(paths, mapping, tell, unread), kept))
        watcher, _, span = _watched(((batch, None) for batch in log.in_time()), expected)
        told = [*kept, *log.told]
    told += _strangers(watcher.seen(), expected)
    told += meters_said(watcher.seen())
    twice = sum(seen.twice for seen in watcher.seen())
    if twice:
        told.append(f"{counted(twice, 'reading')} of a moment that their link had already; the first was kept")
    if watcher.dropped:
        told.append(f"there were too many episodes: the first {watcher.dropped} are left out")
    return Diagnosis(watcher.all_episodes(), watcher.seen(), *span, tuple(told), tuple(unread.values()))


def _strangers(seen: Sequence[LinkIntake], expected: Sequence[Expected]) -> list[str]:
    """Links of the log that the shoot lacks: they are judged, but by no plan."""
    planned = sorted({link.link for link in expected})
    names = [link.link for link in seen if link.link not in planned]
    if not planned or not names:
        return []
    said = ", ".join(f'"{name}"' for name in names[:MOST_NAMED])
    more = f" and {len(names) - MOST_NAMED} more" if len(names) > MOST_NAMED else ""
    as_ = f'[rename] "{names[0]}" = "{nearest(names[0], planned) or planned[0]}"'
    return [
        f"the shoot has no {said}{more}: judged without a plan; a mapping file (--mapping) can name them: {as_}"
    ]


def meters_said(seen: Sequence[LinkIntake]) -> list[str]:
    """What meters of few steps cannot show, and whose quality comes late: a sentence for all that are alike."""
    coarse: dict[tuple[int, int, int], list[str]] = {}
    late: dict[float, list[str]] = {}
    for link in seen:
        if link.step_db >= COARSE_DB and link.readings >= LEAST_READINGS:
            shown = (round(link.step_db), round(link.lowest_dbm), round(link.highest_dbm))
            coarse.setdefault(shown, []).append(link.link)
        if len(link.lags_s) >= LEAST_FALLS:
            lag_s = statistics.median(link.lags_s)
            apart_s = statistics.median(abs(each_s - lag_s) for each_s in link.lags_s)
            if abs(lag_s) >= LATE_S and apart_s <= LAGS_ALIKE_S:
                late.setdefault(round(lag_s, 1), []).append(link.link)
    told = [
        f"{_named(names)}: the meter shows steps of {step} dB from {low} to {high} dBm; what changes by less, or "
        f"under {low} dBm, is not seen, and the causes are less sure"
        for (step, low, high), names in coarse.items()
    ]
    for lag_s, names in late.items():
        order = "after" if lag_s > 0 else "before"
        told.append(f"{_named(names)}: the receiver tells the quality {abs(lag_s):g} s {order} the level")
    return told


def _named(names: Sequence[str]) -> str:
    return ", ".join(names[:MOST_NAMED]) + (" and others" if len(names) > MOST_NAMED else "")


Said = tuple[Batch, list[str] | None]


def _stream(
    paths: Sequence[tuple[Path, str]], mapping: Mapping, tell: Tell | None, unread: dict[str, InputError]
) -> Iterator[Said]:
    """The batches of all logs, each with what was amiss once a log is at its end; `unread` hears of those that
    cannot be read. Raises InputError(s) where that is all of them."""
    for path, name in paths:
        amiss = Amiss(name)
        try:
            for batch in ahead(read_batches(path, name, mapping, amiss, tell)):
                for start in range(0, len(batch), PART):
                    yield batch.part(start, start + PART), None
        except InputError as error:
            unread[name] = error
        if amiss.told:
            yield Batch.of(()), [f"{name}: {sentence}" for sentence in amiss.told]
    raise_if_none(len(unread) < len(paths), list(unread.values()))


def _batches(stream: Iterator[Said], told: list[str]) -> Iterator[Batch]:
    for batch, said in stream:
        told += said or []
        yield batch


def _watched(stream: Iterator[Said], expected: Sequence[Expected]) -> tuple[Watcher, list[str], tuple[int, int]]:
    watcher, told = Watcher(expected), list[str]()
    first, last = 2**62, 0
    for batch in _batches(stream, told):
        if len(batch):
            first, last = min(first, int(batch.time_ns.min())), max(last, int(batch.time_ns.max()))
            watcher.add(batch, tell=False)
    watcher.finish()
    return watcher, told, (first, last)
