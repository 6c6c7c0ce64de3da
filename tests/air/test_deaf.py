"""A sweep with the antenna off is found and refused; one of a quiet band, or with other settings, is not."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import numpy as np
import pytest
from tests.air.test_multiplexes import EIGHT
from tests.air.test_occupancy import made, noise, with_signal

from linkwright.air.deaf import SteadySignal, deaf_among, deaf_reason, known_from
from linkwright.air.judgement import JudgedSweep, judge
from linkwright.air.readers import Readout, read_sweep
from linkwright.air.survey import survey
from linkwright.air.sweep import Sweep
from linkwright.units import FloatArray

REAL = Path(__file__).parents[3] / "shared" / "data" / "sweeps"

AIR = [(502_200.0, 509_800.0, 24.0), (600_000.0, 600_200.0, 25.0), (640_000.0, 640_200.0, 15.0)]


def looked(bands: list[tuple[float, float, float]], seed: int, floor_db: float = -105.0) -> JudgedSweep:
    return judge(made(noise(seed, 16, (3, 8960), with_signal(bands, floor_db)), path=f"{seed}.csv"))


def test_known_are_the_steady_and_strong() -> None:
    known = known_from(looked([*AIR, (660_000.0, 660_200.0, 6.0)], 1), EIGHT)
    assert [one.name[:6] for one in known] == ["TV cha", "600.09", "640.10"]
    assert [one.from_khz < khz < one.to_khz for one, khz in zip(known, (506_000, 600_100, 640_100), strict=True)]


def test_a_sweep_with_the_antenna_off() -> None:
    heard, deaf = looked(AIR, 1), looked([], 2)
    reasons = deaf_among([heard, deaf], EIGHT)
    assert reasons[0] is None
    assert reasons[1] is not None
    assert reasons[1].startswith("TV channel 5, 600.")
    assert "MHz cannot be heard in it and its floor is unchanged" in reasons[1]


def test_one_that_is_left_is_enough_to_show_that_it_hears() -> None:
    assert deaf_among([looked(AIR, 1), looked(AIR[:1], 2)], EIGHT) == (None, None)


def test_another_gain_is_not_deafness() -> None:
    assert deaf_among([looked(AIR, 1), looked([], 2, floor_db=-120.0)], EIGHT) == (None, None)


def test_what_was_not_looked_at_proves_nothing() -> None:
    part = noise(2, 16, (3, 2000), -105.0)
    elsewhere = judge(made(part, first_khz=650_012.5))
    assert deaf_among([looked(AIR, 1), elsewhere], EIGHT) == (None, None)


def test_known_from_a_list_of_stations() -> None:
    stations = [SteadySignal("channel 24", 494_000, 502_000), SteadySignal("channel 27", 518_000, 526_000)]
    assert deaf_reason(looked([], 3), stations) is not None
    assert deaf_reason(looked([], 3), stations[:1]) is None, "one may be off the air"
    assert deaf_reason(looked([(494_200.0, 501_800.0, 8.0)], 3), stations) is None


def test_a_deaf_file_does_not_count() -> None:
    heard, deaf = looked(AIR, 1).sweep, looked([], 2).sweep
    found = survey([Readout("1.csv", (heard,)), Readout("2.csv", (deaf,))], EIGHT)
    assert found.refused[0] is None
    assert found.refused[1] is not None
    assert len(found.judged) == 1
    assert found.judged[0].sweep.sweeps == 3
    assert [one.channel for one in found.tv] == ["5"]
    free = np.array([(low <= 600_100 <= high) for low, high in found.clean])
    assert not free.any()


def scattered(seed: int, *, antenna: bool, floor_db: float = -104.0) -> JudgedSweep:
    """The highest of a hundred looks in 461 points over 1 to 1000 MHz, 1 kHz wide: FM and a cellular downlink where
    there is an antenna, with gaps as traffic leaves them."""
    rng = np.random.default_rng(seed)
    frequency = (1000.0 + 2171.7391 * np.arange(461)).astype(np.float64)
    power = rng.exponential(1.0, (100, 461)).max(axis=0) / 5.19  # the harmonic number of a hundred
    for low, high in ((87_500.0, 108_000.0), (925_000.0, 960_000.0)):
        inside = (frequency >= low) & (frequency <= high)
        power[inside] += antenna * 10 ** (rng.uniform(0.0, 3.5, int(inside.sum())))
    level: FloatArray = (floor_db + 10.0 * np.log10(power)).astype(np.float64)
    return judge(
        Sweep(f"{seed}.csv", frequency, level.reshape(1, -1), "dBm", 2171.7391, 1.0, None, "peak", None, None,
              "points", np.zeros(461, np.bool_))
    )  # fmt: skip


def test_scattered_points_are_judged_by_blocks_that_are_wide() -> None:
    heard = [scattered(seed, antenna=True) for seed in range(6)]
    assert {one.name for one in known_from(heard[0])} == {"FM radio", "cellular 925-960 MHz"}
    reasons = deaf_among([*heard, scattered(9, antenna=False, floor_db=-105.5)])
    assert reasons[:-1] == (None,) * 6
    assert reasons[-1] is not None
    assert reasons[-1].startswith(
        "FM radio and cellular 925-960 MHz cannot be heard in it and its floor is 1 dB lower"
    )


@pytest.mark.skipif(not REAL.exists(), reason="the real recordings are not here")
def test_real_files_of_hours_hear_and_the_same_without_an_antenna_do_not() -> None:
    """Three real sweeps of an analyzer, 1 to 1000 MHz in 461 points of 1 kHz, held over hours; the deaf one has the
    scatter of their own idle points and a floor 1.5 dB lower."""
    files = sorted(REAL.glob("swept_analyzer_C_MRT_*.CSV"))
    judged = [judge(read_sweep(path)) for path in files]
    assert len(judged) == 3
    assert deaf_among(judged) == (None, None, None)
    rng = np.random.default_rng(1)
    for one in judged:
        rest = (one.mean_db - one.floor_db)[~one.detected]
        level = one.typical_floor_db - 1.5 + rng.choice(rest, one.sweep.levels_db.shape)
        deaf = judge(dataclasses.replace(one.sweep, levels_db=level))
        assert [reason is None for reason in deaf_among([*judged, deaf])] == [True, True, True, False]
