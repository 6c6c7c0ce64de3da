"""The gain chain of one talker: voice, microphone, attenuation, converter, recorder; peak, headroom and noise."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from linkwright.physics.speech import CREST_DB, SINE_CREST_DB, microphone_dbu, voice_spl_db

#: Where peaks should stay at the converter [dBFS] (common practice, no source).
TARGET_DBFS: Final = -10.0
#: Phantom power of 48 V: volts, and the two feeding resistors in parallel [ohm]; IEC 61938 (from memory).
PHANTOM_V: Final = 48.0
PHANTOM_OHM: Final = 3400.0


@dataclass(frozen=True)
class Converter:
    """The transmitter's input: the sine that reaches full scale without attenuation, and its own noise.

    full_scale_dbu : [dBu]. noise_dbfs : A-weighted, a full-scale sine being 0 dBFS (AES17).
    """

    full_scale_dbu: float
    noise_dbfs: float


@dataclass(frozen=True)
class RecorderInput:
    """The camera's or recorder's input: how far its reading lies over the converter's, and its own noise.

    gain_db : its alignment level less the level in the link that is sent to it, 0 for a digital input. noise_dbfs :
    A-weighted (AES17).
    """

    gain_db: float
    noise_dbfs: float


@dataclass(frozen=True)
class GainStep:
    """One step of the attenuation; levels in dBFS (AES17), noise A-weighted.

    peak_dbfs, rms_dbfs : of the voice at the converter. headroom_db : from the peak to full scale, there and at the
    recorder the less of both. voice_over_noise_db : the voice's rms over all noise together, at the recorder.
    cost_db : how much of that is lost against no attenuation.
    """

    attenuation_db: float
    rms_dbfs: float
    peak_dbfs: float
    headroom_db: float
    microphone_noise_dbfs: float
    converter_noise_dbfs: float
    recorder_noise_dbfs: float
    noise_dbfs: float
    voice_over_noise_db: float
    cost_db: float


@dataclass(frozen=True)
class Gain:
    """The chain at every step, and the step to choose: the smallest whose peak stays under the target.

    `chosen` is the largest step where none does, and then `holds` is False. voice_spl_db, voice_peak_spl_db : at
    the microphone. microphone_headroom_db : up to the level it can take, which is stated as the rms of a sine whose
    peaks lie 3.01 dB higher; None where that is not known.
    """

    voice_spl_db: float
    voice_peak_spl_db: float
    voice_dbu: float
    microphone_headroom_db: float | None
    steps: tuple[GainStep, ...]
    chosen: GainStep
    holds: bool


def sum_db(levels: Sequence[float]) -> float:
    """Levels of unrelated noises, added as powers [dB]."""
    return float(10.0 * np.log10(np.sum(10.0 ** (np.asarray(levels, float) / 10.0))))


# wide: a figure for every stage of the chain
def gain_chain(
    effort: str,
    distance_m: float,
    sensitivity_mv_pa: float,
    self_noise_dba: float,
    attenuation_db: Sequence[float],
    converter: Converter,
    recorder: RecorderInput,
    *,
    max_spl_db: float | None = None,
    target_dbfs: float = TARGET_DBFS,
    crest_db: float = CREST_DB,
) -> Gain:
    """Levels through the chain at each step of the attenuation.

    effort : of `physics.speech.VOICE_DB`, KeyError for another. distance_m : from the lips to the microphone.
    attenuation_db : steps, at least one, ValueError for none. crest_db : peaks of the voice over its rms.
    Peak at the converter: U - A - C + crest - 3.01 dB, U the microphone's output and C the sine of full scale [dBu]
    (a full-scale sine is 0 dBFS rms and peaks there: AES17).
    """
    if not attenuation_db:
        raise ValueError("no step of attenuation; expected at least one, such as 0")
    spl = voice_spl_db(effort, distance_m)
    voice_dbu = microphone_dbu(sensitivity_mv_pa, spl)
    noise_dbu = microphone_dbu(sensitivity_mv_pa, self_noise_dba)
    best = _step(0.0, voice_dbu, noise_dbu, converter, recorder, crest_db, None)
    steps = tuple(
        _step(a, voice_dbu, noise_dbu, converter, recorder, crest_db, best.voice_over_noise_db)
        for a in sorted(attenuation_db)
    )
    holding = [step for step in steps if step.peak_dbfs <= target_dbfs]
    return Gain(
        spl,
        spl + crest_db,
        voice_dbu,
        None if max_spl_db is None else max_spl_db + SINE_CREST_DB - (spl + crest_db),
        steps,
        holding[0] if holding else steps[-1],
        bool(holding),
    )


def _step(
    attenuation_db: float,
    voice_dbu: float,
    noise_dbu: float,
    converter: Converter,
    recorder: RecorderInput,
    crest_db: float,
    best_db: float | None,
) -> GainStep:
    down = attenuation_db + converter.full_scale_dbu
    rms, microphone = voice_dbu - down, noise_dbu - down
    peak = rms + crest_db - SINE_CREST_DB
    noise = sum_db([microphone + recorder.gain_db, converter.noise_dbfs + recorder.gain_db, recorder.noise_dbfs])
    over = rms + recorder.gain_db - noise
    return GainStep(
        attenuation_db,
        rms,
        peak,
        -max(peak, peak + recorder.gain_db),
        microphone,
        converter.noise_dbfs,
        recorder.noise_dbfs,
        noise,
        over,
        0.0 if best_db is None else best_db - over,
    )


@dataclass(frozen=True)
class Phantom:
    """Phantom power at a microphone: its current [mA], the voltage left there [V] and the power it takes [mW]."""

    current_ma: float
    voltage_v: float
    power_mw: float

    def drain_mw(self, efficiency: float) -> float:
        """What making it takes from the cells of a plug-on transmitter, feeding resistors included [mW]."""
        return PHANTOM_V * self.current_ma / efficiency


def phantom(current_ma: float, least_v: float = 0.0) -> Phantom | None:
    """Phantom power of 48 V with this current drawn; None where less than `least_v` is left at the microphone."""
    voltage = PHANTOM_V - PHANTOM_OHM * current_ma / 1000.0
    if current_ma < 0.0 or voltage < max(least_v, 0.0):
        return None
    return Phantom(current_ma, voltage, voltage * current_ma)
