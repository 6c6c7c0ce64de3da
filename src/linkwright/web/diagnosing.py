"""Episodes out of kept readings: the same watch that runs live, over the stretches one after the other."""

from __future__ import annotations

from linkwright.shoot.errors import InputError
from linkwright.watch.episodes import Episode
from linkwright.watch.kept import Stretch
from linkwright.watch.stretches import batch_of
from linkwright.watch.watcher import Episode as Seen
from linkwright.watch.watcher import Watcher
from linkwright.web.job import Job

_MS_NS = 1_000_000


def watcher_of(job: Job) -> Watcher:
    """A watch that knows the newest plan, if there is one."""
    from linkwright.gather.watching import expected_of

    plan = job.planned.plan
    try:
        scene = job.scene()
    except InputError:
        scene = None
    if plan is None or scene is None:
        return Watcher()
    try:
        return Watcher(expected_of(scene, plan))
    except (KeyError, StopIteration):  # the shoot is newer than its plan; the next plan comes soon
        return Watcher()


class Diagnosing:
    """The episodes of a day, taken in stretch by stretch in the order of time."""

    def __init__(self, job: Job) -> None:
        self._watcher = watcher_of(job)

    def add(self, stretch: Stretch) -> None:
        """Take in readings."""
        self._watcher.add(batch_of(stretch))

    def episodes(self) -> tuple[Episode, ...]:
        """All of them, by their begin; nothing more comes."""
        self._watcher.finish()
        return tuple(_told(one) for one in self._watcher.episodes())


def _told(one: Seen) -> Episode:
    """An episode of the watch as the page tells it."""
    from_ms, to_ms = one.from_ns // _MS_NS, one.to_ns // _MS_NS
    return Episode(one.link, from_ms, to_ms, one.cause, one.probability, one.because, one.do, one.heard)
