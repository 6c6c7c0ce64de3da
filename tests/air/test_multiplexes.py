"""Multiplexes on a raster in made-up sweeps: found where they are, and not where something only looks like one."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest
from tests.air.test_occupancy import made, noise

from linkwright.air.carriers import wide_signals
from linkwright.air.judgement import JudgedSweep, judge
from linkwright.air.multiplexes import multiplexes
from linkwright.air.sweep import Sweep


@dataclass(frozen=True)
class Channel:
    number: str
    from_khz: int
    to_khz: int


def raster(width_khz: int, count: int = 28) -> tuple[Channel, ...]:
    return tuple(Channel(str(n + 1), 470_000 + n * width_khz, 470_000 + (n + 1) * width_khz) for n in range(count))


EIGHT, SIX = raster(8000), raster(6000, 37)


def sweep_of(
    bands: list[tuple[float, float, float]],
    *,
    step: float = 25.0,
    averages: int = 16,
    seed: int = 1,
    sweeps: int = 1,
) -> Sweep:
    """470 to 694 MHz with noise-like signals in bands (from, to [kHz], over the floor [dB])."""
    bins = round(224_000 / step)
    centre = 470_000 + step * (np.arange(bins) + 0.5)
    power = np.ones(bins)
    for low, high, over in bands:
        inside = np.clip(np.minimum(high, centre + step / 2) - np.maximum(low, centre - step / 2), 0, None) / step
        power += inside * 10 ** (over / 10)
    levels = noise(seed, averages, (sweeps, bins), 10 * np.log10(power) - 105)
    return made(levels, first_khz=470_000 + step / 2, step_khz=step, averages=averages)


def dvb(channel: int, over: float, width: float = 7607.0, offset: float = 0.0) -> tuple[float, float, float]:
    centre = 466_000 + 8000 * channel + offset
    return centre - width / 2, centre + width / 2, over


def found(judged: JudgedSweep, channels: tuple[Channel, ...] = EIGHT) -> dict[str, str]:
    return {multiplex.channel: multiplex.kind for multiplex in multiplexes(judged, channels)}


@pytest.mark.parametrize("averages", [4, 16, 256])
@pytest.mark.parametrize("width", [7607.0, 7768.0])
def test_multiplexes_alone_and_side_by_side(averages: int, width: float) -> None:
    sweep = sweep_of([dvb(n, over, width) for n, over in ((4, 25), (10, 8), (11, 30), (12, 12))], averages=averages)
    assert found(judge(sweep)) == dict.fromkeys(("4", "10", "11", "12"), "multiplex")
    by_channel = {multiplex.channel: multiplex for multiplex in multiplexes(judge(sweep), EIGHT)}
    assert by_channel["4"].excess_db == pytest.approx(25, abs=0.6)
    # Density -105 + 25 dB per 25 kHz over the whole channel of 8 MHz.
    assert by_channel["4"].level_db == pytest.approx(-80 + 10 * np.log10(8000 / 25), abs=0.6)


@pytest.mark.parametrize("offset", [-1000 / 6, 1000 / 6])
def test_a_station_moved_by_a_sixth_of_a_megahertz(offset: float) -> None:
    assert found(judge(sweep_of([dvb(7, 15, 7607.0, offset)]))) == {"7": "multiplex"}


def test_multipath_does_not_hide_a_multiplex() -> None:
    sweep = sweep_of([dvb(5, 20)])
    levels = sweep.levels_db.copy()
    for notch in range(4):  # 300 kHz of every 2 MHz, 9 dB down
        low = 502_900 + 2000 * notch
        levels[:, (sweep.frequencies_khz > low) & (sweep.frequencies_khz < low + 300)] -= 9.0
    assert found(judge(made(levels, first_khz=470_012.5))) == {"5": "multiplex"}


@pytest.mark.parametrize("apart", [350.0, 400.0, 600.0])
def test_packed_microphones_are_no_multiplex(apart: float) -> None:
    carriers = [(502_100 + apart * n, 502_300 + apart * n, 25.0) for n in range(int(7600 / apart))]
    assert found(judge(sweep_of(carriers))) == {}


def test_a_hump_is_wide_and_no_multiplex() -> None:
    judged = judge(sweep_of([(605_000, 625_000, 12.0)]))
    assert found(judged) == {}
    (wide,) = wide_signals(judged)
    assert (wide.from_khz, wide.to_khz) == pytest.approx((605_000, 625_000), abs=100)
    exactly = judge(sweep_of([(606_000, 622_000, 12.0)]))
    assert found(exactly) == {}, "it fills the guards as well"


@pytest.mark.parametrize(("step", "kind"), [(25.0, "multiplex"), (50.0, "wideband or packed")])
def test_bins_that_are_too_wide_say_so(step: float, kind: str) -> None:
    assert found(judge(sweep_of([dvb(6, 20)], step=step))) == {"6": kind}


def test_one_megahertz_bins() -> None:
    assert found(judge(sweep_of([dvb(6, 20), dvb(15, 10)], step=1000.0))) == {
        "6": "wideband or packed",
        "15": "wideband or packed",
    }


@pytest.mark.parametrize("step", [12.5, 25.0, 50.0, 100.0])
def test_the_pilot_tells_the_standard_up_to_100_khz(step: float) -> None:
    """5.38 MHz and a pilot 309.441 kHz above the edge; it holds 0.07 of the power (A/53, memory)."""
    low = 470_000 + 6000 * 9
    density = 20.0
    pilot = (low + 309.0, low + 309.9, density + 10 * np.log10(5380 / 0.9 * 0.07))
    got = multiplexes(judge(sweep_of([(low + 310, low + 5690, density), pilot], step=step)), SIX)
    assert [(one.channel, one.kind, one.standard) for one in got] == [("10", "multiplex", "ATSC")]


def test_without_a_pilot_six_megahertz_are_told_by_their_guards() -> None:
    low = 470_000 + 6000 * 9
    got = multiplexes(judge(sweep_of([(low + 214, low + 5786, 20.0)])), SIX)
    assert [(one.channel, one.kind, one.standard) for one in got] == [("10", "multiplex", None)]


@pytest.mark.parametrize(("averages", "step"), [(1, 25.0), (16, 25.0), (16, 100.0)])
def test_no_false_multiplex_in_empty_channels(averages: int, step: float) -> None:
    """A hundredth of what bench/ goes through: 10 000 channels."""
    for seed in range(4):
        assert found(judge(sweep_of([], averages=averages, step=step, seed=seed))) == {}


def test_what_was_not_looked_at_is_no_multiplex() -> None:
    sweep = sweep_of([dvb(6, 20)])
    levels = sweep.levels_db.copy()
    levels[:, (sweep.frequencies_khz > 511_000) & (sweep.frequencies_khz < 516_000)] = np.nan
    assert found(judge(made(levels, first_khz=470_012.5))) == {}


def test_nearly_full_wide_bins_keep_a_floor() -> None:
    """Seven of eight bins hold a multiplex: the floor is the lowest that shows, and uncertain."""
    judged = judge(sweep_of([dvb(n, 20, 7000.0, 500.0) for n in range(1, 29)], step=1000.0, averages=256))
    assert judged.uncertain
    assert judged.typical_floor_db < -105 + 12
    assert len(found(judged)) == 28


def test_held_peaks_over_hours_make_no_wide_signal() -> None:
    """400 passes of scattered points, each the highest of a hundred looks: while their scatter was taken for normal
    10.7 % of empty channels passed for a wide signal."""
    found = 0
    for seed in range(6):
        rng = np.random.default_rng(seed)
        frequency = (1000.0 + 2171.7391 * np.arange(461)).astype(np.float64)
        highest = -np.log(-np.expm1(np.log(rng.random((400, 461))) / 100.0))  # of a hundred exponentials
        level = (10.0 * np.log10(highest) - 105.0).astype(np.float64)
        one = Sweep("hours", frequency, level, "dBm", 2171.7391, 1.0, None, "peak", None,
                    None, "points", np.zeros(461, np.bool_))  # fmt: skip
        found += len(multiplexes(judge(one), EIGHT))
    assert found == 0
