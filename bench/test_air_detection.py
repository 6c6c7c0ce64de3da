"""What is found on simulated sweeps: floors, carriers, multiplexes, and what is found where nothing is.

No speed: these print the tables of docs/sweeps.md. About three minutes.
"""

from __future__ import annotations

import numpy as np
import pytest
from bench.simulated_air import noise_db, sweep_of
from tests.published.test_detection import simulated

from linkwright.air.judgement import judge
from linkwright.air.multiplexes import multiplexes
from linkwright.air.occupancy import MeasuredAir
from linkwright.physics import detection
from linkwright.rules import territory, tv_channels
from linkwright.units import FloatArray

CHANNELS = tv_channels(territory("GB"))
BINS = 8960  # 470 to 694 MHz


def test_floor_error(capsys: pytest.CaptureFixture[str]) -> None:
    limits = {0.1: 0.14, 0.3: 0.17, 0.5: 0.23, 0.7: 0.56, 0.85: 0.84}
    for averages in (1, 4, 16, 64):
        row = []
        for busy in (0.0, *limits):
            errors = []
            for seed in range(20):
                frequency, level, floor = simulated(busy, averages, seed)
                errors.append(detection.noise_floor(frequency, level, 25.0, averages).level_db - floor)
            row.append(float(np.sqrt(np.mean(np.square(errors)))))
        with capsys.disabled():
            print(f"\nfloor rms error [dB], {averages} averages: {[round(one, 2) for one in row]}", end="")
        if averages == 16:
            assert all(found <= limit for found, limit in zip(row[1:], limits.values(), strict=True))


@pytest.mark.parametrize(
    ("averages", "step", "sweeps"), [(1, 25.0, 1), (16, 25.0, 1), (64, 12.5, 1), (16, 25.0, 12)]
)
def test_no_false_multiplex_in_10_000_empty_channels(
    capsys: pytest.CaptureFixture[str], averages: int, step: float, sweeps: int
) -> None:
    source = np.random.default_rng(2027)
    bins = round(224_000 / step)
    looked = found = wide = 0
    while looked < 10_000:
        levels = noise_db(source, averages, (sweeps, bins))
        got = multiplexes(judge(sweep_of(levels, step_khz=step, averages=averages)), CHANNELS)
        looked += 28
        found += sum(one.kind == "multiplex" for one in got)
        wide += len(got)
    with capsys.disabled():
        print(
            f"\n{looked} empty channels, {averages} averages, {step} kHz: {found} multiplexes, {wide} in all",
            end="",
        )
    assert wide == 0


@pytest.mark.parametrize("sweeps", [1, 3])
def test_few_points_in_empty_channels(capsys: pytest.CaptureFixture[str], sweeps: int) -> None:
    """An analyzer that shows 461 points of 1 GHz: what it calls wide where nothing is."""
    source = np.random.default_rng(2028)
    looked = wide = 0
    while looked < 10_000:
        levels = noise_db(source, 30, (sweeps, 461))
        sweep = sweep_of(levels, first_khz=1_000.0, step_khz=2171.74, averages=None)
        wide += len(multiplexes(judge(sweep), CHANNELS))
        looked += 28
    with capsys.disabled():
        print(f"\n{looked} empty channels of 3 or 4 points, {sweeps} sweeps: {wide} wide", end="")
    assert wide <= 5


def with_multiplexes(source: np.random.Generator, over_db: float, averages: int) -> tuple[FloatArray, int]:
    """A sweep with a multiplex in every third channel, its density over the floor in dB."""
    centre = 470_012.5 + 25.0 * np.arange(BINS)
    power = np.ones(BINS)
    taken = CHANNELS[1::3]
    for channel in taken:
        power[np.abs(centre - channel.centre_khz) < 7607 / 2] += 10 ** (over_db / 10)
    return 10 * np.log10(power) + noise_db(source, averages, (1, BINS)), len(taken)


@pytest.mark.parametrize("averages", [1, 4, 16, 64])
def test_multiplexes_by_level(capsys: pytest.CaptureFixture[str], averages: int) -> None:
    source = np.random.default_rng(11)
    row = {}
    for over_db in (1.0, 2.0, 3.0, 5.0, 8.0, 15.0, 30.0):
        hits = total = named = 0
        for _ in range(20):
            levels, count = with_multiplexes(source, over_db, averages)
            got = multiplexes(judge(sweep_of(levels, averages=averages)), CHANNELS)
            hits, total = hits + len(got), total + count
            named += sum(one.kind == "multiplex" for one in got)
        row[over_db] = (round(hits / total, 2), round(named / total, 2))
    with capsys.disabled():
        print(f"\nmultiplexes found, and named, by density over the floor [dB], {averages} averages: {row}", end="")
    assert row[30.0] == (1.0, 1.0)


def test_short_users_by_mean_and_maximum(capsys: pytest.CaptureFixture[str]) -> None:
    """A carrier that is on in 1 of 100 sweeps: the maximum finds what the mean does not."""
    source = np.random.default_rng(12)
    carriers = np.arange(471_000, 693_000, 1_000)
    centre = 470_012.5 + 25.0 * np.arange(BINS)
    row = {}
    for cn_db in (0.0, 3.0, 6.0, 10.0):
        hits = []
        for _ in range(3):
            levels = noise_db(source, 4, (100, BINS))
            when = source.integers(0, 100, carriers.size)
            for carrier, sweep in zip(carriers.tolist(), when.tolist(), strict=True):
                on = np.abs(centre - carrier) < 100
                levels[sweep, on] += 10 * np.log10(1 + 10 ** (cn_db / 10))
            hits.append(MeasuredAir.of([sweep_of(levels, averages=4)]).slot_levels(carriers, 200).busy.mean())
        row[cn_db] = round(float(np.mean(hits)), 2)
    with capsys.disabled():
        print(f"\ncarriers on in 1 of 100 sweeps found, by C/N [dB]: {row}", end="")
    assert row[10.0] > 0.9
