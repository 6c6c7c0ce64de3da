"""The quietest seconds of a track: its room tone, the spectrum of it, and hum in it."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

import numpy as np

from linkwright.units import FloatArray, SampleArray

#: Length of a piece [s] and how many of the quietest are kept.
PIECE_S: Final = 0.5
PIECES: Final = 8
#: A hum's line stands this much over what is beside it [dB], with so many of its first harmonics (own choice).
LINE_DB: Final = 10.0
LINES, HARMONICS = 3, 8
MAINS_HZ: Final = (50.0, 60.0)


@dataclass(frozen=True)
class Hum:
    """Hum of the mains: base frequency and level of all its lines together (a full-scale sine is 0 dBFS)."""

    mains_hz: float
    level_dbfs: float


@dataclass
class RoomTone:
    """Keeps the quietest pieces of a track that streams by; digital silence is no room tone."""

    rate_hz: int
    rest: SampleArray = field(default_factory=lambda: np.empty(0, np.float32))
    kept: list[tuple[float, int, SampleArray]] = field(default_factory=list)
    seen: int = 0

    def add(self, x: SampleArray) -> None:
        """The next samples."""
        size = round(PIECE_S * self.rate_hz)
        joined = np.concatenate((self.rest, x)) if self.rest.size else x
        pieces = joined[: joined.size // size * size].reshape(-1, size)
        self.rest = joined[pieces.size :].copy()
        for piece, power in zip(pieces, pieces.var(axis=1), strict=True):
            self.seen += 1
            silent = np.count_nonzero(piece) < size // 2
            if not silent and (len(self.kept) < PIECES or power < self.kept[-1][0]):
                self.kept = sorted([*self.kept, (float(power), self.seen, piece.copy())])[:PIECES]

    def spectrum(self) -> tuple[FloatArray, FloatArray] | None:
        """Frequencies [Hz] and power in each bin (Hann, full scale 1); None without room tone."""
        if not self.kept:
            return None
        size = self.kept[0][2].size
        window = np.hanning(size)
        pieces = np.array([piece for _, _, piece in self.kept], float)
        pieces -= pieces.mean(axis=1, keepdims=True)
        power = (np.abs(np.fft.rfft(pieces * window, axis=1)) ** 2).mean(axis=0) * 2.0 / (size * (window**2).sum())
        return np.asarray(np.fft.rfftfreq(size, 1.0 / self.rate_hz), float), np.asarray(power, float)

    def hum(self) -> Hum | None:
        """Hum of the mains, where at least three of its first eight lines stand out of the room tone."""
        found = self.spectrum()
        if found is None:
            return None
        frequency, power = found
        step = frequency[1]
        answers = []
        for mains in MAINS_HZ:
            lines = []
            for k in range(1, HARMONICS + 1):
                at = round(mains * k / step)
                if at + 12 >= power.size:
                    break
                line = power[at - 1 : at + 2].sum()
                beside = np.median(np.concatenate((power[at - 10 : at - 3], power[at + 4 : at + 11])))
                if line > 3.0 * beside * 10.0 ** (LINE_DB / 10.0):
                    lines.append(line)
            answers.append((len(lines), float(sum(lines)), mains))
        count, total, mains = max(answers)
        return Hum(mains, 10.0 * float(np.log10(2.0 * total))) if count >= LINES else None
