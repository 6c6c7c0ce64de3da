"""Floor, busy slots, carriers and interference in sweeps that are made up, so that the truth is known."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from linkwright.air.carriers import carriers
from linkwright.air.judgement import judge
from linkwright.air.occupancy import MeasuredAir, slot_levels
from linkwright.air.sweep import Detector, Sweep, Unit
from linkwright.units import NOTHING_DBM

Floats = NDArray[np.float64]


def made(
    levels_db: Floats,
    *,
    first_khz: float = 470_012.5,
    step_khz: float = 25.0,
    averages: int | None = 16,
    unit: Unit = "dB",
    detector: Detector = "rms",
    resolution_khz: float | None = None,
    path: str = "made.csv",
) -> Sweep:
    """A sweep in memory over evenly spaced bins."""
    levels = np.atleast_2d(levels_db)
    return Sweep(
        path=path,
        frequencies_khz=first_khz + step_khz * np.arange(levels.shape[1], dtype=np.float64),
        levels_db=levels,
        unit=unit,
        step_khz=step_khz,
        resolution_khz=resolution_khz or step_khz,
        averages=averages,
        detector=detector,
        started=None,
        lasted_s=None,
        format="made",
        copied=np.zeros(levels.shape[1], dtype=np.bool_),
    )


def noise(seed: int, averages: int, shape: tuple[int, ...], power_db: Floats | float) -> Floats:
    """Levels [dB] of noise-like power averaged over so many looks."""
    looks = np.random.default_rng(seed).gamma(averages, 1.0 / averages, shape)
    return np.asarray(power_db + 10.0 * np.log10(looks))


BINS = 8960  # 470 to 694 MHz
CENTRES = 470_012.5 + 25.0 * np.arange(BINS)


def with_signal(bands: list[tuple[float, float, float]], floor_db: float = -105.0) -> Floats:
    """Mean level [dB] of bins: a flat floor, and in each band (from, to [kHz], over [dB]) noise over it."""
    power = np.full(BINS, 10.0 ** (floor_db / 10.0))
    for low, high, over_db in bands:
        inside = np.clip(np.minimum(high, CENTRES + 12.5) - np.maximum(low, CENTRES - 12.5), 0, None) / 25.0
        power += inside * 10.0 ** ((floor_db + over_db) / 10.0)
    return np.asarray(10.0 * np.log10(power))


def test_empty_air_is_covered_quiet_and_says_so() -> None:
    levels = slot_levels(made(noise(1, 16, (BINS,), -105.0)), np.arange(471_000, 693_000, 200), 200)
    assert levels.covered.all()
    assert levels.busy.mean() < 0.02  # eight bins a slot at a false alarm of at most 1e-3 each
    quiet = int(np.flatnonzero(~levels.busy & ~levels.raised)[0])
    assert levels.interference_dbm(-115.0)[quiet] == NOTHING_DBM
    assert levels.says(quiet) == "nothing over the floor"
    assert levels.evidence(quiet) == "assumed"
    assert "relative" in levels.source(quiet)


@pytest.mark.parametrize(("averages", "sweeps"), [(1, 1), (16, 1), (16, 12), (1, 30)])
def test_false_alarms_stay_under_the_stated_rate(averages: int, sweeps: int) -> None:
    judged = judge(made(noise(7, averages, (sweeps, 3 * BINS), -105.0), averages=averages))
    # 26 880 bins at no more than 1e-3: 27 expected at most, 45 is more than three standard deviations over it.
    assert judged.detected.sum() < 45


def test_a_hump_of_20_mhz_and_a_multiplex_are_busy_and_their_neighbours_are_not() -> None:
    level = with_signal([(605_000, 625_000, 9.0), (494_200, 501_800, 6.0)])
    levels = slot_levels(made(noise(2, 16, (BINS,), level)), np.arange(470_500, 693_500, 100), 200)
    carrier = levels.carriers_khz
    inside = ((carrier > 605_200) & (carrier < 624_800)) | ((carrier > 494_400) & (carrier < 501_600))
    outside = ((carrier < 604_700) | (carrier > 625_300)) & ((carrier < 493_900) | (carrier > 502_100))
    assert levels.busy[inside].all()
    assert levels.busy[outside].mean() < 0.02
    hump = (carrier > 605_200) & (carrier < 624_800)
    assert np.isclose(np.median(levels.excess_db[hump]), 10 * np.log10(1 + 10**0.9), atol=0.5)


def test_a_calibrated_sweep_gives_interference_in_dbm() -> None:
    level = with_signal([(600_000, 600_200, 20.0)], floor_db=-110.0)
    levels = slot_levels(made(noise(3, 256, (BINS,), level), unit="dBm", averages=256), np.array([600_100]), 200)
    # -110 dBm a bin, eight bins: -100.97 dBm of floor; the carrier 20 dB over that.
    assert np.isclose(levels.floor_dbm[0], -110.0 + 10 * np.log10(8), atol=0.3)
    assert np.isclose(levels.interference_dbm(-120.0)[0], -80.97, atol=0.4)
    assert levels.evidence(0) == "measured"
    assert levels.source(0) == "sweep made.csv"
    in_dbuv = made(noise(3, 256, (BINS,), level) + 106.9897, unit="dBuV", averages=256)
    assert np.isclose(slot_levels(in_dbuv, np.array([600_100]), 200).level_dbm[0], levels.level_dbm[0], atol=1e-3)


def test_a_relative_sweep_takes_the_floor_for_the_receivers_noise() -> None:
    level = with_signal([(600_000, 600_200, 20.0)])
    levels = slot_levels(made(noise(3, 256, (BINS,), level), averages=256), np.array([600_100]), 200)
    assert np.isclose(levels.interference_dbm(-115.0)[0], -95.0, atol=0.4)
    assert np.isnan(levels.level_dbm[0])


def test_noise_bandwidth_wider_than_the_step_does_not_count_twice() -> None:
    sweep = made(np.full(BINS, -110.0), unit="dBm", averages=256, resolution_khz=37.5)
    # -110 dBm in a Hann bin of 25 kHz step is -102.73 dBm in 200 kHz (density by 1.5 bins).
    assert np.isclose(slot_levels(sweep, np.array([600_000]), 200).floor_dbm[0], -102.73, atol=0.01)


def test_a_short_user_is_found_by_the_maximum_at_its_own_level() -> None:
    quiet = with_signal([])
    loud = with_signal([(600_000, 600_200, 20.0)])
    rows = [noise(10 + k, 16, (BINS,), loud if k == 3 else quiet) for k in range(50)]
    judged = judge(made(np.array(rows)))
    levels = MeasuredAir((judged,)).slot_levels(np.array([600_100]), 200)
    assert levels.busy[0]
    assert np.isclose(levels.excess_db[0], 20.0, atol=1.0)
    (carrier,) = [c for c in carriers(judged) if 599_900 < c.centre_khz < 600_300]
    assert carrier.duty == 1 / 50
    assert np.isclose(carrier.centre_khz, 600_100, atol=10)


def test_a_steady_signal_does_not_read_high_for_being_looked_at_often() -> None:
    level = with_signal([(600_000, 606_000, 15.0)])
    levels = slot_levels(made(noise(4, 16, (30, BINS), level)), np.array([603_000]), 200)
    assert np.isclose(levels.excess_db[0], 10 * np.log10(1 + 10**1.5), atol=0.3)


def test_carriers_centre_bandwidth_and_level() -> None:
    level = with_signal([(599_900, 600_100, 20.0), (640_000, 640_025, 30.0), (500_200, 507_800, 12.0)])
    found = carriers(judge(made(noise(5, 256, (BINS,), level), averages=256)))
    strong = [c for c in found if c.excess_db > 5]
    assert [round(c.centre_khz) for c in strong] == pytest.approx([600_000, 640_012], abs=3)
    assert strong[0].bandwidth_khz == pytest.approx(200, abs=25)
    assert strong[1].bandwidth_khz == pytest.approx(25, abs=1)
    assert strong[0].level_db == pytest.approx(-105 + 20 + 10 * np.log10(8), abs=0.3)
    assert all(c.duty == 1.0 for c in strong)


def test_a_carrier_half_a_bin_outside_the_slot_makes_it_busy_and_one_bin_outside_does_not() -> None:
    sweep = made(noise(6, 256, (BINS,), with_signal([(600_000, 600_025, 25.0)])), averages=256)
    levels = slot_levels(sweep, np.array([599_900, 599_875, 600_125, 600_150]), 200)
    assert levels.busy.tolist() == [True, False, True, False]


def test_a_narrow_carrier_cut_by_the_edge_of_the_slot_counts_whole() -> None:
    sweep = made(noise(6, 256, (BINS,), with_signal([(600_000, 600_025, 25.0)])), averages=256)
    levels = slot_levels(sweep, np.array([600_100, 600_112]), 200)  # the second begins in the middle of the bin
    assert np.allclose(levels.excess_db, 10 * np.log10(1 + 10**2.5 / 8), atol=0.4)


def test_holes_ends_and_too_coarse_or_under_sampled_sweeps_do_not_cover() -> None:
    row = noise(8, 16, (BINS,), -105.0)
    row[400:404] = np.nan  # 480 to 480.1 MHz
    carriers_khz = np.array([470_099, 470_100, 479_900, 479_901, 480_050, 480_199, 480_200, 693_900, 693_901])
    levels = slot_levels(made(row), carriers_khz, 200)
    assert levels.covered.tolist() == [False, True, True, False, False, False, True, True, False]
    assert np.isnan(levels.interference_dbm(-115.0)[0])
    assert levels.source(0) == "no sweep looked at all of this band"
    assert levels.says(0) == "not looked at"
    assert levels.evidence(0) == "none"
    coarse = made(noise(8, 16, (230,), -105.0), first_khz=470_500, step_khz=1_000)
    assert judge(coarse).uncertain
    assert not slot_levels(coarse, np.array([600_000]), 200).covered.any()
    assert slot_levels(coarse, np.array([600_000]), 2_000).covered.all()
    sparse = made(noise(8, 16, (BINS,), -105.0), resolution_khz=1.0)
    assert not slot_levels(sparse, np.array([600_000]), 200).covered.any()


def test_of_several_sweeps_the_highest_decides_and_no_sweep_covers_nothing() -> None:
    first = made(noise(9, 16, (BINS,), with_signal([])), path="early.csv")
    second = made(noise(10, 16, (4000,), with_signal([(480_000, 480_200, 20.0)])[:4000]), path="late.csv")
    air = MeasuredAir.of([first, second])
    levels = air.slot_levels(np.array([480_100, 650_000, 700_000]), 200)
    assert levels.covered.tolist() == [True, True, False]
    assert levels.busy.tolist() == [True, False, False]
    assert levels.source(0).startswith("sweep late.csv")
    assert levels.source(1).startswith("sweep early.csv")
    nothing = MeasuredAir.of([]).slot_levels(np.array([600_000]), 200)
    assert not nothing.covered.any()
    assert nothing.evidence(0) == "none"
    with pytest.raises(ValueError, match="positive"):
        air.slot_levels(np.array([600_000]), 0)


@pytest.mark.parametrize("detector", ["unknown", "peak"])
def test_held_peaks_of_unknown_number(detector: Detector) -> None:
    """The highest of 312 looks, as in a scan that holds its peaks: found from the scatter alone."""
    looks = np.random.default_rng(11).exponential(1.0, (312, 3 * BINS)).max(axis=0)
    judged = judge(made(10.0 * np.log10(looks) - 105.0, averages=None, detector=detector))
    harmonic = np.sum(1.0 / np.arange(1, 313))
    assert np.isclose(judged.typical_floor_db, -105.0 + 10.0 * np.log10(harmonic), atol=0.15)
    assert judged.detected.sum() < 45


def test_stated_averages_that_the_scatter_belies_are_not_believed() -> None:
    judged = judge(made(noise(12, 8, (BINS,), -105.0), averages=1000))
    assert 6 < judged.averages < 11
    assert any("believed" in note for note in judged.notes)
    assert judged.detected.sum() < 20


@given(st.floats(-60, 60), st.integers(-400_000, 400_000))
def test_the_reference_of_relative_levels_does_not_matter(offset_db: float, shift_khz: int) -> None:
    """Adding decibels to all levels, or moving all frequencies, changes nothing that is said of a slot."""
    row = noise(13, 16, (400,), -105.0)
    row[100:104] += 25.0
    carriers_khz = np.arange(470_200, 479_000, 100)
    one = slot_levels(made(row), carriers_khz, 200)
    moved = made(row + offset_db, first_khz=470_012.5 + shift_khz)
    other = slot_levels(moved, carriers_khz + shift_khz, 200)
    assert np.array_equal(one.busy, other.busy)
    assert np.allclose(one.excess_db, other.excess_db, atol=1e-6)
