"""Noise statistics, the floor and detection against values from outside the project."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.typing import NDArray

from linkwright.air.occupancy import MeasuredAir
from linkwright.air.sweep import Sweep
from linkwright.physics import detection

Floats = NDArray[np.float64]
CHI_SQUARE = "NIST/SEMATECH e-Handbook of Statistical Methods, table 1.3.6.7.4 (upper critical values; from memory)"
PROTOTYPES = "numbers of this project's prototypes on simulated sweeps"


@pytest.mark.published(CHI_SQUARE)
@pytest.mark.parametrize(
    ("averages", "chi_square"), [(1, 13.816), (2, 18.467), (4, 26.124), (16, 62.487), (50, 149.449)]
)
def test_threshold_is_the_chi_square_of_twice_the_averages(averages: int, chi_square: float) -> None:
    """2 M x power is chi-square with 2 M degrees of freedom; 0.001 column, tolerance of its last digit."""
    ratio = 10.0 ** (detection.averaged_threshold_db(averages, 1e-3) / 10.0)
    assert 2 * averages * ratio == pytest.approx(chi_square, abs=0.001)


@pytest.mark.arithmetic("exact, highest of n exponentials: peak of n samples reads 10 log10(H_n) high")
@pytest.mark.parametrize(("looks", "bias_db"), [(100, 7.15), (1000, 8.74)])
def test_highest_of_n_reads_high_by_the_harmonic_number(looks: int, bias_db: float) -> None:
    assert detection.held_bias_db(looks) == pytest.approx(bias_db, abs=0.01)


@pytest.mark.arithmetic("exact, 10 log10 of e to Euler's constant: log average of noise reads 2.51 dB low")
def test_mean_of_decibels_of_one_look() -> None:
    shares = (np.arange(2_000) + 0.5) / 2_000
    mean = np.mean([detection.averaged_quantile_db(1, share) for share in shares.tolist()])
    assert mean == pytest.approx(-2.51, abs=0.01)


@pytest.mark.arithmetic("exact: H_n = 1 + 1/2 + ... + 1/n; the median of one exponential is ln 2")
def test_held_noise_of_few_looks_by_hand() -> None:
    assert detection.held_bias_db(3) == pytest.approx(10 * math.log10(1 + 1 / 2 + 1 / 3))
    assert detection.held_quantile_db(1, 0.5) == pytest.approx(10 * math.log10(math.log(2)))
    assert detection.averaged_quantile_db(1, 0.5) == pytest.approx(10 * math.log10(math.log(2)))
    # P(highest of n < x) = (1 - exp(-x))^n; for n = 2 the median is -ln(1 - sqrt(1/2)), the mean 3/2.
    expected = 10 * math.log10(-math.log(1 - math.sqrt(0.5)) / 1.5)
    assert detection.held_quantile_db(2, 0.5) == pytest.approx(expected)


@pytest.mark.parametrize("averages", [1.0, 3.0, 16.0, 300.0])
def test_the_spread_tells_the_averages_and_the_looks(averages: float) -> None:
    spread = detection.averaged_spread_db(averages)
    assert detection.averages_from_spread(spread) == pytest.approx(averages, rel=1e-6)
    assert detection.looks_from_spread(detection.held_spread_db(averages)) == pytest.approx(averages, rel=1e-6)


def simulated(busy: float, averages: int, seed: int) -> tuple[Floats, Floats, Floats]:
    """Frequencies, levels and the true floor of 470-694 MHz in 25 kHz bins, `busy` of them with signals.

    Six tenths of what is busy are multiplexes of 7.6 MHz at 3 to 40 dB over the floor, the rest carriers of
    200 kHz at 0 to 40 dB, all placed at random; the floor tilts by 3 dB and waves by 1 dB.
    """
    source = np.random.default_rng(seed)
    frequency: Floats = 470_012.5 + 25.0 * np.arange(8960, dtype=np.float64)
    part = np.linspace(0.0, 1.0, frequency.size)
    floor = -105.0 + 3.0 * part + np.sin(2.0 * np.pi * part * 224 / 120)
    signal = np.zeros(frequency.size)
    for channel in source.permutation(28):
        if np.mean(signal > 0) >= 0.6 * busy:
            break
        low = 470_200.0 + 8_000.0 * channel
        signal[(frequency >= low) & (frequency < low + 7_600)] = 10.0 ** source.uniform(0.3, 4.0)
    while np.mean(signal > 0) < busy:
        near = np.abs(frequency - source.uniform(470_000, 694_000)) < 100.0
        signal[near] = np.maximum(signal[near], 10.0 ** source.uniform(0.0, 4.0))
    looks = source.gamma(averages, 1.0 / averages, frequency.size)
    return frequency, floor + 10.0 * np.log10((1.0 + signal) * looks), floor


@pytest.mark.own(PROTOTYPES)
@pytest.mark.parametrize(("busy", "rms_db"), [(0.1, 0.14), (0.3, 0.17), (0.5, 0.23), (0.7, 0.56), (0.85, 0.84)])
def test_floor_is_no_worse_than_the_prototypes(busy: float, rms_db: float) -> None:
    """rms error over 20 simulated sweeps of 16 averages. The simulation is ours; its mixture is stated."""
    errors = []
    for seed in range(20):
        frequency, level, floor = simulated(busy, 16, seed)
        errors.append(detection.noise_floor(frequency, level, 25.0, 16).level_db - floor)
    assert np.sqrt(np.mean(np.square(errors))) <= rms_db


def made(frequency: Floats, levels: Floats, averages: int) -> Sweep:
    return Sweep(
        "x", frequency, np.atleast_2d(levels), "dB", 25.0, 25.0, averages, "rms", None, None, "made",
        np.zeros(frequency.size, dtype=np.bool_),
    )  # fmt: skip


@pytest.mark.own(PROTOTYPES)
@pytest.mark.parametrize(("averages", "cn_db"), [(1, 8.9), (4, 2.9), (16, -1.6), (64, -5.0)])
def test_a_200_khz_carrier_at_the_prototypes_c_over_n_is_found(averages: int, cn_db: float) -> None:
    """At the C/N [dB] at which they found 90 %, ours finds 88 % or more (666 trials, two sigma 2.3 %)."""
    source = np.random.default_rng(9)
    frequency: Floats = 470_012.5 + 25.0 * np.arange(8960, dtype=np.float64)
    carriers = np.arange(471_000, 693_000, 1_000)
    signal = np.zeros(frequency.size)
    for carrier in carriers.tolist():
        signal[np.abs(frequency - carrier) < 100.0] = 10.0 ** (cn_db / 10.0)
    hits = []
    for _ in range(3):
        looks = source.gamma(averages, 1.0 / averages, frequency.size)
        sweep = made(frequency, 10.0 * np.log10((1.0 + signal) * looks) - 105.0, averages)
        hits.append(MeasuredAir.of([sweep]).slot_levels(carriers, 200).busy.mean())
    assert np.mean(hits) > 0.88


def test_opening_removes_what_is_narrower_and_keeps_what_is_wider() -> None:
    centres = np.arange(0.0, 300_000.0, 1_000.0)
    level = 0.01 * centres / 1_000.0
    bumped = level.copy()
    bumped[100:130] += 20.0  # 30 MHz
    bumped[:35] += 15.0  # 35 MHz at the very edge
    opened = detection.opening(centres, bumped, 40_000.0)
    assert np.abs(opened - level).max() <= 0.01 * 45  # a slope costs its rise over the window at most
    wide = level.copy()
    wide[100:180] += 20.0  # 80 MHz
    assert detection.opening(centres, wide, 40_000.0)[140] > 20.0


def test_a_floor_needs_a_level() -> None:
    with pytest.raises(ValueError, match="at least one"):
        detection.noise_floor(np.array([]), np.array([]), 25.0, 16)
    one = detection.noise_floor(np.array([470_000.0]), np.array([-100.0]), 25.0, 16)
    assert np.isfinite(one.level_db).all()
