"""Recordings of a played log, as lists of faults: made from what was played, on a clock of their own."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from tests.watch.second import BEGIN_NS, Played

from linkwright.watch.align.breaks import Breaks
from linkwright.watch.align.recordings import Laid, NotLaid, TrackFaults, lay
from linkwright.watch.align.weighing import spans_of, weighed
from linkwright.watch.diagnose.watcher import Episode
from linkwright.watch.log.record import MUTED, Batch

#: A longer mute is digital silence to whoever listens [s] (docs/sound.md).
LONGEST_MUTE_S = 5.0


def every(played: Played, nth: int) -> Played:
    """The same with every n-th reading of each link."""
    keep = (np.arange(played.time_s.size) // len(played.names)) % nth == 0
    return Played(
        played.names, played.link[keep], played.time_s[keep], played.values[keep], played.truth, played.on
    )


def recorded(
    played: Played, seed: int, *, late_s: float = 41.7, ppm: float = 25.0, missed: float = 0.1, stray: int = 3,
    stamp_off_s: float | None = None,
) -> list[TrackFaults]:  # fmt: skip
    """A track of each talent: losses where it was muted, most of them, and a few that were nobody's.

    The recording began `late_s` after the log, its clock is slow by `ppm`; a dead microphone is digital silence
    every other time, else low noise, of which nothing is certain. stamp_off_s : how far its clock is ahead.
    """
    rng = np.random.default_rng([seed, 7])
    length = float(played.time_s[-1]) - late_s - 5.0
    tracks = []
    for n, name in enumerate(one for one in played.names if one not in played.on):
        mine = played.link == played.names.index(name)
        time_s, muted = played.time_s[mine], played.values[mine, MUTED] == 1.0
        turns = np.flatnonzero(np.diff(np.concatenate([[False], muted, [False]]).astype(int)))
        spans = [(time_s[a], time_s[min(b, time_s.size - 1)]) for a, b in zip(turns[::2], turns[1::2], strict=True)]
        spans = [span for span in spans if rng.random() >= missed]
        dead = [one for one in played.truth if one.link == name and one.cause == "audio-path"]
        spans += [(one.start_s, one.end_s) for one in dead if rng.random() < 0.5]
        spans += [(at, at + 0.02) for at in rng.uniform(late_s, late_s + length, stray)]
        faults = [
            ((a - late_s) / (1.0 + ppm * 1e-6), b - a, "mute" if b - a <= LONGEST_MUTE_S else "edit")
            for a, b in sorted(spans)
            if late_s < a and b < late_s + length
        ]
        stamp = None if stamp_off_s is None else BEGIN_NS + round((late_s + stamp_off_s) * 1e9)
        tracks.append(TrackFaults("roll.wav", n + 1, tuple(faults), (), length, stamp))
    return tracks


def with_recordings(
    batch: Batch, tracks: Sequence[TrackFaults], episodes: Sequence[Episode]
) -> tuple[tuple[Episode, ...], tuple[Laid, ...], tuple[NotLaid, ...]]:
    """What `diagnose --audio` and the page Wrap do."""
    breaks = Breaks()
    breaks.add(batch)
    laid, not_laid = lay(breaks.links(), tracks, spans_of(episodes))
    return weighed(episodes, laid, breaks.links()), laid, not_laid
