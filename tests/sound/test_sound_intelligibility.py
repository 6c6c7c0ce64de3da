"""How much of the speech of a recording stands over its pauses."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.signal import butter, sosfilt
from tests.sound.talking import RATE, Floats, rumble, talking

from linkwright.sound.intelligibility import Intelligibility, verdict
from linkwright.sound.listen import TrackListener

ROOM = np.random.default_rng(21).standard_normal(20 * RATE)


def heard(x: Floats, block_s: float = 2.0) -> Intelligibility:
    listener, size = TrackListener(RATE), round(block_s * RATE)
    for at in range(0, x.size, size):
        listener.add(x[at : at + size].astype(np.float32))
    return listener.finish(1).intelligibility


def at(dbfs: float, noise: Floats) -> Floats:
    return np.asarray(noise / noise.std() * 10.0 ** ((dbfs - 3.01) / 20.0))


def test_noise_takes_from_it_until_it_is_not_told() -> None:
    voice = talking(20.0)
    told = [heard(voice + at(dbfs, ROOM)).index for dbfs in (-70.0, -50.0, -40.0, -30.0)]
    found = [index for index in told if index is not None]
    assert len(found) == 4
    assert found == sorted(found, reverse=True)
    assert found[0] > 0.85 > found[1] + 0.05 > found[2] + 0.1 > found[3] + 0.15
    lost = heard(voice + at(-10.0, ROOM))
    assert (lost.index, lost.why) == (None, "no voice stands 6 dB over what else is there")


def test_hiss_is_told_where_it_covers_and_rumble_under_the_bands_takes_nothing() -> None:
    voice = talking(20.0)
    hiss = heard(voice + at(-30.0, sosfilt(butter(6, 3000.0, "highpass", fs=RATE, output="sos"), ROOM)))
    assert "Hz hiss covers it" in verdict(hiss)
    low = heard(voice + at(-20.0, rumble(voice.size)))
    clean = heard(voice)
    assert low.index is not None
    assert low.index == pytest.approx(clean.index, abs=0.03)


def test_level_and_blocks_are_of_no_matter() -> None:
    voice = talking(20.0) + at(-45.0, ROOM)
    found = heard(voice)
    for other in (heard(0.1 * voice), heard(voice, 0.1), heard(voice, 20.0)):
        assert other.index is not None
        assert other.index == pytest.approx(found.index, abs=0.01)


def test_without_a_voice_or_a_pause_it_says_why() -> None:
    silence = np.zeros(RATE)
    voice = talking(20.0)
    gated = np.where(np.convolve(np.abs(voice), np.ones(2400) / 2400, "same") > 0.002, voice, 0.0)
    for x, why in ((silence, "no voice"), (0.01 * ROOM, "no voice"), (gated, "no pause of half a second")):
        found = heard(x)
        assert found.index is None
        assert why in verdict(found)


@settings(max_examples=10)
@given(st.floats(-70.0, -15.0), st.floats(0.0, 20.0), st.integers(0, 3))
def test_it_stays_within_its_bounds_and_more_noise_never_raises_it(dbfs: float, more_db: float, seed: int) -> None:
    voice = talking(6.0, seed=seed)
    before, after = (heard(voice + at(level, ROOM[: voice.size])).index for level in (dbfs, dbfs + more_db))
    if before is not None and after is not None:
        assert 0.0 <= after <= before + 0.01 <= 1.01  # what is counted as speech differs a little
