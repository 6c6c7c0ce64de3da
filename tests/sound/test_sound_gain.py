"""The gain chain's laws, and the low cut's choice."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from linkwright.physics.speech import VOICE_DB, fundamentals_hz
from linkwright.sound.gain import Converter, Recorder, gain_chain, phantom
from linkwright.sound.lowcut import choose_low_cut

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
        effort, distance_m, sensitivity, 28.0, STEPS, Converter(full_dbu, -108.0), Recorder(gain_db, -100.0)
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
        "shouted", 0.02, 16.0, 28.0, STEPS, Converter(-20.0, -108.0), Recorder(0.0, -108.0), max_spl_db=130.0
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
        found = choose_low_cut(voice, (frequency, spectrum))
        assert found is not None
        assert least <= found.corner_hz <= most
    low = choose_low_cut(np.full(100, 80.0), (frequency, rumble))
    assert low is not None
    assert low.corner_hz == 60.0
    assert choose_low_cut(np.empty(0), (frequency, rumble)) is None
