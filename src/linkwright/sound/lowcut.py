"""Which low cut suits a voice in its noise, from a recording: what it takes away and what it costs."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import NDArray

from linkwright.physics.loudness_compiled import means
from linkwright.physics.speech import F0_HZ, fundamentals_hz, highest_corner_hz, low_cut_db
from linkwright.units import FloatArray, SampleArray

#: The steps of a generic body-worn transmitter [Hz], as in the catalogue, and the order of its filter (assumed).
STEPS_HZ: Final = (0.0, 60.0, 80.0, 100.0, 120.0, 150.0, 180.0, 220.0)
ORDER: Final = 3
#: The pitch is looked for at about this rate [Hz], in frames of so long, one every so often [s].
PITCH_RATE_HZ: Final = 4000.0
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
#: So many voiced frames make a talker: two seconds.
LEAST_FRAMES: Final = 40
#: A higher step must take at least this from the pauses [dB].
WORTH_DB: Final = 1.0


@dataclass(frozen=True)
class Filter:
    """The low cut of a transmitter: its steps [Hz], 0 being off, and its order."""

    steps_hz: tuple[float, ...] = STEPS_HZ
    order: int = ORDER


#: The low cut of the generic transmitter.
GENERIC: Final = Filter()


@dataclass
class PitchMeter:
    """The fundamentals of the voice in a track that streams by.

    Frames are counted by power and fundamental. One counts as voiced where a neighbour's fundamental is near its
    own: what jumps by an octave for a single frame is no voice's.
    """

    rate_hz: int
    counts: NDArray[np.int32] = field(default_factory=lambda: np.zeros((POWER_BINS, PITCH_BINS + 1), np.int32))
    f0_hz: FloatArray = field(default_factory=lambda: np.full(2, np.nan))
    power: FloatArray = field(default_factory=lambda: np.zeros(2))

    def add(self, x: SampleArray) -> None:
        """The next samples; what is left over after whole frames is passed over."""
        every = max(1, round(self.rate_hz / PITCH_RATE_HZ))
        slow = np.empty(x.size // every, np.float32)
        means(x, every, slow)
        size = round(FRAME_S * self.rate_hz / every)
        frames = slow[: slow.size // size * size].reshape(-1, size).astype(float)
        power = frames.var(axis=1)
        loud = power > 1e-9
        f0 = np.full(power.size, np.nan)
        f0[loud] = fundamentals_hz(frames[loud], self.rate_hz / every)
        f0, power = np.concatenate((self.f0_hz, f0)), np.concatenate((self.power, power))
        self.counts += _counted(f0, power)
        self.f0_hz, self.power = f0[-2:], power[-2:]

    def voice(self) -> FloatArray:
        """Fundamentals of the frames that lie well over the pauses [Hz], at even ranks; empty without a voice."""
        last = _counted(np.append(self.f0_hz, np.nan), np.append(self.power, 0.0))
        counts = self.counts + last
        frames = np.cumsum(counts.sum(axis=1))
        if not frames[-1]:
            return np.empty(0)
        pauses = int(np.searchsorted(frames, 0.1 * frames[-1], side="right"))
        voiced = counts[min(pauses + OVER_PAUSES_DB, POWER_BINS) :, 1:].sum(axis=0)
        total = int(voiced.sum())
        if total < LEAST_FRAMES:
            return np.empty(0)
        used = np.flatnonzero(voiced)
        middle = np.cumsum(voiced[used]) - voiced[used] / 2.0
        return np.asarray(
            np.interp(np.linspace(0.0, total, RANKS), middle, F0_HZ[0] * np.exp(PITCH_STEP * (used + 0.5)))
        )


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


@dataclass(frozen=True)
class LowCutStep:
    """One step: what it takes from the pauses, and what it costs at the talker's low fundamental [dB]."""

    corner_hz: float
    pauses_db: float
    voice_db: float


@dataclass(frozen=True)
class LowCut:
    """The step to choose, and why.

    f0_hz : median of the fundamental; f0_low_hz : what a twentieth of the voiced frames stay under.
    steps : every step with its gain and cost. frequency_hz, noise_db : spectrum of the pauses (power a bin, dB).
    """

    corner_hz: float
    order: int
    f0_hz: float
    f0_low_hz: float
    steps: tuple[LowCutStep, ...]
    frequency_hz: FloatArray
    noise_db: FloatArray
    because: str


def choose_low_cut(
    voice_f0_hz: FloatArray,
    spectrum: tuple[FloatArray, FloatArray] | None,
    low_cut: Filter = GENERIC,
) -> LowCut | None:
    """The highest step that takes at most 1 dB from the low fundamental; a lower one where more gains nothing.

    voice_f0_hz : of `PitchMeter.voice`. spectrum : frequencies and power of the pauses, of `RoomTone.spectrum`.
    low_cut : what the transmitter has.
    None without a voice or without pauses.
    """
    if not voice_f0_hz.size or spectrum is None:
        return None
    frequency, power = spectrum
    order = low_cut.order
    low = float(np.quantile(voice_f0_hz, 0.05))
    most = highest_corner_hz(low, order)
    steps = tuple(
        LowCutStep(corner, _taken_db(frequency, power, corner, order), -float(low_cut_db(low, corner, order)))
        for corner in sorted(low_cut.steps_hz)
    )
    allowed = [step for step in steps if step.corner_hz <= most] or [steps[0]]
    best = max(step.pauses_db for step in allowed)
    chosen = next(step for step in allowed if best - step.pauses_db < WORTH_DB)
    if chosen is not allowed[-1]:
        because = f"a higher step would take less than {WORTH_DB:g} dB more from the pauses"
    elif chosen is not steps[-1]:
        because = f"the next step would take more than 1 dB from the voice at {low:.0f} Hz"
    else:
        because = f"it is the highest step, and the voice goes down to {low:.0f} Hz"
    noise_db = 10.0 * np.log10(np.maximum(power, 1e-20))
    return LowCut(chosen.corner_hz, order, float(np.median(voice_f0_hz)), low, steps, frequency, noise_db, because)


def _taken_db(frequency: FloatArray, power: FloatArray, corner_hz: float, order: int) -> float:
    """How much quieter the pauses get [dB]."""
    if corner_hz <= 0.0:
        return 0.0
    left = float((power * 10.0 ** (low_cut_db(frequency, corner_hz, order) / 10.0)).sum())
    whole = float(power.sum())
    return 10.0 * float(np.log10(whole / left)) if left > 0.0 else 0.0
