"""Recordings laid along the readings of a job, in the background; laid anew where either changed."""

from __future__ import annotations

import threading
import time
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final

from linkwright.desk.background import Background
from linkwright.watch.align.breaks import LinkBreaks
from linkwright.watch.align.recordings import Laid, NotLaid, TrackFaults, lay
from linkwright.watch.align.weighing import spans_of, weighed
from linkwright.watch.diagnose.watcher import Episode

#: A page waits this long for what is usually there at once [s].
SHORT_S: Final = 0.5


@dataclass(frozen=True, eq=False, slots=True)
class LaidRecordings:
    """What the recordings say: the episodes with it, the tracks that are laid along a link, and the others."""

    episodes: tuple[Episode, ...] = ()
    laid: tuple[Laid, ...] = ()
    not_laid: tuple[NotLaid, ...] = ()


Key = tuple[tuple[LinkBreaks, ...], tuple[TrackFaults, ...]]


@dataclass
class Laying:
    """The recordings of one job along its readings. Safe to use from several threads."""

    background: Background
    _of: Key | None = None
    _found: LaidRecordings = field(default_factory=LaidRecordings)
    _lock: threading.RLock = field(default_factory=threading.RLock)

    def of(
        self, breaks: tuple[LinkBreaks, ...], episodes: tuple[Episode, ...], tracks: Sequence[TrackFaults],
        wait_s: float = SHORT_S,
    ) -> LaidRecordings | None:  # fmt: skip
        """What these recordings say of these readings; None while that is not known yet."""
        key = (breaks, tuple(tracks))
        if not tracks or not breaks:
            return LaidRecordings(episodes)
        until = time.monotonic() + wait_s
        for _ in range(2):  # what is under way may be of other readings; then once more
            if self._is(key):
                break
            self.background.begin(lambda _run: self._lay(key, episodes))
            self.background.wait(max(0.0, until - time.monotonic()))
        with self._lock:
            return self._found if self._is(key) else None

    def _is(self, key: Key) -> bool:
        """Whether what was found is of these: the very same readings, and equal tracks."""
        with self._lock:
            return self._of is not None and self._of[0] is key[0] and self._of[1] == key[1]

    def _lay(self, key: Key, episodes: tuple[Episode, ...]) -> None:
        breaks, tracks = key
        laid, not_laid = lay(breaks, tracks, spans_of(episodes))
        recordings = LaidRecordings(weighed(episodes, laid, breaks), laid, not_laid)
        with self._lock:
            self._of, self._found = key, recordings
