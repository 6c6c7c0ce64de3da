"""What happened on a day, put together: the values that the page and the paper show."""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final

from linkwright.watch.diagnose.episodes import DiagnosedEpisode
from linkwright.watch.figures.statistics import LinkFigures

#: What was done about an episode is looked for so long after its end [ms].
AFTER_MS: Final = 60_000


@dataclass(frozen=True, slots=True)
class Event:
    """Something that somebody did or noted: when [ms, UTC], what kind, the link or call, and in words."""

    at_ms: int
    kind: str
    about: str
    text: str


@dataclass(frozen=True, slots=True)
class LaidTrack:
    """A track of a recording that lies along a link: its channel, and the moments of its losses [s]."""

    channel: int
    link: str
    losses: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class RecordingFigures:
    """A recording: when it began [ms, UTC], if known, how long it is, its certain faults by kind; the moments [s].

    laid : its tracks that lie along a link. pace : one of its seconds on the receiver's clock. says : along which
    links it lies and how its clock went, or why that is not known. alone : losses that the readings do not show.
    """

    name: str
    begins_ms: int | None
    length_s: float
    faults: tuple[tuple[str, float], ...]
    laid: tuple[LaidTrack, ...] = ()
    pace: float = 1.0
    says: str = ""
    alone: tuple[tuple[str, float], ...] = ()

    def at_ms(self, at_s: float) -> int:
        """A moment of it on the receiver's clock [ms, UTC]; its begin must be known."""
        return (self.begins_ms or 0) + round(1000.0 * self.pace * at_s)


@dataclass(frozen=True, slots=True)
class ToldEpisode:
    """An episode with what was done about it."""

    episode: DiagnosedEpisode
    done: tuple[Event, ...]


@dataclass(frozen=True, slots=True)
class WrapUp:
    """Everything that is told of a day. `calls` are (name, begin, end) [ms]; `learnt` sentences about the place;
    `svg` the drawn time line; `planned_dbm` what the plan expected of each link at its worst spot."""

    answer: str
    zone: datetime.tzinfo
    calls: tuple[tuple[str, int, int], ...] = ()
    episodes: tuple[ToldEpisode, ...] = ()
    figures: tuple[LinkFigures, ...] = ()
    events: tuple[Event, ...] = ()
    recordings: tuple[RecordingFigures, ...] = ()
    learnt: tuple[str, ...] = ()
    svg: str = ""
    planned_dbm: Mapping[str, float] = field(default_factory=dict)


def with_done(episodes: Sequence[DiagnosedEpisode], events: Sequence[Event]) -> tuple[ToldEpisode, ...]:
    """Each episode with what happened from its begin to a minute after its end, of its link or of no link."""
    told_episodes = []
    for episode in episodes:
        done = tuple(
            event
            for event in events
            if episode.from_ms <= event.at_ms <= episode.to_ms + AFTER_MS
            and event.kind != "take"
            and (event.about == episode.link or event.kind == "note")
        )
        told_episodes.append(ToldEpisode(episode, done))
    return tuple(told_episodes)
