"""What recordings add to a log: their clocks, and the faults in them that belong to an episode or to none."""

from __future__ import annotations

import contextlib
import datetime
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np

from linkwright.lengths import apart, clock
from linkwright.watch.align.breaks import LinkBreaks
from linkwright.watch.align.clocks import (
    FIRST_S,
    LAST_S,
    LEAST_MATCHED,
    Aligned,
    NotAligned,
    align_known,
    align_links,
)
from linkwright.watch.log.record import SECOND_NS, iso_of

#: A fault in a recording belongs to an episode that is this near [s] (PHYSICS: within 100 ms), or a reading's step.
NEAR_S: Final = 0.1
#: Kinds of faults that the loss of a radio link leaves.
LOSSES: Final = ("mute", "hold", "repeat", "hole")
#: Digital silence that is too long for a loss, or looks as if somebody had made it.
SILENCE: Final = "edit"
#: Tracks of one recording have one clock: their alignments agree within this [s].
ONE_CLOCK_S: Final = 0.5
#: Readings slower than this do not show how long a break is [s between two].
FAST_S: Final = 0.25

Loss = tuple[float, float, str]


@dataclass(frozen=True, slots=True)
class TrackFaults:
    """A track of a recording: name of the file, channel from 1, and its certain faults (at_s, length_s, kind).

    suspects : moments of those that are not certain [s]. length_s : of the file. begins_ns : when it began by its
    own time stamp [ns, UTC]. None: not known. file : tells files of one name apart.
    """

    name: str
    channel: int
    faults: tuple[Loss, ...]
    suspects: tuple[float, ...] = ()
    length_s: float | None = None
    begins_ns: int | None = None
    file: str = ""

    @property
    def losses(self) -> tuple[Loss, ...]:
        """Those that the loss of a radio link leaves."""
        return tuple(fault for fault in self.faults if fault[2] in LOSSES)


@dataclass(frozen=True, slots=True)
class Laid:
    """A track laid along a link's log.

    explained : how many of its losses lie in an episode; alone : the others. seen : the share of the log's breaks
    that the track has too, by the rule of succession, (matched + 1) / (breaks + 2). also : links whose breaks fit
    as well. near_s : a loss belongs to an episode that is so near. fast : the readings came fast enough to show
    how long a break is.
    """

    track: TrackFaults
    link: str
    aligned: Aligned
    base_ns: int
    explained: int = 0
    alone: tuple[Loss, ...] = ()
    seen: float = 0.5
    also: tuple[str, ...] = ()
    near_s: float = NEAR_S
    fast: bool = True

    def time_ns(self, at_s: float) -> int:
        """A time of the recording on the log's clock [ns, UTC]."""
        return self.base_ns + round(self.aligned.log_s(at_s) * SECOND_NS)

    @property
    def ahead_s(self) -> float | None:
        """How far the recorder's clock was ahead of the log's [s]; None without a time stamp."""
        begins = self.track.begins_ns
        return None if begins is None else (begins - self.time_ns(0.0)) / SECOND_NS

    @property
    def drift_told_ppm(self) -> float | None:
        """The drift where it stands out of its doubt; None else."""
        drift = self.aligned.drift_ppm
        return drift if abs(drift) > self.aligned.drift_doubt_ppm else None

    def covers(self, from_ns: int, to_ns: int) -> bool:
        """Whether the recording goes on from the one time to the other."""
        length = self.track.length_s
        return length is not None and self.time_ns(0.0) <= from_ns and to_ns <= self.time_ns(length)

    def inside(self, from_ns: int, to_ns: int) -> tuple[Loss, ...]:
        """Losses and digital silence from the one time to the other, or as near as belongs to it."""
        near = round(self.near_s * SECOND_NS)
        length = self.track.length_s
        if to_ns + near < self.time_ns(0.0) or (length is not None and from_ns - near > self.time_ns(length)):
            return ()
        return tuple(
            fault
            for fault in self.track.faults
            if fault[2] in (*LOSSES, SILENCE)
            and self.time_ns(fault[0]) <= to_ns + near
            and self.time_ns(fault[0] + fault[1]) >= from_ns - near
        )

    def document(self) -> dict[str, Any]:
        """As `diagnose --json` gives it."""
        ahead, drift = self.ahead_s, self.drift_told_ppm
        return {
            "path": self.track.name, "channel": self.track.channel, "link": self.link,
            "begins": iso_of(self.time_ns(0.0)), "drift_ppm": round(self.aligned.drift_ppm, 1),
            "matched": self.aligned.matched, "confidence": round(self.aligned.confidence, 6),
            "clock_ahead_s": None if ahead is None else round(ahead, 3),
            "drift_told_ppm": None if drift is None else round(drift, 1),
            "also": list(self.also), "explained": self.explained,
            "unexplained": [{"at_s": round(a, 3), "length_s": round(n, 3), "kind": k} for a, n, k in self.alone],
        }  # fmt: skip


@dataclass(frozen=True, slots=True)
class NotLaid:
    """A track that could not be laid along any link, and why, as a sentence without its end."""

    track: TrackFaults
    why: str

    @property
    def says(self) -> str:
        """The same as `diagnose` tells it."""
        return f"{self.track.name}, track {self.track.channel}, could not be laid along any link: {self.why}"


def lay(
    breaks: Sequence[LinkBreaks], tracks: Sequence[TrackFaults], spans: Mapping[str, Sequence[tuple[int, int]]]
) -> tuple[tuple[Laid, ...], tuple[NotLaid, ...]]:
    """The tracks that can be laid along a link, and why others can not.

    breaks : of every link of the log. spans : from when to when each link's episodes last [ns].
    """
    laid: list[Laid] = []
    not_laid: list[NotLaid] = []
    base = min((link.first_ns for link in breaks), default=0)
    by_file: dict[str, list[TrackFaults]] = {}
    for track in tracks:
        by_file.setdefault(track.file or track.name, []).append(track)
    for group in by_file.values():
        for answer in _lay_file(breaks, group, base):
            if isinstance(answer, Laid):
                laid.append(_explained(answer, breaks, spans.get(answer.link, ())))
            else:
                not_laid.append(answer)
    return tuple(laid), tuple(not_laid)


def _lay_file(breaks: Sequence[LinkBreaks], group: Sequence[TrackFaults], base: int) -> list[Laid | NotLaid]:
    """All tracks of one recording, which have one clock: the track that tells it best tells it for the others."""
    own = [_own(breaks, track, base) for track in group]
    told = [laid_track for laid_track in own if isinstance(laid_track, Laid)]
    if not told:
        return own
    best = max(told, key=lambda laid_track: (laid_track.aligned.matched, laid_track.aligned.confidence))
    laid: list[Laid | NotLaid] = []
    for track, answer in zip(group, own, strict=True):
        middle = (track.length_s or 0.0) / 2.0
        if isinstance(answer, NotLaid):
            laid.append(_by_known(breaks, track, best, base, answer))
        elif abs(off := answer.aligned.log_s(middle) - best.aligned.log_s(middle)) > ONE_CLOCK_S:
            why = f"its breaks say a clock that is {abs(off):.1f} s off that of track {best.track.channel}"
            laid.append(_by_known(breaks, track, best, base, NotLaid(track, why)))
        else:
            laid.append(answer)
    return laid


def _own(breaks: Sequence[LinkBreaks], track: TrackFaults, base: int) -> Laid | NotLaid:
    """A track laid along the link whose breaks it has."""
    losses = [at for at, _, _ in track.losses]
    if len(losses) < LEAST_MATCHED:
        has = {0: "no certain loss", 1: "one certain loss"}.get(len(losses), f"{len(losses)} certain losses")
        return NotLaid(track, f"it has {has}, and {LEAST_MATCHED} are needed")
    stamp_s = None if track.begins_ns is None else (track.begins_ns - base) / SECOND_NS
    able = [link for link in breaks if link.at_ns.size >= LEAST_MATCHED]
    if not able:
        return NotLaid(track, f"no link has as many as {LEAST_MATCHED} breaks in the log")
    return _told(track, able, base, align_links(_events(able, base), losses, stamp_s))


def _by_known(
    breaks: Sequence[LinkBreaks], track: TrackFaults, best: Laid, base: int, without: NotLaid
) -> Laid | NotLaid:
    """A track laid by the clock that another one of its recording has told."""
    losses = [at for at, _, _ in track.losses]
    known = _told(track, breaks, base, align_known(_events(breaks, base), losses, best.aligned))
    return without if isinstance(known, NotLaid) else known


def _events(breaks: Sequence[LinkBreaks], base: int) -> list[tuple[list[float], float]]:
    """The breaks of each link [s since base], and how near they are known: half of the step between two readings
    and a little."""
    return [(link.since(base).tolist(), min(FIRST_S, max(LAST_S, _step_s(link) / 2.0 + 0.05))) for link in breaks]


def _told(
    track: TrackFaults,
    breaks: Sequence[LinkBreaks],
    base: int,
    answer: tuple[Aligned, int, tuple[int, ...]] | NotAligned,
) -> Laid | NotLaid:
    if isinstance(answer, NotAligned):
        return NotLaid(track, answer.why)
    aligned, link, also = answer
    return Laid(track, breaks[link].link, aligned, base, also=tuple(breaks[n].link for n in also))


def _step_s(link: LinkBreaks) -> float:
    """The usual time between the readings about a break [s]."""
    return float(np.median(link.step_s)) if link.step_s.size else 0.0


def _explained(laid: Laid, breaks: Sequence[LinkBreaks], spans: Iterable[tuple[int, int]]) -> Laid:
    """The same with what it has of the link's breaks and episodes."""
    link = next(link_breaks for link_breaks in breaks if link_breaks.link == laid.link)
    step = _step_s(link)
    laid = replace(laid, near_s=max(NEAR_S, step), fast=step <= FAST_S)
    mine = {fault for span in spans for fault in laid.inside(*span)}
    alone = tuple(fault for fault in laid.track.losses if fault not in mine)
    end = laid.track.length_s if laid.track.length_s is not None else max(at for at, _, _ in laid.track.losses)
    covered = int(((link.at_ns >= laid.time_ns(0.0)) & (link.at_ns <= laid.time_ns(end))).sum())
    seen = min(1.0, (laid.aligned.matched + 1.0) / (max(covered, laid.aligned.matched) + 2.0))
    return replace(laid, explained=len(laid.track.losses) - len(alone), alone=alone, seen=seen)


def stamped_ns(
    starts_at_s: float | None, date: str | None, day: datetime.date | None, zone: datetime.tzinfo
) -> int | None:
    """When a recording began by its time stamp [ns, UTC]: seconds since midnight on the clock of a zone, on the
    date of its header, else on `day`. None where one of them is not known."""
    digits = "".join(c for c in date or "" if c.isdigit())
    with contextlib.suppress(ValueError):
        day = datetime.date(int(digits[:4]), int(digits[4:6]), int(digits[6:8]))
    if starts_at_s is None or day is None or not 0.0 <= starts_at_s < 172_800.0:
        return None
    begin = datetime.datetime.combine(day, datetime.time(), zone) + datetime.timedelta(seconds=starts_at_s)
    return round(begin.timestamp() * 1e6) * 1000


def clock_words(laid: Laid) -> str:
    """How the recorder's clock stood to the log's, as a sentence."""
    ahead, drift = laid.ahead_s, laid.drift_told_ppm
    by = f"by {laid.aligned.matched} breaks that fall together"
    if ahead is None:
        says = f"The recording has no time of its own; where it lies is known {by}"
    elif abs(ahead) < max(0.05, laid.aligned.spread_s):
        says = f"The recorder's clock was the receiver's within 0.1 s, {by}"
    else:
        side = "ahead of" if ahead > 0 else "behind"
        says = f"The recorder's clock was {apart(abs(ahead))} {side} the receiver's, {by}"
    # one of the recording's seconds is longer on the log's clock: the recorder's clock ran slow
    if drift is not None:
        says += f"; it ran {abs(drift):.0f} ppm {'slow' if drift > 0 else 'fast'}"
    return f"{says}."


def alone_words(laid: Laid, most: int = 3) -> str:
    """The losses for which the log shows nothing wrong, as a sentence after another; "" without any."""
    if not laid.alone:
        return ""
    first = ", ".join(f"{kind} at {clock(at)}" for at, _, kind in laid.alone[:most])
    more = f" and {len(laid.alone) - most} more" if len(laid.alone) > most else ""
    many = "One of its losses lies" if len(laid.alone) == 1 else f"{len(laid.alone)} of its losses lie"
    return f" {many} in no episode, the readings show nothing wrong then: {first}{more}."
