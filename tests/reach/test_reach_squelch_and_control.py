"""Squelch settings against draws, and remote setting by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from linkwright.reach.control import control
from linkwright.reach.curves import Pair
from linkwright.reach.ends import Ends
from linkwright.reach.path import Spread
from linkwright.reach.squelch import OVER_NOISE_DB, setting
from linkwright.shoot.equipment import Receiver, Transmitter
from linkwright.shoot.place import Site, Spot, Wall

OPEN = Spread("normal", 3.0, 0.0, "assumed", "-")
PAIR = Pair(3.0)  # as good as independent
RX = Receiver(tunes_mhz=((518.0, 542.0),))
CART = Spot(name="Cart", x_m=0.0, y_m=0.0, z_m=1.5)


def transmitter(**more: float) -> Transmitter:
    return Transmitter(form="body-worn", tunes_mhz=((518.0, 542.0),), raster_khz=125, powers_mw=(10.0,), **more)  # type: ignore[arg-type]


def test_with_nobody_known_on_the_carrier_it_opens_where_the_audio_begins_to_do() -> None:
    found = setting(-70.0, -93.2, -113.0, OPEN, PAIR, None)
    assert (found.level_dbm, found.cuts, found.opens) == (-93.5, 0.0, 0.0)


def test_the_noise_never_opens_it() -> None:
    assert setting(-70.0, -113.0, -110.0, OPEN, PAIR, None).level_dbm == -110.0 + OVER_NOISE_DB


@pytest.mark.parametrize("distant_dbm", [-100.0, -90.0, -80.0])
def test_the_risks_are_as_counted_in_draws(distant_dbm: float) -> None:
    """Two independent Rayleigh branches, the mean scattered by 3 dB and by 7 dB; 400 000 draws."""
    found = setting(-70.0, -93.0, -113.0, OPEN, PAIR, distant_dbm)
    rng = np.random.default_rng(20270514)

    def better(mean_dbm: float, sigma_db: float) -> np.ndarray:
        fade = np.maximum(rng.exponential(size=400_000), rng.exponential(size=400_000))
        return np.asarray(mean_dbm + rng.normal(0.0, sigma_db, 400_000) + 10.0 * np.log10(fade))

    talent, other = better(-70.0, 3.0), better(distant_dbm, 7.0)
    cut = float(np.mean((talent < found.level_dbm) & (talent > -93.0)))
    assert found.cuts == pytest.approx(cut, abs=0.002)
    assert found.opens == pytest.approx(float(np.mean(other > found.level_dbm)), abs=0.004)


@settings(max_examples=40, deadline=None)
@given(st.floats(-110.0, -60.0), st.floats(-125.0, -70.0))
def test_it_lies_over_the_noise_and_no_other_setting_has_less_risk(wanted_dbm: float, distant_dbm: float) -> None:
    found = setting(wanted_dbm, -93.0, -113.0, OPEN, PAIR, distant_dbm)
    assert found.level_dbm >= -113.0 + OVER_NOISE_DB
    weaker = setting(wanted_dbm, -93.0, -113.0, OPEN, PAIR, distant_dbm - 10.0)
    assert weaker.cuts + weaker.opens <= found.cuts + found.opens + 1e-6


def test_remote_setting_reaches_as_far_as_is_usual_in_the_open() -> None:
    ends = Ends(Site(name="S"), transmitter(control_mhz=2442.0), RX, "belt-back", CART)
    spots = [Spot(name=f"{d}", x_m=float(d), y_m=0.0, z_m=1.5) for d in (4, 9, 18)]
    found = control(ends, spots)
    assert [round(one.margin_db, 2) for one in found] == [round(20 * math.log10(9 / d), 2) for d in (4, 9, 18)]
    assert {one.evidence for one in found} == {"assumed"}
    farther = transmitter(control_mhz=2442.0, control_reach_m=18.0)
    said = control(Ends(Site(name="S"), farther, RX, "belt-back", CART), spots)
    assert said[2].margin_db == pytest.approx(0.0, abs=1e-9)
    assert said[2].evidence == "modelled"


def test_a_wall_stands_in_the_way_of_remote_setting_too() -> None:
    wall = Wall.model_validate({"from": (2.0, -5.0), "to": (2.0, 5.0), "material": "brick"})
    ends = Ends(Site(name="S", walls=(wall,)), transmitter(control_mhz=2442.0), RX, "belt-back", CART)
    (found,) = control(ends, [Spot(name="P", x_m=4.5, y_m=0.0, z_m=1.5)])
    assert found.margin_db == pytest.approx(20 * math.log10(2.0) - 8.0)


def test_a_type_without_a_control_link_is_not_told_of() -> None:
    assert control(Ends(Site(name="S"), transmitter(), RX, "belt-back", CART), [CART]) == ()
