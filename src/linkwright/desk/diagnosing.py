"""Episodes out of kept readings: the same watch that runs live, over the stretches in turn."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from linkwright.desk.expecting import expected_of
from linkwright.desk.snapshot import Snapshot
from linkwright.watch.align.breaks import Breaks
from linkwright.watch.diagnose.episodes import DiagnosedEpisode
from linkwright.watch.diagnose.expected import Expected, another_day, at_any_time
from linkwright.watch.diagnose.watcher import Episode as Seen
from linkwright.watch.diagnose.watcher import Watcher
from linkwright.watch.log.kept import Stretch
from linkwright.watch.log.stretches import batch_of

_MS_NS = 1_000_000


def expected_in(snapshot: Snapshot) -> tuple[Expected, ...]:
    """What the newest plan says, by what the links are called now; nothing without a plan."""
    made = snapshot.made
    if made is None:
        return ()
    return tuple(
        replace(expected, link=snapshot.names.name_of(made.names.id_of("link", expected.link)))
        for expected in expected_of(made.scene, made.plan)
    )


class Diagnosing:
    """The episodes of a day, taken in stretch by stretch in the order of time."""

    def __init__(self, expected: Sequence[Expected]) -> None:
        self._expected = tuple(expected)
        self._watcher: Watcher | None = None
        self.breaks = Breaks()

    def add(self, stretch: Stretch) -> None:
        """Take in readings; those of another day than the plan's are judged by its levels alone."""
        if not stretch.size:
            return
        if self._watcher is None:
            other = another_day(self._expected, int(stretch.time_ms[0]) * _MS_NS)
            self._watcher = Watcher(at_any_time(self._expected) if other else self._expected)
        batch = batch_of(stretch)
        self._watcher.add(batch)
        self.breaks.add(batch)

    def episodes(self) -> tuple[Seen, ...]:
        """All of them so far, by their begin."""
        return () if self._watcher is None else self._watcher.all_episodes()


def told_of(seen: Seen) -> DiagnosedEpisode:
    """An episode of the watch as the page tells it."""
    from_ms, to_ms = seen.from_ns // _MS_NS, seen.to_ns // _MS_NS
    return DiagnosedEpisode(
        seen.link, from_ms, to_ms, seen.cause, seen.probability, seen.because, seen.do, seen.heard
    )
