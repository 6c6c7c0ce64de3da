"""Others who are on the air for a measured part of the time: averaged as places are, told in the ledger; without a
measurement always on."""

from __future__ import annotations

import numpy as np
import pytest
from tests.plan.shoots import links, pocket, shoot

from linkwright.air.sweep import Sweep
from linkwright.physics.harm import CURVE_DB, Kinds, harm_curves
from linkwright.plan.model import PlannedLink
from linkwright.plan.pipeline import make_plan
from linkwright.reach.hand import Hand, HarmCurves, Wanted

SITE = """[[site]]
name = "Yard"
spots = [{ name = "Cart", x_m = 0, y_m = 0, z_m = 1.6 }, { name = "Gate", x_m = 20, y_m = 3 }]
"""
LINK = 'route = ["Gate"]\nlocked_mhz = 520.0\nlocked_mw = 10'
STRANGER = """[[other]]
name = "Stranger"
carrier_mhz = 520.0
radiated_mw = 0.001
site = "Yard"
at = { x_m = 60, y_m = 0 }
"""
PART = "others' time off the air"


def planned(more: str = "", sweeps: tuple[Sweep, ...] = ()) -> PlannedLink:
    text = SITE + pocket() + links(1, more=LINK) + more
    (link,) = make_plan(shoot(text), {"Yard": sweeps} if sweeps else {}, effort=0.0).calls[0].links
    assert link.margin_db - link.fading_db - link.doubt_db == pytest.approx(link.in_hand_db, abs=0.011)
    taken = [line.db for line in link.ledger if line.what in ("fading", "doubt") and line.db is not None]
    assert -sum(taken) == pytest.approx(link.fading_db + link.doubt_db, abs=0.011)
    return link


def test_a_measured_duty_counts_and_the_ledger_says_it() -> None:
    alone, always = planned(), planned(STRANGER)
    rare = [planned(STRANGER + f"duty = {duty}\n") for duty in (1.0, 0.5, 0.1, 0.01, 0.0001)]
    assert rare[0] == always
    assert not any(line.part == PART for line in always.ledger)
    in_hand = [link.in_hand_db for link in rare]
    assert in_hand == sorted(in_hand)
    assert always.in_hand_db + 5.0 < rare[-1].in_hand_db <= alone.in_hand_db + 0.1
    line = next(line for line in rare[2].ledger if line.part == PART)
    assert line.db is not None
    assert line.db > 0.0
    assert "Stranger on for 10 % of the time, as measured" in line.source
    assert (rare[2].margin_db, rare[2].power_mw) == (always.margin_db, always.power_mw), "told with everybody on"


def test_the_duty_of_others_is_read_from_sweeps_that_saw_them_come_and_go() -> None:
    """One carrier in 3 of 30 sweeps; then in all of them."""
    khz = np.arange(518_000, 526_000, 25)
    draw = np.random.default_rng(1)

    def swept(on: int) -> Sweep:
        levels = 10.0 * np.log10(draw.gamma(16.0, 1.0 / 16.0, (30, khz.size))) - 112.0
        levels[:on, np.abs(khz - 520_000) <= 75] = -98.0
        copied = np.zeros(khz.size, dtype=np.bool_)
        bins = khz.astype(np.float64)
        return Sweep("yard.csv", bins, levels, "dBm", 25.0, 25.0, 16, "rms", None, None, "test", copied)

    rare, always = planned(sweeps=(swept(3),)), planned(sweeps=(swept(30),))
    line = next(line for line in rare.ledger if line.part == PART)
    assert "sweep on for 13 % of the time" in line.source, "4 of 31: one more than was seen"
    assert rare.in_hand_db > always.in_hand_db + 0.5
    assert not any(line.part == PART for line in always.ledger)
    known = planned(STRANGER, sweeps=(swept(3),))
    assert "Stranger on for 13 %" in next(line.source for line in known.ledger if line.part == PART)


@pytest.mark.parametrize("seed", range(8))
def test_time_is_averaged_over_the_states_of_the_air(seed: int) -> None:
    """The shift of each case by plain search over the sum of the harm in all states, places and air."""
    draw = np.random.default_rng(seed)
    places = int(draw.integers(1, 4))
    kinds = Kinds.of(draw.uniform(-9.0, 12.0, places), draw.choice([0.0, 0.5]), 0.0, 2.8, 3.0)
    course = HarmCurves(
        harm_curves(kinds),
        draw.normal(60.0, 6.0, places),
        np.full(places, 1.0 / places),
        np.zeros(1, dtype=np.int64),
    )
    deviation = draw.normal(0.0, 6.0, (256, places))
    limit = np.array([2.0])
    hand = Hand(Wanted(), 0.0, course.shifts_db(limit, deviation)[:, 0], course, deviation)
    duty, quieter = draw.uniform(0.001, 0.9), draw.uniform(1.0, 30.0)
    found = hand.in_air(np.array([duty, 1.0 - duty]), np.array([0.0, quieter]))

    def harm(x: float, case: int) -> float:
        total = 0.0
        for place in range(places):
            for share, less in ((duty, 0.0), (1.0 - duty, quieter)):
                at = np.clip(x + less + course.over_db[place] + deviation[case, place], CURVE_DB[0], CURVE_DB[-1])
                total += share / places * float(np.exp(np.interp(at, CURVE_DB, course.curves[place])))
        return total

    for case in draw.choice(256, 12, replace=False).tolist():
        low, high = -200.0, 200.0
        while high - low > 1e-3:
            middle = (low + high) / 2.0
            low, high = (low, middle) if harm(middle, case) <= 2.0 else (middle, high)
        assert found.shift_db[case] == pytest.approx(high, abs=0.15)
        assert found.shift_db[case] <= hand.shift_db[case] + 1e-6
