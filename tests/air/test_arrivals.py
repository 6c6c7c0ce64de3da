"""Who is new on the air: strangers told in the pass they come, nobody invented, and the chance an hour kept.

The air is simulated by `simulated_air`, which shares no code with what is tested; the rules were settled on even
seeds, here they are odd.
"""

from __future__ import annotations

import numpy as np
import pytest
from tests.air.simulated_air import Air, Stranger, day

from linkwright.air import arrivals as rules
from linkwright.air import signals
from linkwright.air.arrivals import Arrivals
from linkwright.air.fresh import FreshAir
from linkwright.air.ours import Mine
from linkwright.air.sweep import Sweep
from linkwright.units import FloatArray


@pytest.mark.parametrize(("seed", "averages", "every_s"), [(21, 4, 8.0), (23, 1, 5.0)])
def test_forty_strangers_are_told_within_a_pass_and_nobody_is_invented(
    seed: int, averages: int, every_s: float
) -> None:
    told = day(seed, averages, every_s, 1.5, 40)
    assert len(told.missed) <= 1, "one that lies in a product of ours may be taken for it"
    assert max(told.after_s) <= every_s + 2.0
    assert not told.invented


def quiet(rng: np.random.Generator, bins: int = 4000, averages: int = 4) -> Sweep:
    """Nothing but noise at -100 dBm."""
    power: FloatArray = rng.gamma(averages, 1.0 / averages, bins)
    level: FloatArray = (10.0 * np.log10(power) - 100.0).astype(np.float64)
    frequencies = (470_000.0 + 25.0 * np.arange(bins)).astype(np.float64)
    return Sweep("noise", frequencies, level.reshape(1, -1), "dBm", 25.0, 25.0, averages, "rms", None, None,
                 "noise", np.zeros(bins, np.bool_))  # fmt: skip


@pytest.mark.parametrize("averages", [1, 16])
def test_the_chance_that_noise_is_told_is_set_by_the_hour(monkeypatch: pytest.MonkeyPatch, averages: int) -> None:
    """Asked for sixty an hour instead of one in a thousand, no more than that come: the chance is shared out over
    places and passes, so that how often it is looked does not matter."""
    monkeypatch.setattr(signals, "FALSE_PER_HOUR", 60.0)
    monkeypatch.setattr(rules, "GHOSTS", 10**9)
    counts = []
    for every_s in (2.0, 20.0):
        rng = np.random.default_rng(31)
        fresh, found = FreshAir(), 0
        new = Arrivals(fresh)
        for n in range(round(3600.0 / every_s)):
            fresh.add(quiet(rng, averages=averages), n * every_s)
            new.look(n * every_s)
            found = max(found, new._number)
        counts.append(found)
    assert max(counts) <= 60
    assert counts[0] > 0 or averages == 16


def test_a_gain_that_moves_and_a_floor_that_drifts_are_nobody() -> None:
    rng = np.random.default_rng(33)
    fresh = FreshAir()
    new = Arrivals(fresh)
    new.expect((Mine(500_000, 200, 200, "Boom"),))
    for n in range(300):
        sweep = quiet(rng)
        sweep.levels_db[:] += 10.0 * (n > 100) - 20.0 * (n > 200) + 3.0 * np.sin(n / 40.0)
        fresh.add(sweep, n * 5.0)
        new.look(n * 5.0)
    assert not new.somebodies


def told_kinds(air: Air, mine: tuple[Mine, ...], seconds: float, on: bool | None) -> list[str]:
    fresh = FreshAir()
    new = Arrivals(fresh)
    new.expect(mine)
    for n in range(1, int(seconds / 8.0)):
        fresh.add(air.at(8.0 * n), 8.0 * n)
        new.look(8.0 * n, lambda _link: on)
        new.tick(8.0 * n + 1.6, lambda _link: on)
    return [
        somebody.kind
        for somebody in new.somebodies
        if not somebody.first and any(each.touches(somebody.centre_khz, somebody.width_khz) for each in mine)
    ]


@pytest.mark.parametrize(("on", "kind"), [(True, "ours"), (None, "ours"), (False, "somebody")])
def test_whose_it_is_on_a_carrier_of_ours_the_receiver_tells(on: bool | None, kind: str) -> None:
    air = Air(41, strangers=[Stranger(520_000, 180, 40, 400, 900)])
    air.tv, air.steady = [], []
    assert told_kinds(air, (Mine(520_000, 200, 200, "Boom"),), 800, on) == [kind]


def test_somebody_beside_a_carrier_that_is_on_is_told() -> None:
    strangers = [Stranger(520_000, 180, 40, 100, 9000), Stranger(520_330, 100, 35, 400, 900)]
    air = Air(43, strangers=strangers)
    air.tv, air.steady = [], []
    assert sorted(told_kinds(air, (Mine(520_000, 200, 200, "Boom"),), 800, True)) == ["ours", "somebody"]


def test_a_product_of_ours_is_told_as_one() -> None:
    air = Air(45, strangers=[Stranger(khz, 180, 62, 200, 9000) for khz in (520_000, 522_000)])
    air.strangers += [Stranger(khz, 300, 18, 200, 9000) for khz in (518_000, 524_000)]  # 2 x 522 - 520 MHz
    air.tv, air.steady = [], []
    mine = (Mine(520_000, 200, 200, "Boom"), Mine(522_000, 200, 200, "Raker"), Mine(524_000, 200, 200, "x", True))
    assert sorted(told_kinds(air, mine, 600, True)) == ["ours", "ours", "product"]


def test_impulses_make_a_second_look_decide() -> None:
    rng = np.random.default_rng(47)
    fresh = FreshAir()
    new = Arrivals(fresh)
    for n in range(120):
        sweep = quiet(rng)
        at = int(rng.integers(100, 3900))
        sweep.levels_db[0, at : at + 3] = -70.0
        fresh.add(sweep, n * 5.0)
        new.look(n * 5.0)
        if n == 60:
            assert new.impulses
            told = new._number
    assert told <= rules.GHOSTS + 4
    assert new._number - told <= 2


def test_memory_and_history_are_bounded() -> None:
    rng = np.random.default_rng(49)
    fresh = FreshAir()
    new = Arrivals(fresh)
    for n in range(1500):
        fresh.add(quiet(rng, 800), n * 60.0)
        new.look(n * 60.0)
    assert len(fresh.recent) == 240
    assert len(fresh.minutes) == 720
    assert fresh.minutes[0][1].size == 800
    slot = fresh.slot(480_000, 200)
    assert slot is not None
    assert not slot.busy
    assert slot.share == 0.0
    assert slot.level_db == pytest.approx(-91.0, abs=2.0)  # -100 dBm in each of eight bins
