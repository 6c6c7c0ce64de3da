"""Passes that look at a part of the band each, ours in every one: what was not looked at is no silence."""

from __future__ import annotations

import numpy as np
import pytest

from linkwright.air.arrivals import Arrivals
from linkwright.air.fresh import FreshAir
from linkwright.air.ours import Mine
from linkwright.air.sweep import Sweep
from linkwright.units import FloatArray

BINS, PARTS = 4000, 8
FREQUENCIES: FloatArray = 470_000.0 + 25.0 * np.arange(BINS, dtype=np.float64)
#: Ours lie in the first tenth of the band, which every pass looks at.
OURS = slice(0, BINS // 10)


class Days:
    """An air of noise at -100 dBm with signals (centre, width [kHz], dB over the floor), looked at part by part."""

    def __init__(self, *mine: Mine, parts: int = PARTS) -> None:
        self.parts = parts
        self.rng, self.passes = np.random.default_rng(51), 0
        self.fresh = FreshAir()
        self.new = Arrivals(self.fresh)
        self.new.expect(mine)

    def rounds(self, count: int, *signals: tuple[float, float, float], averages: int = 64) -> None:
        for _ in range(count):
            power = self.rng.gamma(averages, 1.0 / averages, BINS)
            for centre, width, over_db in signals:
                power += np.where(np.abs(FREQUENCIES - centre) <= width / 2.0, 10.0 ** (over_db / 10.0), 0.0)
            level: FloatArray = (10.0 * np.log10(power) - 100.0).astype(np.float64)
            if self.passes:  # the first looks at all
                rest = np.array_split(np.arange(OURS.stop, BINS), self.parts)[self.passes % self.parts]
                unseen = np.ones(BINS, np.bool_)
                unseen[OURS], unseen[rest] = False, False
                level[unseen] = np.nan
            sweep = Sweep("parts", FREQUENCIES, level.reshape(1, -1), "dBm", 25.0, 37.5, averages, "rms", None,
                          None, "parts", np.zeros(BINS, np.bool_))  # fmt: skip
            self.fresh.add(sweep, 2.0 * self.passes)
            self.new.look(2.0 * self.passes)
            self.passes += 1

    def told(self) -> list[tuple[str, float]]:
        return [(each.kind, round(each.centre_khz / 1000.0)) for each in self.new.somebodies if each.on]


def test_nobody_is_told_of_noise() -> None:
    days = Days()
    days.rounds(200)
    assert days.told() == []
    assert np.all(days.fresh.looks > 20)


def test_somebody_in_the_rest_is_told_when_he_is_seen_and_stays_while_nobody_looks() -> None:
    days = Days()
    days.rounds(20)
    days.rounds(PARTS, (540_000.0, 200.0, 20.0))
    assert days.told() == [("somebody", 540)]
    days.rounds(PARTS - 1, (540_000.0, 200.0, 20.0))
    assert days.told() == [("somebody", 540)]
    days.rounds(5 * PARTS)
    assert days.told() == []


@pytest.mark.parametrize("over_db", [8.0, 20.0, 40.0])
@pytest.mark.parametrize("parts", [1, PARTS])
def test_something_wide_is_told_when_it_is_seen_twice(parts: int, over_db: float) -> None:
    days = Days(parts=parts)
    days.rounds(12 * parts)
    days.rounds(parts, (540_000.0, 3000.0, over_db))
    assert days.told() == []
    days.rounds(parts, (540_000.0, 3000.0, over_db))
    assert days.told() == [("wide", 540)]


def test_a_receiver_has_not_shown_itself_cleaner_by_what_was_not_looked_at() -> None:
    """An image 50 dB under ours, in a part that is looked at some rounds after ours came up."""
    days = Days(Mine(472_000, 200, 200, "Boom"))
    days.rounds(18)
    days.rounds(PARTS, (472_000.0, 180.0, 62.0), (560_000.0, 180.0, 12.0))
    assert ("product", 560) in days.told()
    assert not [told for told in days.told() if told[0] == "somebody"]


def test_a_product_of_ours_is_known_though_its_place_is_seldom_looked_at() -> None:
    """2A-B of 479 and 472 falls on 486, which is looked at for the first time 23 rounds after they came up."""
    days = Days(Mine(472_000, 200, 200, "Boom"), Mine(479_000, 200, 200, "Pilot"), parts=24)
    days.rounds(26)
    days.rounds(48, (472_000.0, 180.0, 45.0), (479_000.0, 180.0, 45.0), (486_000.0, 400.0, 20.0))
    assert ("product", 486) in days.told()
    assert not [told for told in days.told() if told[0] in ("somebody", "wide")], days.told()
