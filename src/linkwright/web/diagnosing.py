"""Episodes out of readings that come piece by piece: the diagnosis of `watch`, over pieces that it can hold."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from linkwright.watch.episodes import Episode
from linkwright.watch.kept import Stretch
from linkwright.watch.statistics import Figures
from linkwright.web.job import Job

#: What is told of a drop-out that nothing explains.
UNTOLD: Final = "no reading tells why"
#: Drop-outs of a link that are no farther apart are one episode [ms].
TOGETHER_MS: Final = 5000
LISTEN: Final = "listen to the recording of that moment and look at the receiver"


class Diagnosing:
    """The episodes of a day."""

    def __init__(self, job: Job) -> None:
        self.job = job

    def add(self, stretch: Stretch) -> None:
        """Take in readings, in the order of time."""

    def episodes(self, figures: Sequence[Figures]) -> tuple[Episode, ...]:
        """The episodes, in the order of time."""
        found: list[Episode] = []
        for one in figures:
            mine: list[Episode] = []
            for lost in one.listed:
                begin = lost.from_ms
                if mine and begin - mine[-1].to_ms <= TOGETHER_MS:
                    begin = mine.pop().from_ms
                mine.append(Episode(one.link, begin, lost.to_ms, "unknown", 0.0, UNTOLD, LISTEN))
            found += mine
        return tuple(sorted(found, key=lambda one: (one.from_ms, one.link)))
