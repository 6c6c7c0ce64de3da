"""The gain chain's laws, and the low cut's choice."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.sound.talking import glottal

from linkwright.physics.speech import VOICE_DB, fundamentals_hz
from linkwright.sound.gain import Converter, RecorderInput, gain_chain, phantom
from linkwright.sound.low_band import Slowed, slow_rate_hz
from linkwright.sound.lowcut import Filter, Spectrum, choose_low_cut
from linkwright.sound.pitch import PitchMeter

STEPS = (0, 3, 6, 9, 12, 15, 18, 21)


@given(
    st.sampled_from(sorted(VOICE_DB)),
    st.floats(0.05, 3.0),
    st.floats(1.0, 60.0),
    st.floats(-40.0, 0.0),
    st.floats(-12.0, 12.0),
)
def test_the_step_is_the_smallest_that_keeps_the_target(
    effort: str, distance_m: float, sensitivity: float, full_dbu: float, gain_db: float
) -> None:
    found = gain_chain(
        effort, distance_m, sensitivity, 28.0, STEPS, Converter(full_dbu, -108.0), RecorderInput(gain_db, -100.0)
    )
    for step in found.steps:
        parts = (
            step.microphone_noise_dbfs + gain_db, step.converter_noise_dbfs + gain_db, step.recorder_noise_dbfs,
        )  # fmt: skip
        assert max(parts) <= step.noise_dbfs <= max(parts) + 4.78  # three alike at the most
        assert step.cost_db >= -1e-9
        if step.attenuation_db < found.chosen.attenuation_db:
            assert step.peak_dbfs > -10.0
    assert found.holds == (found.chosen.peak_dbfs <= -10.0)
    costs = [step.cost_db for step in found.steps]
    assert costs == sorted(costs)


def test_a_microphone_too_near_a_shout_is_told() -> None:
    found = gain_chain(
        "shouted", 0.02, 16.0, 28.0, STEPS, Converter(-20.0, -108.0), RecorderInput(0.0, -108.0), max_spl_db=130.0
    )
    assert found.microphone_headroom_db is not None
    assert found.microphone_headroom_db == pytest.approx(130.0 + 3.01 - (82.30 + 33.98 + 20.0), abs=0.01)


def test_phantom_that_falls_short() -> None:
    assert phantom(10.0, least_v=20.0) is None
    found = phantom(3.0, least_v=20.0)
    assert found is not None
    assert (found.voltage_v, found.drain_mw(0.8)) == pytest.approx((37.8, 180.0))


@pytest.mark.parametrize("f0_hz", [70.0, 90.0, 120.0, 200.0, 330.0])
def test_fundamental_of_a_pulse_train(f0_hz: float) -> None:
    n = np.arange(200) / 4000.0
    voice = sum(np.cos(2.0 * np.pi * f0_hz * k * n + k) / k for k in range(1, 6))
    assert fundamentals_hz(np.array([voice]), 4000.0)[0] == pytest.approx(f0_hz, rel=0.02)


def test_noise_is_not_voiced() -> None:
    frames = np.random.default_rng(1).normal(size=(200, 200))
    assert np.isnan(fundamentals_hz(frames, 4000.0)).mean() > 0.95


def test_rumble_asks_for_a_low_cut_and_hiss_for_none() -> None:
    frequency = np.arange(0.0, 24_000.0, 2.0)
    voice = np.full(100, 200.0)
    rumble = 1.0 / (1.0 + (frequency / 40.0) ** 4)
    for spectrum, least, most in ((rumble, 80.0, 150.0), (np.ones_like(frequency), 0.0, 0.0)):
        found = choose_low_cut(voice, Spectrum(frequency, spectrum))
        assert found is not None
        assert least <= found.corner_hz <= most
    low = choose_low_cut(np.full(100, 80.0), Spectrum(frequency, rumble))
    assert low is not None
    assert low.corner_hz == 60.0
    assert choose_low_cut(np.empty(0), Spectrum(frequency, rumble)) is None


@pytest.mark.parametrize("mean_hz", [100.0, 130.0, 200.0, 240.0])
@pytest.mark.parametrize(("noise_db", "slips"), [(40.0, 0.0), (10.0, 0.0), (20.0, 0.1), (10.0, 0.1)])
def test_low_fundamental_of_glottal_pulses_in_noise(mean_hz: float, noise_db: float, slips: float) -> None:
    """Half a minute, a third of it pauses; a tenth of all frames falls by an octave, as creaky voices do."""
    rate, rng = 16_000, np.random.default_rng(round(mean_hz))
    n = np.arange(30 * rate)
    turns = np.arange(0.0, 31.0, 0.25)
    f0 = np.interp(n / rate, turns, mean_hz * np.exp(0.15 * rng.standard_normal(turns.size)))
    slipped = np.repeat(rng.random(600) < slips, rate // 20)
    speaking = n // rate % 3 < 2
    x = glottal(np.where(slipped, f0 / 2.0, f0), rate) * speaking
    x += 10.0 ** (-noise_db / 20.0) * rng.standard_normal(n.size)
    slowed, meter = Slowed(rate), PitchMeter(slow_rate_hz(rate))
    for at in range(0, n.size, 10 * rate):
        meter.add(slowed.add(np.asarray(0.05 * x[at : at + 10 * rate], np.float32))[1])
    voice = meter.voice()
    assert np.quantile(voice, 0.05) == pytest.approx(np.quantile(f0[speaking], 0.05), rel=0.06)
    assert np.median(voice) == pytest.approx(np.median(f0[speaking]), rel=0.03)


def test_the_low_cut_is_a_step_that_the_transmitter_has() -> None:
    frequency = np.arange(0.0, 24_000.0, 2.0)
    rumble = 1.0 / (1.0 + (frequency / 40.0) ** 4)
    found = choose_low_cut(np.full(100, 200.0), Spectrum(frequency, rumble), low_cut=Filter((0.0, 110.0, 170.0), 2))
    assert found is not None
    assert (found.corner_hz, found.order) == (110.0, 2)  # 170 Hz is over 0.713 times 200 Hz
    assert [step.corner_hz for step in found.steps] == [0.0, 110.0, 170.0]


@pytest.mark.parametrize("high", [True, False])
def test_the_filter_of_fourth_order_is_scipys(high: bool) -> None:
    from scipy.signal import butter, sosfilt

    from linkwright.physics.loudness_compiled import filtered
    from linkwright.sound.low_band import fourth_order

    x = np.random.default_rng(2).normal(size=4000).astype(np.float32)
    out, state = np.empty(x.size), np.zeros((2, 2))
    for part in (slice(0, 1500), slice(1500, 4000)):
        filtered(x[part], fourth_order(150.0, 4000.0, high=high), state, out[part])
    sections = butter(4, 150.0, "highpass" if high else "lowpass", fs=4000.0, output="sos")
    assert np.abs(out - sosfilt(sections, x.astype(float))).max() < 1e-9
