"""The fundamentals of the voice in a track, and its level, counted while the track streams by."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import NDArray

from linkwright.physics.speech import F0_HZ, fundamentals_hz
from linkwright.units import BoolArray, FloatArray

#: The pitch is looked for in frames of so long [s].
FRAME_S: Final = 0.050
#: A frame is a voice's when it lies this much over the quietest tenth of all frames [dB].
OVER_PAUSES_DB: Final = 12
#: A voice's fundamental moves at most by this from a frame to the next (natural logarithm; own choice: 19 %).
NEIGHBOURS: Final = 0.175
#: Frames are counted in bins of 1 dB, from that far under full scale on, and of 1 % of the fundamental; a voice is
#: told at so many ranks.
POWER_FROM, POWER_BINS = 110, 121
PITCH_STEP: Final = 0.01
PITCH_BINS: Final = int(np.ceil(np.log(F0_HZ[1] / F0_HZ[0]) / PITCH_STEP))
RANKS: Final = 1001
#: No fundamental is looked for in frames under this mean square.
LEAST_POWER: Final = 1e-9
#: So many voiced frames make a talker: two seconds.
LEAST_FRAMES: Final = 40


@dataclass
class PitchMeter:
    """The fundamentals of the voice in a track that streams by as `low_band.Slowed` gives it.

    Rumble and wind hide a fundamental, and not the partials over 150 Hz that come with its period.
    Frames are counted by power and fundamental. One counts as voiced where a neighbour's fundamental is near its
    own: what jumps by an octave for a single frame is no voice's.
    """

    rate_hz: float
    counts: NDArray[np.int32] = field(default_factory=lambda: np.zeros((POWER_BINS, PITCH_BINS + 1), np.int32))
    f0_hz: FloatArray = field(default_factory=lambda: np.full(2, np.nan))
    power: FloatArray = field(default_factory=lambda: np.zeros(2))

    def add(self, above: FloatArray) -> tuple[BoolArray, FloatArray]:
        """The next samples of what lies over 150 Hz; what is left over after whole frames is passed over.

        Of each of these frames, whether it has a fundamental, and its mean square.
        """
        size = round(FRAME_S * self.rate_hz)
        frames = above[: above.size // size * size].reshape(-1, size)
        power = frames.var(axis=1)
        loud = power > max(LEAST_POWER, self._pauses())
        f0 = np.full(power.size, np.nan)
        f0[loud] = fundamentals_hz(frames[loud], self.rate_hz)
        heard = np.isfinite(f0), power
        f0, power = np.concatenate((self.f0_hz, f0)), np.concatenate((self.power, power))
        self.counts += _counted(f0, power)
        self.f0_hz, self.power = f0[-2:], power[-2:]
        return heard

    def talks(self) -> bool:
        """Whether there is a voice, if one that stands only half as far over the pauses as `voice` asks for."""
        return int(self._voiced(OVER_PAUSES_DB // 2).sum()) >= LEAST_FRAMES

    def voice(self) -> FloatArray:
        """Fundamentals of the frames that lie well over the pauses [Hz], at even ranks; empty without a voice."""
        voiced = self._voiced().sum(axis=0)
        total = int(voiced.sum())
        if total < LEAST_FRAMES:
            return np.empty(0)
        used = np.flatnonzero(voiced)
        middle = np.cumsum(voiced[used]) - voiced[used] / 2.0
        return np.asarray(
            np.interp(np.linspace(0.0, total, RANKS), middle, F0_HZ[0] * np.exp(PITCH_STEP * (used + 0.5)))
        )

    def level_db(self) -> tuple[float, bool]:
        """Mean square of the voice's middle frame over 150 Hz [dB], True; without a voice that of all frames."""
        voiced = self._voiced().sum(axis=1)
        if voiced.sum() >= LEAST_FRAMES:
            ranked = np.cumsum(voiced)
            return float(np.searchsorted(ranked, 0.5 * ranked[-1])) + 0.5 - POWER_FROM, True
        counts = self._all().sum(axis=1)
        powers = 10.0 ** ((np.arange(POWER_BINS) + 0.5 - POWER_FROM) / 10.0)
        return 10.0 * float(np.log10(max((powers * counts).sum() / max(counts.sum(), 1), 1e-20))), False

    def _pauses(self) -> float:
        """Mean square that pauses stay under, by what was counted so far: such frames need no fundamental."""
        frames = np.cumsum(self.counts.sum(axis=1))
        if frames[-1] < LEAST_FRAMES:
            return 0.0
        quietest = int(np.searchsorted(frames, 0.1 * frames[-1], side="right"))
        return float(10.0 ** ((quietest + OVER_PAUSES_DB / 2 - POWER_FROM) / 10.0))

    def _all(self) -> NDArray[np.int32]:
        return self.counts + _counted(np.append(self.f0_hz, np.nan), np.append(self.power, 0.0))

    def _voiced(self, over_db: int = OVER_PAUSES_DB) -> NDArray[np.int32]:
        """The counts of the frames that are voiced and lie well over the pauses, column 0 left out."""
        counts = self._all()
        frames = np.cumsum(counts.sum(axis=1))
        pauses = int(np.searchsorted(frames, 0.1 * frames[-1], side="right"))
        counts[: min(pauses + over_db, POWER_BINS)] = 0
        return counts[:, 1:]


def _counted(f0: FloatArray, power: FloatArray) -> NDArray[np.int32]:
    """Frames but the first and the last by power [dB, 1 a bin] and fundamental; column 0 is unvoiced."""
    middle, before, after = f0[1:-1], f0[:-2], f0[2:]
    with np.errstate(invalid="ignore"):
        near = (np.abs(np.log(before / middle)) < NEIGHBOURS) | (np.abs(np.log(after / middle)) < NEIGHBOURS)
        column = 1 + np.clip(np.log(np.where(near, middle, F0_HZ[0]) / F0_HZ[0]) / PITCH_STEP, 0, PITCH_BINS - 1)
    live = power[1:-1] > 0.0
    row = np.clip(10.0 * np.log10(np.maximum(power[1:-1], 1e-20)) + POWER_FROM, 0, POWER_BINS - 1)
    counts = np.zeros((POWER_BINS, PITCH_BINS + 1), np.int32)
    np.add.at(counts, (row[live].astype(int), np.where(near, column, 0.0)[live].astype(int)), 1)
    return counts
