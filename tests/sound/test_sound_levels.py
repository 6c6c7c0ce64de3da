"""Levels against other implementations, and laws: blocks of any size, gain, polarity."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from linkwright.physics.loudness import loudness_range_lu, oversampling, peak_db, windows
from linkwright.sound.listen import Track, TrackListener
from linkwright.sound.meter import TrackMeter, TruePeakMeter

RATE = 48_000


def programme(seed: int, length_s: float = 20.0, rate: int = RATE) -> NDArray[np.float32]:
    """Noise that rises and falls, coloured."""
    rng = np.random.default_rng(seed)
    n = round(length_s * rate)
    white = rng.normal(0.0, 1.0, n)
    coloured = np.convolve(white, [0.5, 0.3, 0.2], "same")
    envelope = np.interp(np.arange(n), np.linspace(0, n, 12), 10.0 ** rng.uniform(-2.5, -0.8, 12))
    return np.asarray(coloured * envelope, np.float32)


def track(x: NDArray[np.float32], rate: int, block: int | None = None) -> Track:
    listener = TrackListener(rate)
    size = (block or 1000) * (rate // 100) * 10
    for at in range(0, x.size, size):
        listener.add(x[at : at + size])
    return listener.finish(1)


@pytest.mark.parametrize("rate", [32_000, 44_100, 48_000, 96_000])
@pytest.mark.parametrize("seed", [1, 2])
def test_loudness_agrees_with_libebur128(rate: int, seed: int) -> None:
    import pyebur128
    from pyebur128 import MeasurementMode as Mode

    x = programme(seed, rate=rate)
    other = pyebur128.R128State(1, rate, Mode.MODE_I | Mode.MODE_LRA | Mode.MODE_TRUE_PEAK)
    other.add_frames(x, x.size)
    listener = TrackListener(rate)
    hops = listener.add(x)
    windows_1s = windows(hops[: hops.size // 10 * 10].reshape(-1, 10).mean(axis=1), 30)[::10]
    found = listener.finish(1)
    assert found.loudness.integrated_lufs == pytest.approx(pyebur128.get_loudness_global(other), abs=0.02)
    theirs_lu = pyebur128.get_loudness_range(
        other
    )  # it looks every second, Tech 3342's least; here ten times as often
    assert loudness_range_lu(windows_1s) == pytest.approx(theirs_lu, abs=0.1)
    theirs = peak_db(pyebur128.get_true_peak(other, 0))
    assert found.true_peak_dbtp is not None
    assert theirs is not None
    assert -0.1 < found.true_peak_dbtp - theirs < 0.4  # theirs looks at fewer places between the samples


@pytest.mark.parametrize("seed", range(6))
def test_true_peak_agrees_with_a_resampler(seed: int) -> None:
    from scipy.signal import resample_poly

    x = programme(seed, 2.0)
    meter = TruePeakMeter()
    for at in range(0, x.size, 4801):
        meter.add(x[at : at + 4801])
    reference = np.abs(resample_poly(x.astype(float), 16, 1)).max()
    assert peak_db(meter.finish()) == pytest.approx(peak_db(float(reference)), abs=0.15)


def test_passing_over_quiet_stretches_loses_no_peak() -> None:
    taps = oversampling().astype(float)
    for seed in range(20):
        x = programme(seed, 0.5)
        meter = TruePeakMeter()
        meter.add(x)
        padded = np.concatenate((np.zeros(23), x.astype(float), np.zeros(12)))
        plain = max(float(np.abs(np.convolve(padded, row[::-1], "valid")).max()) for row in taps)
        assert meter.finish() == pytest.approx(plain, rel=1e-5)


@settings(max_examples=10, deadline=None)
@given(block=st.integers(1, 30), seed=st.integers(0, 3))
def test_blocks_do_not_matter(block: int, seed: int) -> None:
    x = programme(seed, 6.0)
    whole, parts = track(x, RATE), track(x, RATE, block)
    assert parts.loudness.integrated_lufs == pytest.approx(whole.loudness.integrated_lufs, abs=1e-4)
    assert parts.loudness.momentary_max_lufs == pytest.approx(whole.loudness.momentary_max_lufs, abs=1e-4)
    assert parts.loudness.short_term_max_lufs == pytest.approx(whole.loudness.short_term_max_lufs, abs=1e-4)
    assert parts.true_peak_dbtp == pytest.approx(whole.true_peak_dbtp, abs=1e-4)
    assert parts.noise_floor_dbfs == pytest.approx(whole.noise_floor_dbfs, abs=1e-4)


@pytest.mark.parametrize("gain_db", [-12.0, -6.0, 3.0])
def test_gain_moves_every_level_alike(gain_db: float) -> None:
    x = programme(5, 8.0)
    plain, louder = track(x, RATE), track(np.asarray(-x * 10.0 ** (gain_db / 20.0), np.float32), RATE)
    for one, two in (
        (plain.loudness.momentary_max_lufs, louder.loudness.momentary_max_lufs),
        (plain.true_peak_dbtp, louder.true_peak_dbtp),
        (plain.noise_floor_dbfs, louder.noise_floor_dbfs),
    ):
        assert one is not None
        assert two == pytest.approx(one + gain_db, abs=0.01)


def test_digital_silence_has_no_levels() -> None:
    found = track(np.zeros(5 * RATE, np.float32), RATE)
    assert found.loudness.integrated_lufs is None
    assert (found.true_peak_dbtp, found.noise_floor_dbfs, found.low_cut, found.hum) == (None, None, None, None)


def test_dc_and_floor_do_not_mix() -> None:
    meter = TrackMeter(RATE)
    meter.add(np.asarray(np.random.default_rng(1).normal(0.02, 1e-3, 10 * RATE), np.float32))
    assert meter.dc == pytest.approx(0.02, abs=1e-5)
    assert np.sqrt(meter.floor()) == pytest.approx(1e-3, rel=0.05)
