"""Recordings in place of a receiver: SigMF, one or a folder of them, each on one part of the band."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

import numpy as np

from linkwright.air.readers import sigmf
from linkwright.air.tuning.spectrum import Samples
from linkwright.air.tuning.tuner import TunerEnded
from linkwright.shoot.errors import InputError

#: More recordings than this are no folder of a band.
MOST_RECORDINGS: Final = 4_096


@dataclass(eq=False)
class RecordedTuner:
    """Plays recordings from their beginning, those on one centre frequency in turn.

    It ends when a look asks for more than is left. loops : begin anew instead. settle_s : passes at each look, as
    with a receiver.
    """

    name: str
    recordings: tuple[sigmf.SigmfMetadata, ...]
    settle_s: float = 0.0
    loops: bool = False
    rate_hz: float = field(init=False)
    lost: int = 0
    _parts: dict[float, list[tuple[sigmf.SigmfMetadata, sigmf.Capture]]] = field(default_factory=dict)
    _at: dict[float, tuple[int, int]] = field(default_factory=dict)
    _now_s: float = 0.0

    def __post_init__(self) -> None:
        self.rate_hz = self.recordings[0].rate_hz
        for recording in self.recordings:
            if not recording.is_complex or recording.rate_hz != self.rate_hz:
                kind = "complex" if recording.is_complex else "real"
                raise InputError(
                    f"found {recording.rate_hz:.0f} {kind} samples a second in {recording.data.name}, expected "
                    f"{self.rate_hz:.0f} complex ones as in the others",
                    path=self.name,
                )
            for capture in recording.captures:
                self._parts.setdefault(capture.centre_hz, []).append((recording, capture))

    def places_hz(self) -> tuple[float, ...]:
        """The centre frequencies, lowest first."""
        return tuple(sorted(self._parts))

    def look(self, centre_hz: float, count: int) -> tuple[float, Samples]:
        """The next samples on a centre frequency. Raises TunerEnded where too few are left."""
        parts = self._parts[centre_hz]
        number, first = self._at.get(centre_hz, (0, 0))
        for _ in range(len(parts) + 1):
            if number == len(parts) and self.loops:
                number, first = 0, 0
            if number == len(parts):
                break
            recording, capture = parts[number]
            if capture.count - first >= count:
                self._at[centre_hz] = number, first + count
                self._now_s += self.settle_s + count / self.rate_hz
                return centre_hz, sigmf.samples(recording, capture.start + first, count).astype(np.complex64)
            number, first = number + 1, 0
        raise TunerEnded

    def now_s(self) -> float:
        """What was played [s]."""
        return self._now_s

    def close(self) -> None:
        """Nothing is held open."""


def recorded(place: str, settle_s: float = 0.0) -> RecordedTuner:
    """The recordings in a folder, or the one that is named. Raises InputError."""
    path = Path(place)
    if path.is_dir():
        paths = sorted(path.glob("*.sigmf-meta"))
    elif sigmf.is_sigmf(path):
        paths = [path]
    else:
        raise InputError("found no recording, expected a .sigmf-meta or a folder of them", path=place)
    if not 1 <= len(paths) <= MOST_RECORDINGS:
        raise InputError(f"found {len(paths)} recordings, expected .sigmf-meta, 1 to {MOST_RECORDINGS}", path=place)
    try:
        recordings = tuple(sigmf.metadata(each, str(each) if path.is_dir() else place) for each in paths)
    except OSError as error:
        raise InputError(f"the recording could not be read ({error.strerror})", path=place) from None
    return RecordedTuner(path.resolve().name, recordings, settle_s)
