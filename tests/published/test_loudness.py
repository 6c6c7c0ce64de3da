"""Loudness, range and true peak: the signals of EBU Tech 3341 and 3342, and identities of BS.1770-5 and AES17.

The signals were compared with the tables as public compliance reports of loudness meters quote them; the documents
themselves were not at hand. Cases 7 and 8 of Tech 3341 are programmes and can not be synthesised.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest
from numpy.typing import NDArray

from linkwright.physics.loudness import SURROUND_WEIGHTS, k_weighting, level_dbfs, peak_db, weighted_sum
from linkwright.sound.meter import Loudness, LoudnessMeter, TrackMeter, TruePeakMeter

RATE = 48_000
Parts = Sequence[tuple[float, float]]  # level of each channel's peak [dBFS], length [s]
SILENT = -200.0


def tone(parts: Parts, shift_db: float = 0.0) -> NDArray[np.float32]:
    """1 kHz, phase going on through changes of level."""
    gains = [np.full(round(length * RATE), 10.0 ** ((level + shift_db) / 20.0)) for level, length in parts]
    gain = np.concatenate(gains)
    return np.asarray(gain * np.sin(2.0 * np.pi * 1000.0 / RATE * np.arange(gain.size)), np.float32)


def heard(channels: Sequence[NDArray[np.float32]], weights: Sequence[float]) -> Loudness:
    meters = [TrackMeter(RATE) for _ in channels]
    together = LoudnessMeter()
    for at in range(0, channels[0].size, 10 * RATE):
        hops = [meter.add(x[at : at + 10 * RATE]) for meter, x in zip(meters, channels, strict=True)]
        together.add(weighted_sum(hops, weights))
    return together.result()


def stereo(parts: Parts) -> Loudness:
    x = tone(parts)
    return heard([x, x], (1.0, 1.0))


@pytest.mark.published("ITU-R BS.1770-5, annex 1, tables 1 and 2: filter coefficients at 48 kHz")
def test_k_weighting_at_48_khz() -> None:
    assert k_weighting(48_000.0) == pytest.approx(
        np.array(
            [
                [1.53512485958697, -2.69169618940638, 1.19839281085285, -1.69065929318241, 0.73248077421585],
                [1.0, -2.0, 1.0, -1.99004745483398, 0.99007225036621],
            ]
        ),
        abs=1e-8,
    )


@pytest.mark.published("ITU-R BS.1770-5, annex 1: 0 dBFS sine at 997 Hz on one channel reads -3.01 LKFS")
def test_full_scale_sine_of_997_hz() -> None:
    x = np.asarray(np.sin(2.0 * np.pi * 997.0 / RATE * np.arange(5 * RATE)), np.float32)
    assert heard([x], (1.0,)).integrated_lufs == pytest.approx(-3.01, abs=0.01)


@pytest.mark.published("AES17: a full-scale sine is 0 dBFS rms")
def test_full_scale_sine_is_0_dbfs() -> None:
    x = np.sin(2.0 * np.pi * 997.0 / RATE * np.arange(RATE))
    assert level_dbfs(float(np.mean(x**2))) == pytest.approx(0.0, abs=1e-3)


STEADY: list[tuple[int, Parts, float]] = [
    (1, [(-23.0, 20.0)], -23.0),
    (2, [(-33.0, 20.0)], -33.0),
    (3, [(-36.0, 10.0), (-23.0, 60.0), (-36.0, 10.0)], -23.0),
    (4, [(-72.0, 10.0), (-36.0, 10.0), (-23.0, 60.0), (-36.0, 10.0), (-72.0, 10.0)], -23.0),
    (5, [(-26.0, 20.0), (-20.0, 20.1), (-26.0, 20.0)], -23.0),
]


@pytest.mark.published("EBU Tech 3341 (2023), table 1, cases 1-5: integrated, 0.1 LU")
@pytest.mark.parametrize(("case", "parts", "lufs"), STEADY)
def test_integrated_loudness(case: int, parts: Parts, lufs: float) -> None:
    found = stereo(parts)
    assert found.integrated_lufs == pytest.approx(lufs, abs=0.1)
    if case < 3:
        assert found.momentary_max_lufs == pytest.approx(lufs, abs=0.1)
        assert found.short_term_max_lufs == pytest.approx(lufs, abs=0.1)


@pytest.mark.published("EBU Tech 3341 (2023), table 1, case 6: 5.0 channels, 0.1 LU")
def test_integrated_loudness_of_five_channels() -> None:
    levels = (-28.0, -28.0, -24.0, -30.0, -30.0)
    weights = [SURROUND_WEIGHTS[i] for i in (0, 1, 2, 4, 5)]
    assert heard([tone([(x, 20.0)]) for x in levels], weights).integrated_lufs == pytest.approx(-23.0, abs=0.1)


@pytest.mark.published("EBU Tech 3341 (2023), table 1, case 9: short-term, 0.1 LU")
def test_short_term_of_a_pattern_of_three_seconds() -> None:
    assert stereo([(-20.0, 1.34), (-30.0, 1.66)] * 5).short_term_max_lufs == pytest.approx(-23.0, abs=0.1)


@pytest.mark.published("EBU Tech 3341 (2023), table 1, case 10: short-term maximum, 0.1 LU")
@pytest.mark.parametrize("i", range(20))
def test_short_term_maximum_anywhere(i: int) -> None:
    parts = [(SILENT, 0.15 * i), (-23.0, 3.0), (SILENT, 1.0)]
    assert stereo(parts).short_term_max_lufs == pytest.approx(-23.0, abs=0.1)


def rising(length_s: float, step_s: float, end_s: float) -> list[tuple[float, float]]:
    """The live signals of cases 11 and 14: twenty tones, each 1 dB louder than the one before."""
    rise = [[(SILENT, step_s * i), (-38.0 + i, length_s), (SILENT, end_s - step_s * i)] for i in range(20)]
    return [part for parts in rise for part in parts]


@pytest.mark.published("EBU Tech 3341 (2023), table 1, case 11: short-term maximum, 0.1 LU")
@pytest.mark.parametrize("i", [0, 6, 12, 19])
def test_short_term_maximum_of_a_rise(i: int) -> None:
    assert stereo(rising(3.0, 0.15, 3.0)[: 3 * i + 3]).short_term_max_lufs == pytest.approx(-38.0 + i, abs=0.1)


@pytest.mark.published("EBU Tech 3341 (2023), table 1, case 12: momentary, 0.1 LU")
def test_momentary_of_a_pattern_of_four_tenths() -> None:
    assert stereo([(-20.0, 0.18), (-30.0, 0.22)] * 25).momentary_max_lufs == pytest.approx(-23.0, abs=0.1)


@pytest.mark.published("EBU Tech 3341 (2023), table 1, case 13: momentary maximum, 0.1 LU")
@pytest.mark.parametrize("i", range(20))
def test_momentary_maximum_anywhere(i: int) -> None:
    parts = [(SILENT, 0.02 * i), (-23.0, 0.4), (SILENT, 1.0)]
    assert stereo(parts).momentary_max_lufs == pytest.approx(-23.0, abs=0.1)


@pytest.mark.published("EBU Tech 3341 (2023), table 1, case 14: momentary maximum, 0.1 LU")
@pytest.mark.parametrize("i", range(20))
def test_momentary_maximum_of_a_rise(i: int) -> None:
    assert stereo(rising(0.4, 0.02, 0.4)[: 3 * i + 3]).momentary_max_lufs == pytest.approx(-38.0 + i, abs=0.1)


@pytest.mark.published("EBU Tech 3341 (2023), table 1, cases 15-19: true peak, +0.2/-0.4 dB")
@pytest.mark.parametrize(
    ("part", "phase_deg", "amplitude", "dbtp"),
    [(4, 0.0, 0.5, -6.0), (4, 45.0, 0.5, -6.0), (6, 60.0, 0.5, -6.0), (8, 67.5, 0.5, -6.0), (4, 45.0, 1.41, 3.0)],
)
def test_true_peak_between_the_samples(part: int, phase_deg: float, amplitude: float, dbtp: float) -> None:
    n = np.arange(RATE)
    x = amplitude * np.sin(2.0 * np.pi * n / part + np.deg2rad(phase_deg))
    fade = np.minimum(1.0, np.minimum(n, n[::-1]) / 480.0)
    meter = TruePeakMeter()
    meter.add(np.asarray(x * fade, np.float32))
    found = peak_db(meter.finish())
    assert found is not None
    assert dbtp - 0.4 <= found <= dbtp + 0.2


def with_a_period_between(offset: int) -> NDArray[np.float32]:
    """Cases 20-23: fs/6 at half of full scale with one period of fs/4 at full scale, made at 4 fs, phase going on.

    Then low-passed and taken down to fs from the sample `offset` (of 4 fs) on.
    """
    from scipy.signal import firwin

    times, before, after = 4, 24 * 500, 24 * 500
    frequency = np.concatenate((np.full(before, 1 / 6), np.full(4 * times, 1 / 4), np.full(after, 1 / 6))) / times
    phase = 2.0 * np.pi * np.concatenate(([0.0], np.cumsum(frequency)[:-1]))
    level = np.where(frequency == 1 / 4 / times, 1.0, 0.5)
    n = np.arange(phase.size)
    x = level * np.sin(phase) * np.minimum(1.0, np.minimum(n, n[::-1]) / (0.010 * times * RATE))
    low_pass = firwin(1023, 0.5 * RATE, fs=times * RATE, window=("kaiser", 8.0))
    return np.asarray(np.convolve(x, low_pass, "same")[offset::times], np.float32)


@pytest.mark.published("EBU Tech 3341 (2023), table 1, cases 20-23: true peak of one period, +0.2/-0.4 dB")
@pytest.mark.parametrize("offset", range(4))
def test_true_peak_of_one_period(offset: int) -> None:
    meter = TruePeakMeter()
    meter.add(with_a_period_between(offset))
    found = peak_db(meter.finish())
    assert found is not None
    assert -0.4 <= found <= 0.2


@pytest.mark.published("EBU Tech 3342 (2023), table 1, cases 1-4: range, 1 LU")
@pytest.mark.parametrize(
    ("levels", "lu"),
    [
        ((-20.0, -30.0), 10.0),
        ((-20.0, -15.0), 5.0),
        ((-40.0, -20.0), 20.0),
        ((-50.0, -35.0, -20.0, -35.0, -50.0), 15.0),
    ],
)
def test_loudness_range(levels: Sequence[float], lu: float) -> None:
    assert stereo([(level, 20.0) for level in levels]).range_lu == pytest.approx(lu, abs=1.0)
