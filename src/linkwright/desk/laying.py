"""Recordings laid along the readings of a job, in a thread of their own; laid anew where either changed."""

from __future__ import annotations

import threading
import time
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final

from linkwright.watch.align.breaks import LinkBreaks
from linkwright.watch.align.recordings import Laid, NotLaid, TrackFaults, lay
from linkwright.watch.align.weighing import spans_of, weighed
from linkwright.watch.diagnose.watcher import Episode

#: A page waits this long for what is usually there at once [s].
SHORT_S: Final = 0.5


@dataclass(frozen=True, eq=False, slots=True)
class Found:
    """What the recordings say: the episodes with it, the tracks that are laid along a link, and the others."""

    episodes: tuple[Episode, ...] = ()
    laid: tuple[Laid, ...] = ()
    not_laid: tuple[NotLaid, ...] = ()


@dataclass
class Laying:
    """The recordings of one job along its readings. Safe to use from several threads."""

    busy: bool = False
    _of: tuple[object, tuple[TrackFaults, ...]] | None = None
    _found: Found = field(default_factory=Found)
    _lock: threading.RLock = field(default_factory=threading.RLock)
    _thread: threading.Thread | None = None

    def of(
        self, breaks: tuple[LinkBreaks, ...], episodes: tuple[Episode, ...], tracks: Sequence[TrackFaults],
        wait_s: float = SHORT_S,
    ) -> Found | None:  # fmt: skip
        """What these recordings say of these readings; None while that is not known yet."""
        key = (breaks, tuple(tracks))
        if not tracks or not breaks:
            return Found(episodes)
        until = time.monotonic() + wait_s
        for _ in range(2):  # what is under way may be of other readings; then once more
            with self._lock:
                if self._is(key):
                    return self._found
                thread = self._thread
                if thread is None or not thread.is_alive():
                    self.busy = True
                    thread = threading.Thread(target=self._run, args=(key, episodes), name="laying", daemon=True)
                    self._thread = thread
                    thread.start()
            thread.join(max(0.0, until - time.monotonic()))
        with self._lock:
            return self._found if self._is(key) else None

    def _is(self, key: tuple[object, tuple[TrackFaults, ...]]) -> bool:
        """Whether what was found is of these: the very same readings, and equal tracks."""
        return self._of is not None and self._of[0] is key[0] and self._of[1] == key[1]

    def close(self) -> None:
        """Wait for what is under way."""
        if self._thread is not None:
            self._thread.join(timeout=10)

    def _run(
        self, key: tuple[tuple[LinkBreaks, ...], tuple[TrackFaults, ...]], episodes: tuple[Episode, ...]
    ) -> None:
        breaks, tracks = key
        try:
            laid, not_laid = lay(breaks, tracks, spans_of(episodes))
            found = Found(weighed(episodes, laid, breaks), laid, not_laid)
            with self._lock:
                self._of, self._found = key, found
        finally:
            self.busy = False
