"""Episodes out of kept readings: the same watch that runs live, over the stretches one after the other."""

from __future__ import annotations

from linkwright.desk.job import Job
from linkwright.shoot.errors import InputError
from linkwright.watch.align.breaks import Breaks
from linkwright.watch.diagnose.episodes import Episode
from linkwright.watch.diagnose.expected import Expected, another_day, at_any_time
from linkwright.watch.diagnose.watcher import Episode as Seen
from linkwright.watch.diagnose.watcher import Watcher
from linkwright.watch.log.kept import Stretch
from linkwright.watch.log.stretches import batch_of

_MS_NS = 1_000_000


def expected_now(job: Job) -> tuple[Expected, ...]:
    """What the newest plan says, if there is one."""
    from linkwright.desk.expecting import expected_of

    plan = job.planned.plan
    try:
        scene = job.scene()
    except InputError:
        scene = None
    if plan is None or scene is None:
        return ()
    try:
        return expected_of(scene, plan)
    except (KeyError, StopIteration):  # the shoot is newer than its plan; the next plan comes soon
        return ()


class Diagnosing:
    """The episodes of a day, taken in stretch by stretch in the order of time."""

    def __init__(self, job: Job) -> None:
        self._expected = expected_now(job)
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
        return () if self._watcher is None else self._watcher.episodes()


def told_of(one: Seen) -> Episode:
    """An episode of the watch as the page tells it."""
    from_ms, to_ms = one.from_ns // _MS_NS, one.to_ns // _MS_NS
    return Episode(one.link, from_ms, to_ms, one.cause, one.probability, one.because, one.do, one.heard)
