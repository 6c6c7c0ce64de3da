"""Listening to an input: levels every second, faults as they come, and at the end all that a recording tells."""

from __future__ import annotations

import copy
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np

from linkwright.physics.loudness import level_dbfs, peak_db
from linkwright.sound.fault import Fault
from linkwright.sound.listen import Ears, Heard
from linkwright.sound.lowcut import GENERIC, Filter
from linkwright.sound.meter import STEP, hop_frames
from linkwright.sound.recordings import Recording
from linkwright.units import SampleArray

#: The first minute of a voice is the test recording: so many seconds over its floor by so much [dB] (own choice).
VOICED_S: Final = 60
OVER_FLOOR_DB: Final = 15.0
#: A sample at this is at full scale [full scale 1].
FULL: Final = 0.9999


@dataclass(frozen=True)
class Second:
    """What came in a second.

    at_s : when it ends. rate_hz : of the samples that faults are placed by. rms_dbfs, peak_dbfs : of each track,
    None for digital silence. faults : those found since, each with its track, from 1. full : the tracks at full
    scale.
    """

    at_s: float
    rate_hz: int
    rms_dbfs: tuple[float | None, ...]
    peak_dbfs: tuple[float | None, ...]
    faults: tuple[tuple[int, Fault], ...]
    full: tuple[int, ...]


class LiveEars:
    """Listens to an input. Not safe to use from several threads."""

    def __init__(self, name: str, rate_hz: int, tracks: int, low_cut: Filter = GENERIC) -> None:
        self.name, self.rate_hz, self.tracks = name, rate_hz, tracks
        self._ears = Ears(rate_hz, tracks, low_cut)
        self._rest: SampleArray = np.empty((tracks, 0), np.float32)
        self._told: list[set[tuple[int, str]]] = [set() for _ in range(tracks)]
        self._voiced_s = [0] * tracks
        self._second = 10 * STEP * hop_frames(rate_hz)

    def add(self, x: SampleArray) -> list[Second]:
        """The next samples, (tracks, n), full scale 1; each second that is whole."""
        joined = np.concatenate((self._rest, x), axis=1)
        whole = joined.shape[1] // self._second * self._second
        self._rest = joined[:, whole:].copy()
        return [self._heard(joined[:, at : at + self._second]) for at in range(0, whole, self._second)]

    def _heard(self, x: SampleArray) -> Second:
        self._ears.add(x)
        rms = tuple(level_dbfs(float(np.mean(track.astype(float) ** 2))) for track in x)
        peaks = np.abs(x).max(axis=1)
        for n, level in enumerate(rms):
            floor = level_dbfs(self._ears.listeners[n].meter.floor())
            self._voiced_s[n] += level is not None and floor is not None and level > floor + OVER_FLOOR_DB
        return Second(
            self._ears.frames / self.rate_hz, self.rate_hz, rms, tuple(peak_db(float(peak)) for peak in peaks),
            tuple(self._news()), tuple(n + 1 for n, peak in enumerate(peaks) if peak >= FULL),
        )  # fmt: skip

    def _news(self) -> list[tuple[int, Fault]]:
        """Faults that were not told yet; what the track's floor may still take back is told at the end only."""
        news = []
        for n, (listener, told) in enumerate(zip(self._ears.listeners, self._told, strict=True)):
            for fault in listener.finder.faults:
                if fault.certain and (fault.at, fault.kind) not in told:
                    told.add((fault.at, fault.kind))
                    news.append((n + 1, fault))
        return news

    @property
    def test_recording(self) -> bool:
        """Whether a minute of a voice came in one of the tracks."""
        return max(self._voiced_s) >= VOICED_S

    def heard(self) -> Heard:
        """All that came so far, as of a recording; it may go on."""
        ears = copy.deepcopy(self._ears)
        if self._rest.shape[1]:
            ears.add(self._rest)
        recording = Recording(Path(self.name), self.name, self.rate_hz, self.tracks, ears.frames, "input", None)
        return ears.finish(recording)
