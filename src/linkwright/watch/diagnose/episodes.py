"""An episode as it is told: which link failed, from when to when, why, how sure that is, and what to do."""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from linkwright.lengths import duration
from linkwright.units import number_word
from linkwright.watch.diagnose.causes import words_of


@dataclass(frozen=True, slots=True)
class DiagnosedEpisode:
    """One time that a link failed; times are UTC [ms since 1970], `probability` is of the cause, 0..1. `heard`: its
    audio was broken; else something was amiss that nobody heard."""

    link: str
    from_ms: int
    to_ms: int
    cause: str
    probability: float
    because: str
    do: str
    heard: bool = True

    @property
    def length_s(self) -> float:
        """How long it lasted [s]."""
        return (self.to_ms - self.from_ms) / 1000.0

    @property
    def cause_words(self) -> str:
        """The cause as it stands in a sentence."""
        return words_of(self.cause)


def to_document(episodes: Iterable[DiagnosedEpisode], zone: datetime.tzinfo = datetime.UTC) -> dict[str, Any]:
    """The same as such a document, with times in a zone."""
    return {
        "episodes": [
            {
                "link": episode.link,
                "from": iso(episode.from_ms, zone),
                "to": iso(episode.to_ms, zone),
                "cause": episode.cause,
                "probability": round(episode.probability, 4),
                "because": episode.because,
                "do": episode.do,
                "heard": episode.heard,
            }
            for episode in episodes
        ]
    }


def lost_by_cause(episodes: Iterable[DiagnosedEpisode], link: str) -> dict[str, float]:
    """Seconds of the episodes in which a link's audio was broken, by cause, most first."""
    lost_s: dict[str, float] = {}
    for episode in episodes:
        if episode.link == link and episode.heard:
            lost_s[episode.cause] = lost_s.get(episode.cause, 0.0) + episode.length_s
    return dict(sorted(lost_s.items(), key=lambda pair: (-pair[1], pair[0])))


def iso(at_ms: int, zone: datetime.tzinfo = datetime.UTC) -> str:
    """A time as ISO 8601 with its offset, to the millisecond."""
    return moment(at_ms, zone).isoformat(timespec="milliseconds")


def moment(at_ms: int, zone: datetime.tzinfo = datetime.UTC) -> datetime.datetime:
    """A time [ms since 1970] in a zone."""
    seconds, rest = divmod(int(at_ms), 1000)
    return datetime.datetime.fromtimestamp(seconds, zone) + datetime.timedelta(milliseconds=rest)


def answer(
    episodes: Sequence[DiagnosedEpisode], span_s: float, zone: datetime.tzinfo = datetime.UTC, most: int = 3
) -> str:
    """What happened, as a sentence: how many links broke up in how long, and the longest few of it."""
    heard = [episode for episode in episodes if episode.heard]
    unheard = len(episodes) - len(heard)
    if not heard:
        amiss = f"; {_times(unheard)} something was amiss that nobody could hear" if unheard else ""
        return f"No link broke up in {duration(span_s)}{amiss}."
    episodes = heard
    links = {episode.link for episode in episodes}
    many = "One link" if len(links) == 1 else f"{number_word(len(links)).capitalize()} links"
    times = f", {len(episodes)} times" if len(episodes) > len(links) else ""
    worst = sorted(
        sorted(episodes, key=lambda episode: -episode.length_s)[:most], key=lambda episode: episode.from_ms
    )
    told = [
        f"{episode.link} at {moment(episode.from_ms, zone):%H:%M} for {duration(episode.length_s)}, "
        f"{episode.cause_words}"
        for episode in worst
    ]
    longest = "; the longest: " if len(episodes) > most else ": "
    return f"{many} broke up in {duration(span_s)}{times}{longest}{'; '.join(told)}."


def _times(count: int) -> str:
    return {1: "once", 2: "twice"}.get(count, f"{count} times")
