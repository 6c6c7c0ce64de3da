"""Squelch settings against draws, and remote setting by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from linkwright.reach.control import control
from linkwright.reach.ends import Ends
from linkwright.reach.squelch import DISTANT_MORE_DB, OVER_NOISE_DB, Open, Squelch, squelches
from linkwright.shoot.equipment import Receiver, Transmitter
from linkwright.shoot.place import Site, Spot, Wall

TALENT = (-12.0, 6.0, 0.0)  # two Rayleigh branches, as good as independent
RX = Receiver(tunes_mhz=((518.0, 542.0),))
CART = Spot(name="Cart", x_m=0.0, y_m=0.0, z_m=1.5)


def transmitter(**more: float) -> Transmitter:
    return Transmitter(form="body-worn", tunes_mhz=((518.0, 542.0),), raster_khz=125, powers_mw=(10.0,), **more)  # type: ignore[arg-type]


def setting(wanted_dbm: float, needed_dbm: float, noise_dbm: float, distant_dbm: float | None) -> Squelch:
    several = [Open(wanted_dbm, needed_dbm, noise_dbm, TALENT, at) for at in (-90.0, distant_dbm, None)]
    return squelches(several)[1]


def test_with_nobody_known_on_the_carrier_it_opens_where_the_audio_begins_to_do() -> None:
    found = setting(-70.0, -93.2, -113.0, None)
    assert (found.level_dbm, found.cuts, found.opens) == (-93.5, 0.0, 0.0)


def test_the_noise_never_opens_it() -> None:
    assert setting(-70.0, -113.0, -110.0, None).level_dbm == -110.0 + OVER_NOISE_DB


@pytest.mark.parametrize("distant_dbm", [-100.0, -90.0, -80.0])
def test_the_risks_are_as_counted_in_draws(distant_dbm: float) -> None:
    """Two independent Rayleigh branches, somebody else as strong as in nine cases of ten; 400 000 draws."""
    found = setting(-70.0, -93.0, -113.0, distant_dbm)
    rng = np.random.default_rng(20270514)

    def better(mean_dbm: float) -> np.ndarray:
        fade = np.maximum(rng.exponential(size=400_000), rng.exponential(size=400_000))
        return np.asarray(mean_dbm + 10.0 * np.log10(fade))

    talent, other = better(-70.0), better(distant_dbm + DISTANT_MORE_DB)
    cut = float(np.mean((talent < found.level_dbm) & (talent > -93.0)))
    assert found.cuts == pytest.approx(cut, abs=0.002)
    assert found.opens == pytest.approx(float(np.mean(other > found.level_dbm)), abs=0.004)


@settings(max_examples=40, deadline=None)
@given(st.floats(-110.0, -60.0), st.floats(-125.0, -70.0))
def test_it_lies_over_the_noise_and_no_other_setting_has_less_risk(wanted_dbm: float, distant_dbm: float) -> None:
    found = setting(wanted_dbm, -93.0, -113.0, distant_dbm)
    assert found.level_dbm >= -113.0 + OVER_NOISE_DB
    weaker = setting(wanted_dbm, -93.0, -113.0, distant_dbm - 10.0)
    assert weaker.cuts + weaker.opens <= found.cuts + found.opens + 1e-6


def test_remote_setting_reaches_as_far_as_is_usual_in_the_open() -> None:
    ends = Ends(Site(name="S", flat_ground=False), transmitter(control_mhz=2442.0), RX, "belt-back", CART)
    spots = [Spot(name=f"{d}", x_m=float(d), y_m=0.0, z_m=1.5) for d in (4, 9, 18)]
    found = control(ends, spots)
    assert [round(one.margin_db, 2) for one in found] == [round(20 * math.log10(9 / d), 2) for d in (4, 9, 18)]
    assert {one.evidence for one in found} == {"assumed"}
    farther = transmitter(control_mhz=2442.0, control_reach_m=18.0)
    said = control(Ends(Site(name="S", flat_ground=False), farther, RX, "belt-back", CART), spots)
    assert said[2].margin_db == pytest.approx(0.0, abs=1e-9)
    assert said[2].evidence == "modelled"


def test_a_wall_stands_in_the_way_of_remote_setting_too() -> None:
    wall = Wall.model_validate({"from": (2.0, -5.0), "to": (2.0, 5.0), "material": "brick"})
    ends = Ends(
        Site(name="S", walls=(wall,), flat_ground=False), transmitter(control_mhz=2442.0), RX, "belt-back", CART
    )
    (found,) = control(ends, [Spot(name="P", x_m=4.5, y_m=0.0, z_m=1.5)])
    # Of K 6 dB the wall takes 5 dB from the straight wave and half of it from the others.
    through = -10 * math.log10((10**0.6 * 10**-0.5 + 10**-0.25) / (10**0.6 + 1.0))
    assert found.margin_db == pytest.approx(20 * math.log10(2.0) - through, abs=0.01)


def test_a_type_without_a_control_link_is_not_told_of() -> None:
    assert control(Ends(Site(name="S", flat_ground=False), transmitter(), RX, "belt-back", CART), [CART]) == ()
