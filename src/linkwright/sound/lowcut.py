"""Which low cut suits a voice in its noise, from a recording: what it takes away and what it costs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import NDArray

from linkwright.physics.speech import fundamentals_hz, highest_corner_hz, low_cut_db

Samples = NDArray[np.float32]
Floats = NDArray[np.float64]

#: The steps of a generic body-worn transmitter [Hz], as in the catalogue, and the order of its filter (assumed).
STEPS_HZ: Final = (0.0, 60.0, 80.0, 100.0, 120.0, 150.0, 180.0, 220.0)
ORDER: Final = 3
#: The pitch is looked for at about this rate [Hz], in frames of so long, one every so often [s].
PITCH_RATE_HZ: Final = 4000.0
FRAME_S: Final = 0.050
#: A frame is a voice's when it lies this much over the quietest tenth of all frames [dB].
OVER_PAUSES_DB: Final = 12.0
#: So many voiced frames make a talker: two seconds.
LEAST_FRAMES: Final = 40
#: A higher step must take at least this from the pauses [dB].
WORTH_DB: Final = 1.0


@dataclass
class PitchMeter:
    """The fundamentals of the voice in a track that streams by."""

    rate_hz: int
    f0_hz: list[NDArray[np.float32]] = field(default_factory=list)
    power: list[NDArray[np.float32]] = field(default_factory=list)

    def add(self, x: Samples) -> None:
        """The next samples; what is left over after whole frames is passed over."""
        every = max(1, round(self.rate_hz / PITCH_RATE_HZ))
        slow = x[: x.size // every * every].reshape(-1, every).mean(axis=1)
        size = round(FRAME_S * self.rate_hz / every)
        frames = slow[: slow.size // size * size].reshape(-1, size).astype(float)
        power = frames.var(axis=1)
        loud = power > 1e-9
        f0 = np.full(power.size, np.nan)
        f0[loud] = fundamentals_hz(frames[loud], self.rate_hz / every)
        self.f0_hz.append(f0.astype(np.float32))
        self.power.append(power.astype(np.float32))

    def voice(self) -> Floats:
        """Fundamentals of the frames that lie well over the pauses [Hz], sorted; empty without a voice."""
        if not self.f0_hz:
            return np.empty(0)
        f0, power = np.concatenate(self.f0_hz), np.concatenate(self.power)
        live = power[power > 0.0]
        if not live.size:
            return np.empty(0)
        gate = np.quantile(live, 0.1) * 10.0 ** (OVER_PAUSES_DB / 10.0)
        voiced = np.sort(f0[(power > gate) & np.isfinite(f0)]).astype(float)
        return voiced if voiced.size >= LEAST_FRAMES else np.empty(0)


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
    frequency_hz: Floats
    noise_db: Floats
    because: str


def choose_low_cut(
    voice_f0_hz: Floats,
    spectrum: tuple[Floats, Floats] | None,
    steps_hz: Sequence[float] = STEPS_HZ,
    order: int = ORDER,
) -> LowCut | None:
    """The highest step that takes at most 1 dB from the low fundamental; a lower one where more gains nothing.

    voice_f0_hz : of `PitchMeter.voice`. spectrum : frequencies and power of the pauses, of `RoomTone.spectrum`.
    None without a voice or without pauses.
    """
    if not voice_f0_hz.size or spectrum is None:
        return None
    frequency, power = spectrum
    low = float(np.quantile(voice_f0_hz, 0.05))
    most = highest_corner_hz(low, order)
    steps = tuple(
        LowCutStep(corner, _taken_db(frequency, power, corner, order), -float(low_cut_db(low, corner, order)))
        for corner in sorted(steps_hz)
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


def _taken_db(frequency: Floats, power: Floats, corner_hz: float, order: int) -> float:
    """How much quieter the pauses get [dB]."""
    if corner_hz <= 0.0:
        return 0.0
    left = float((power * 10.0 ** (low_cut_db(frequency, corner_hz, order) / 10.0)).sum())
    whole = float(power.sum())
    return 10.0 * float(np.log10(whole / left)) if left > 0.0 else 0.0
