"""Levels that were read: there they win, elsewhere they inform; against joint normal arithmetic and a street."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from linkwright.reach.arriving import Stand, arriving
from linkwright.reach.budget import BudgetRequest, budgets_of
from linkwright.reach.doubt import BODY_DB, KIT_STATED_DB, own_of
from linkwright.reach.ends import Ends
from linkwright.reach.spot_levels import (
    FADING_DB,
    METER_DB,
    TURN_DB,
    Learned,
    MeasuredLevels,
    learned,
    looks_of,
    readings_of,
)
from linkwright.shoot.equipment import Receiver, Transmitter
from linkwright.shoot.place import Site, Spot, Surroundings
from linkwright.units import FloatArray

TX = Transmitter(form="body-worn", tunes_mhz=((518.0, 542.0),), raster_khz=25, powers_mw=(10.0, 50.0))
RX = Receiver(tunes_mhz=((518.0, 542.0),), noise_figure_db=8.0, required_cnr_db=20.0)
AT = Spot(name="Cart", x_m=0.0, y_m=0.0, z_m=1.6)
MHZ = 530.0


def ends_on(around: Surroundings = "open", name: str = "Pilot") -> Ends:
    return Ends(Site(name="S", surroundings=around), TX, RX, "pocket", AT, name=name)


def model_db(ends: Ends, places: FloatArray) -> FloatArray:
    found = arriving([Stand(ends, MHZ, places, np.full(len(places), 1.4))])
    return np.asarray((found.share * found.gain_db).sum(axis=1))


def read(ends: Ends, places: list[tuple[float, float]], over_db: list[float], seconds: float = 0.0) -> Learned:
    at = np.array([(x, y, 1.3) for x, y in places])
    gain = model_db(ends, at) + np.array(over_db)
    taken = MeasuredLevels(ends, MHZ, gain, at, np.full(len(at), looks_of(seconds)), np.full(len(at), np.nan))
    readings = readings_of(ends.site, [taken])
    assert readings is not None
    return learned(ends.site, readings)


def each(after: Learned, ends: Ends, x_m: float) -> tuple[float, float]:
    places = np.array([[x_m, 0.0, 1.3]])
    found = arriving([Stand(ends, MHZ, places, np.full(1, 1.4))])
    shift, spread = after.each(ends, own_of(ends.site, found), found)
    return float(shift[0]), float(spread[0])


def test_one_look_has_seven_decibels_and_a_slow_minute_three() -> None:
    look = math.sqrt(METER_DB**2 + FADING_DB**2 / looks_of(0.0) + TURN_DB**2)
    minute = math.sqrt(METER_DB**2 + FADING_DB**2 / looks_of(60.0))  # the turn is known
    assert (look, minute) == pytest.approx((7.0, 3.0), abs=0.15)


def test_two_readings_in_the_open_are_joint_normal_arithmetic() -> None:
    """Body 3, kit 1 (stated figures), a place's own 3 dB, alike 0.25 + 0.75 exp(-d / 10 m); by numpy's inverse."""
    ends = ends_on()
    after = read(ends, [(20.0, 0.0), (26.0, 0.0)], [-6.0, -4.0])
    at = np.array([20.0, 26.0, 23.0])
    alike = 0.25 + 0.75 * np.exp(-np.abs(at[:, None] - at[None]) / 10.0)
    every = BODY_DB**2 + KIT_STATED_DB**2 + 9.0 * alike
    noise = METER_DB**2 + np.eye(2) * (FADING_DB**2 + TURN_DB**2)
    gain = every[2, :2] @ np.linalg.inv(every[:2, :2] + noise)
    shift, spread = each(after, ends, 23.0)
    assert shift == pytest.approx(float(gain @ [-6.0, -4.0]), abs=0.01)
    assert spread == pytest.approx(math.sqrt(every[2, 2] - float(gain @ every[:2, 2])), abs=0.01)


@settings(max_examples=30, deadline=None)
@given(st.sampled_from(["open", "street", "office", "hall"]), st.floats(-25.0, 25.0), st.floats(0.0, 120.0))
def test_a_reading_moves_its_own_place_most_and_leaves_nobody_less_sure(
    around: Surroundings, over_db: float, seconds: float
) -> None:
    ends = ends_on(around)
    after = read(ends, [(7.0, 0.0)], [over_db], seconds)
    here, near, far = (each(after, ends, x)[0] for x in (7.0, 7.8, 19.0))
    nothing = read(ends, [(7.0, 0.0)], [0.0], seconds)
    base = [each(nothing, ends, x)[0] for x in (7.0, 7.8, 19.0)]
    moved = [abs(a - b) for a, b in zip((here, near, far), base, strict=True)]
    assert moved[0] >= moved[1] - 0.05
    assert moved[0] >= moved[2] - 0.05
    assert moved[0] <= abs(over_db) + 1.0
    longer = read(ends, [(7.0, 0.0)], [over_db], seconds + 60.0)
    if longer.readings.own.wider == after.readings.own.wider:
        assert each(longer, ends, 7.0)[1] <= each(after, ends, 7.0)[1] + 0.05


def test_the_order_of_readings_does_not_matter_and_somebody_elses_count_less() -> None:
    ends, other = ends_on(), ends_on(name="Cook")
    places, over = [(20.0, 0.0), (30.0, 5.0), (45.0, -3.0)], [-8.0, -5.0, -9.0]
    one, turned = read(ends, places, over), read(ends, places[::-1], over[::-1])
    assert each(one, ends, 33.0) == pytest.approx(each(turned, ends, 33.0))
    mine, theirs = each(one, ends, 33.0), each(one, other, 33.0)
    assert mine[0] < theirs[0] < 0.0
    assert mine[1] < theirs[1]


def test_a_street_that_was_walked_is_believed_where_it_was_walked() -> None:
    """A street to 75 m, read at every 5 m, with a corner at 44 m that the median model takes for dark too early.

    At 75 m the readings lie 17 dB over the model: told is what was read, within 3 dB: 26.8 dB of margin with 50 mW.
    """
    ends = ends_on("street")
    x_m = np.arange(10.0, 76.0, 5.0)
    places = np.stack([x_m, np.zeros(x_m.size), np.full(x_m.size, 1.3)], axis=1)
    # 26.8 dB of margin over 20 dB and -113 dBm at 75 m with 50 mW: -66.2 dBm; the level falls evenly to there.
    level = np.interp(x_m, [10.0, 75.0], [-45.0, -66.2])
    over = (level - 17.0 - model_db(ends, places)).tolist()
    after = read(ends, [(float(x), 0.0) for x in x_m], over, 30.0)
    for x, told in zip(x_m[::3], level[::3], strict=True):
        shift, spread = each(after, ends, float(x))
        at = model_db(ends, np.array([[x, 0.0, 1.3]]))[0] + 17.0 + shift
        assert at == pytest.approx(told, abs=3.0)
        assert spread < 4.5
    route = (Spot(name="Far", x_m=75.0, y_m=0.0, z_m=1.3),)
    bare, read_there = (
        budgets_of([BudgetRequest(ends, route, MHZ, readings=readings)])[0] for readings in (None, after)
    )
    unwanted = bare.noise_dbm
    assert bare.told(50.0, unwanted).sure < 0.1
    mean = read_there.spots[0].gain_db + 17.0 - unwanted - 20.0
    assert mean == pytest.approx(26.8, abs=3.0)
    assert read_there.told(50.0, unwanted).median_db > bare.told(50.0, unwanted).median_db + 12.0
    assert read_there.doubt_db < 0.75 * bare.doubt_db
    parts = [gain.part for gain in read_there.gains]
    assert "levels read here" in parts
    assert read_there.gain_db == pytest.approx(math.fsum(gain.db for gain in read_there.gains), abs=1e-6)
