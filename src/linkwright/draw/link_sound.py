"""A link's sound as it is drawn: its gain chain as stages, its low cut as curves."""

from __future__ import annotations

import numpy as np

from linkwright.draw.chain import ChainStage, GainChain
from linkwright.draw.response import Curve, ResponseCurves
from linkwright.physics.speech import CREST_DB, SINE_CREST_DB, low_cut_db
from linkwright.shoot.models import Link
from linkwright.sound.gain import TARGET_DBFS, sum_db
from linkwright.sound.settings import SoundSettings

#: What the curves of a low cut show: frequencies [Hz] and levels [dB].
RANGE_HZ = (20.0, 1000.0)
RANGE_DB = (-36.0, 3.0)


def chain_of(link: Link, settings: SoundSettings) -> GainChain:
    """A link's gain chain as stages on one scale: dBFS of the converter as it is without attenuation.

    Peaks are drawn as AES17 has them (a sine that peaks at full scale is 0 dBFS), so they lie crest less 3.01 dB
    over the voice's rms.
    """
    gain, at = settings.gain, settings.at
    crest = CREST_DB - SINE_CREST_DB
    voice, noise = at.rms_dbfs + at.attenuation_db, at.microphone_noise_dbfs + at.attenuation_db
    peak = voice + crest
    ceiling = None if gain.microphone_headroom_db is None else peak + gain.microphone_headroom_db
    to_dbu = gain.voice_dbu - voice
    converter = sum_db([at.microphone_noise_dbfs, at.converter_noise_dbfs])
    recorded = at.rms_dbfs + settings.recorder_gain_db
    stages = (
        ChainStage("voice", peak, voice, noise, ceiling, f"{gain.voice_peak_spl_db:.0f} dB SPL",
              f"{settings.microphone.self_noise_dba:.0f} dB(A)"),
        ChainStage("capsule", peak, voice, noise, ceiling, _reads(peak + to_dbu, "dBu"),
              _reads(noise + to_dbu, "dBu")),
        ChainStage(f"less {at.attenuation_db:g} dB", at.peak_dbfs, at.rms_dbfs, at.microphone_noise_dbfs, 0.0,
              _reads(at.peak_dbfs + to_dbu, "dBu"), _reads(at.microphone_noise_dbfs + to_dbu, "dBu")),
        ChainStage("digital", at.peak_dbfs, at.rms_dbfs, converter, 0.0, _reads(at.peak_dbfs, "dBFS"),
              _reads(converter, "dBFS")),
        ChainStage("recorder", recorded + crest, recorded, at.noise_dbfs, 0.0, _reads(recorded + crest, "dBFS"),
              _reads(at.noise_dbfs, "dBFS")),
    )  # fmt: skip
    says = (
        f"Level diagram of {link.name}: peaks at {at.peak_dbfs:.0f} dBFS with {at.attenuation_db:g} dB of "
        f"attenuation, the voice {at.voice_over_noise_db:.0f} dB over the noise"
    )
    return GainChain(says, stages, TARGET_DBFS)


def low_cut_curves(link: Link, settings: SoundSettings) -> ResponseCurves:
    """The responses of the low cut's steps, with the low fundamental that they must leave."""
    cut = settings.low_cut
    frequency = np.geomspace(*RANGE_HZ, 160)
    curves = [
        Curve(
            f"{step:g} Hz" if step else "off",
            "chosen" if step == cut.corner_hz else "other",
            frequency,
            np.asarray(low_cut_db(frequency, step, cut.order)),
        )
        for step in cut.steps_hz
    ]
    curves.sort(key=lambda curve: curve.kind == "chosen")
    whose = "this voice" if cut.measured else "lowest usual voice"
    says = f"Low cut of {link.name}: {cut.corner_hz:g} Hz takes {cut.loss_db:.1f} dB at {cut.f0_hz:.0f} Hz"
    return ResponseCurves(says, tuple(curves), ((cut.f0_hz, f"{whose}, {cut.f0_hz:.0f} Hz"),), RANGE_HZ, RANGE_DB)


def _reads(db: float, unit: str) -> str:
    return f"{db:.0f} {unit}".replace("-", "\N{MINUS SIGN}")
