"""How links are set before anybody has recorded them: the smallest step that will do, and no voice is cut."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import signal

from linkwright.shoot.equipment import Microphone, Receiver, Recorder, Transmitter
from linkwright.shoot.models import Link, Voice
from linkwright.sound.gain import TARGET_DBFS
from linkwright.sound.settings import LOWEST_F0_HZ, SoundSettings, lined_up, low_cut_choice, sound_settings

VOICES: tuple[Voice, ...] = ("casual", "normal", "raised", "loud", "shouted")
RECEIVER = Receiver(use="uhf-camera-slot", tunes_mhz=((470.0, 694.0),))


def pocket(**more: object) -> Transmitter:
    return Transmitter.model_validate({"use": "uhf-body-worn", **more})


def link(**more: object) -> Link:
    return Link.model_validate({"name": "A", "transmitter": "uhf-body-worn", "receiver": "uhf-camera-slot", **more})


def settings_for(
    one: Link,
    transmitter: Transmitter | None = None,
    microphone: Microphone | None = None,
    recorder: Recorder | None = None,
) -> SoundSettings:
    return sound_settings(one, transmitter or pocket(), RECEIVER, microphone, recorder)


STEPS = st.lists(st.integers(0, 40), min_size=1, max_size=12, unique=True).map(lambda v: tuple(float(x) for x in v))


@settings(max_examples=60, deadline=None)
@given(st.sampled_from(VOICES), st.floats(0.02, 2.0), STEPS, st.floats(0.5, 50.0), st.floats(-40.0, 0.0))
def test_the_smallest_step_that_keeps_peaks_under_the_target(
    voice: Voice, mouth_m: float, steps: tuple[float, ...], mv_pa: float, full_scale: float
) -> None:
    """Peak = U - A - C + crest - 3.01 dB, with U from sensitivity and level; all written out here anew."""
    spl = {"casual": 56.0, "normal": 62.35, "raised": 68.34, "loud": 74.85, "shouted": 82.30}[voice]
    microphone = Microphone(sensitivity_mv_pa=mv_pa, self_noise_dba=25.0, max_spl_db=135.0)
    found = settings_for(
        link(voice=voice, mouth_m=mouth_m), pocket(attenuation_db=steps, full_scale_dbu=full_scale), microphone
    )
    volts = mv_pa * 1e-3 * 20e-6 * 10 ** ((spl - 20 * np.log10(mouth_m)) / 20)
    open_peak = 20 * np.log10(volts / 0.7745966692414834) - full_scale + 20.0 - 3.0103
    holding = [step for step in sorted(steps) if open_peak - step <= TARGET_DBFS]
    assert found.at.attenuation_db == (holding[0] if holding else max(steps))
    assert found.gain.holds == bool(holding)
    assert found.at.peak_dbfs == pytest.approx(open_peak - found.at.attenuation_db, abs=1e-3)


def test_what_the_crew_has_set_stands_and_is_judged() -> None:
    found = settings_for(link(attenuation_db=16, low_cut_hz=160))
    assert found.by_hand
    assert found.at.attenuation_db == 16.0
    assert found.low_cut.by_hand
    assert found.low_cut.corner_hz == 160.0
    assert found.low_cut.loss_db > 10.0


@given(st.floats(60.0, 300.0), st.integers(1, 4))
def test_the_low_cut_takes_at_most_one_decibel_from_the_low_fundamental(f0: float, order: int) -> None:
    """The response is scipy's Butterworth filter, not ours."""
    transmitter = pocket(low_cut_order=order)
    choice = low_cut_choice(link(voice_f0_hz=f0), transmitter)

    def loss_db(corner: float) -> float:
        b, a = signal.butter(order, 2 * np.pi * corner, "highpass", analog=True)
        return -20.0 * float(np.log10(np.abs(signal.freqs(b, a, [2 * np.pi * f0])[1][0])))

    if choice.corner_hz > 0.0:
        assert loss_db(choice.corner_hz) == pytest.approx(choice.loss_db, abs=1e-6)
        assert choice.loss_db <= 1.0 + 1e-9
    higher = [step for step in transmitter.low_cut_hz if step > choice.corner_hz]
    assert all(loss_db(step) > 1.0 for step in higher)


def test_without_a_recording_the_low_cut_leaves_the_lowest_usual_voice() -> None:
    choice = low_cut_choice(link(), pocket())
    assert not choice.measured
    assert choice.f0_hz == LOWEST_F0_HZ
    assert choice.corner_hz == 60.0  # 0.798 of 85 Hz is 67.8 Hz; the steps are 60 and 90


def test_what_is_not_said_is_told_to_be_assumed() -> None:
    assert [one.split(" ")[0] for one in settings_for(link()).assumed] == ["microphone", "0.2"]
    said = Microphone.model_validate({"use": "lapel"})
    assert settings_for(link(microphone="lapel", mouth_m=0.3), microphone=said).assumed == ()


def test_a_recorder_lines_up_the_receiver_s_tone() -> None:
    """A tone of -20 dBFS set to read -18 lifts everything by 2 dB; digitally fed nothing moves."""
    lifted = settings_for(link(), recorder=Recorder(alignment_dbfs=-18.0, noise_dbfs=-90.0))
    fed = settings_for(link(), recorder=Recorder(alignment_dbfs=-18.0, noise_dbfs=-90.0, digital=True))
    assert lifted.recorder_gain_db == pytest.approx(2.0)
    assert lifted.at.headroom_db == pytest.approx(fed.at.headroom_db - 2.0)
    assert fed.at.voice_over_noise_db > lifted.at.voice_over_noise_db


def test_phantom_power_is_held_against_what_the_transmitter_gives() -> None:
    gun = Microphone.model_validate({"use": "short-gun"})
    found = settings_for(link(), Transmitter.model_validate({"use": "uhf-plug-on"}), gun)
    assert found.phantom is not None
    assert found.phantom.voltage_v == pytest.approx(48.0 - 3.4 * 3.0)  # two of 6.8 kohm, 3 mA
    assert found.phantom_given_ma == 7.0
    assert settings_for(link()).phantom is None


@given(st.lists(st.tuples(st.floats(0.0, 40.0), st.floats(0.02, 3.0)), min_size=1, max_size=6))
def test_after_the_delays_all_paths_come_together(paths: list[tuple[float, float]]) -> None:
    found = {
        str(n): settings_for(link(mouth_m=metres), pocket(latency_ms=ms)) for n, (ms, metres) in enumerate(paths)
    }
    levelled = lined_up(found)
    assert levelled is not None
    together = {levelled.latency_ms[name] + levelled.delay_ms[name] for name in found}
    assert max(together) - min(together) < 1e-9
    assert min(levelled.delay_ms.values()) == pytest.approx(0.0, abs=1e-12)
    assert lined_up({}) is None
