"""Which low cut suits a voice in its noise, from a recording: what it takes away and what it costs."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from linkwright.physics.speech import highest_corner_hz, low_cut_db
from linkwright.sound.settings import LOSS_DB, LOWEST_F0_HZ
from linkwright.units import FloatArray

#: The steps of a generic body-worn transmitter [Hz], as in the catalogue, and the order of its filter (assumed).
STEPS_HZ: Final = (0.0, 60.0, 80.0, 100.0, 120.0, 150.0, 180.0, 220.0)
ORDER: Final = 3
#: A higher step must take at least this from the pauses, or from rumble and wind where these are told [dB].
WORTH_DB, WORTH_LOUD_DB = 1.0, 0.5
#: Where rumble or wind stands at the voice, the low fundamental may lose this much [dB]: half its power.
AT_MOST_DB: Final = 3.01


@dataclass(frozen=True)
class Filter:
    """The low cut of a transmitter: its steps [Hz], 0 being off, and its order."""

    steps_hz: tuple[float, ...] = STEPS_HZ
    order: int = ORDER


#: The low cut of the generic transmitter.
GENERIC: Final = Filter()


@dataclass(frozen=True)
class LowCutStep:
    """One step: what it takes from the pauses and from the loudest rumble or wind, and from the voice [dB].

    voice_db : at the talker's low fundamental, its lowest partial.
    """

    corner_hz: float
    pauses_db: float
    loudest_db: float
    voice_db: float


@dataclass(frozen=True)
class Spectrum:
    """Power in each bin (any unit), and its frequency [Hz]; shapes (n,)."""

    frequency_hz: FloatArray
    power: FloatArray


@dataclass(frozen=True)
class LowCut:
    """The step to choose, and why.

    f0_hz : median of the fundamental, None without a voice; f0_low_hz : what a twentieth of the voiced frames stay
    under, or the lowest usual voice's. steps : every step with its gain and cost. troubled : rumble or wind stands
    at the voice.
    """

    corner_hz: float
    order: int
    f0_hz: float | None
    f0_low_hz: float
    steps: tuple[LowCutStep, ...]
    pauses: Spectrum
    loudest: Spectrum | None
    troubled: bool
    because: str


def choose_low_cut(
    voice_f0_hz: FloatArray,
    pauses: Spectrum | None,
    loudest: Spectrum | None = None,
    low_cut: Filter = GENERIC,
    *,
    troubled: bool = False,
) -> LowCut | None:
    """The highest step that takes at most 1 dB from the low fundamental; a lower one where more gains nothing.

    voice_f0_hz : of `PitchMeter.voice`. pauses, loudest : of `RoomTone` and `LowBand`. low_cut : what the
    transmitter has. troubled : rumble or wind stands at the voice: then the lowest step is taken at up to 3 dB, and
    without a voice the lowest usual one is left. None without a voice in any other case, and without pauses.
    """
    if pauses is None or not (voice_f0_hz.size or troubled):
        return None
    order = low_cut.order
    low = float(np.quantile(voice_f0_hz, 0.05)) if voice_f0_hz.size else LOWEST_F0_HZ
    steps = tuple(
        LowCutStep(
            corner,
            _taken_db(pauses, corner, order),
            0.0 if loudest is None else _taken_db(loudest, corner, order),
            -float(low_cut_db(low, corner, order)),
        )
        for corner in sorted(low_cut.steps_hz)
    )
    allowed = [step for step in steps if step.corner_hz <= highest_corner_hz(low, order, LOSS_DB)] or [steps[0]]
    spare = [step for step in steps if step.corner_hz > 0.0 and step.voice_db <= AT_MOST_DB]
    if troubled and not allowed[-1].corner_hz:
        allowed += spare[:1]
    chosen = _worth(allowed, troubled=troubled)
    whose = f"the voice at {low:.0f} Hz" if voice_f0_hz.size else f"the lowest usual voice, {low:.0f} Hz"
    if chosen is not allowed[-1]:
        because = f"a higher step would take less than {WORTH_DB:g} dB more from what is no voice"
    elif chosen.voice_db > LOSS_DB:
        because = f"it takes {chosen.voice_db:.1f} dB from {whose}, and rumble or wind is worse"
    elif chosen is not steps[-1]:
        because = f"the next step would take more than {LOSS_DB:g} dB from {whose}"
    else:
        because = f"it is the highest step, and leaves {whose}"
    middle = float(np.median(voice_f0_hz)) if voice_f0_hz.size else None
    return LowCut(chosen.corner_hz, order, middle, low, steps, pauses, loudest, troubled, because)


def _worth(allowed: list[LowCutStep], *, troubled: bool) -> LowCutStep:
    """The lowest step that is nearly as good as the best: in the pauses, and in rumble or wind if told."""
    best = max(step.pauses_db for step in allowed), max(step.loudest_db for step in allowed)
    return next(
        step
        for step in allowed
        if best[0] - step.pauses_db < WORTH_DB and (not troubled or best[1] - step.loudest_db < WORTH_LOUD_DB)
    )


def _taken_db(of: Spectrum, corner_hz: float, order: int) -> float:
    """How much quieter it gets [dB]."""
    if corner_hz <= 0.0:
        return 0.0
    left = float((of.power * 10.0 ** (low_cut_db(of.frequency_hz, corner_hz, order) / 10.0)).sum())
    whole = float(of.power.sum())
    return 10.0 * float(np.log10(whole / left)) if left > 0.0 else 0.0
