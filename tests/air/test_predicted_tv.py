"""Predicted TV: closed, doubtful, free; contours and the distance outside them; levels in a receiver."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from linkwright.air.predicted import (
    ExpectedChannel,
    Predicted,
    ProtectedChannel,
    ReceivingPlace,
    StationAtPlace,
    levels_at,
    predict,
)
from linkwright.air.stations import parse_stations
from linkwright.air.tables import land_curves, us_curves
from linkwright.physics.broadcast.land import LandPath, land_field_dbuv_m
from linkwright.shoot.place import Surroundings
from linkwright.units import NOTHING_DBM

BANDS = [
    ProtectedChannel(str(n), 470_000 + 6_000 * (n - 14), 476_000 + 6_000 * (n - 14), 41.0) for n in range(14, 37)
]
HEADER = "Call,Ch,Lat,Lon,HAAT,ERP kW,DA\n"
#: One degree of longitude on the equator [km], on the sphere of the mean radius.
DEGREE_KM = 6371.0088 * math.pi / 180.0


def at(km: float, rows: str, separation_km: float | None = 4.0, **place: object) -> Predicted:
    """Stations on the meridian of Greenwich at the equator, the place `km` east of it."""
    stations = parse_stations((HEADER + rows).encode(), "list", "GB")
    where = ReceivingPlace(0.0, km / DEGREE_KM, **place)  # type: ignore[arg-type]
    return predict(stations, BANDS, where, land_curves(), us_curves(), separation_km)


def channel(found: Predicted, number: str) -> ExpectedChannel:
    return next(one for one in found.channels if one.channel == number)


def heard(found: Predicted, station: str) -> StationAtPlace:
    return next(one for one in found.heard if one.station == station)


BIG = "BIG,30,0.0N,0.0E,365,1000,ND"


def test_the_contour_and_the_distance_outside_it() -> None:
    # The FCC's own curves put the contour of 1000 kW at 365 m on channel 30 at 103.1 km.
    for km, state in ((90.0, "closed"), (106.0, "closed"), (108.0, "doubtful"), (113.0, "doubtful")):
        found = at(km, BIG)
        assert heard(found, "BIG").outside_km == pytest.approx(km - 103.1, abs=0.5)
        assert channel(found, "30").state == state
    inside, outside = channel(at(100.0, BIG), "30").why, channel(at(106.0, BIG), "30").why
    assert inside.startswith(
        "3.1 km inside the contour of BIG on channel 30, 100.0 km away; the rules ask for 4 km"
    )
    assert outside.startswith("2.9 km outside the contour of BIG")
    assert {one.state for one in at(100.0, BIG).channels if one.channel != "30"} == {"free"}


def test_without_a_rule_the_level_decides() -> None:
    states = [channel(at(km, BIG, separation_km=None), "30").state for km in (10.0, 60.0, 120.0, 250.0, 390.0)]
    order = ["closed", "doubtful", "free"]
    assert states == sorted(states, key=order.index)
    assert states[0] == "closed"
    assert states[-1] == "free"


def test_far_away_nobody_looks() -> None:
    found = at(401.0, BIG)
    assert found.heard == ()
    assert channel(found, "30").state == "free"
    assert "no station" in channel(found, "30").why


def test_the_field_is_that_of_the_curves() -> None:
    found = heard(at(50.0, "S,30,0.0N,0.0E,300,10,DA"), "S")
    path = LandPath(frequency_mhz=569.0, distance_km=50.0, h1_m=300.0, h2_m=10.0, area="open")
    assert found.field_dbuv_m == pytest.approx(
        float(land_field_dbuv_m(land_curves(), path, 50.0)[0]) + 10.0, abs=1e-3
    )
    assert found.directional
    # E = P + 20 log10 f + 77.2, and a lower antenna in the open by K log10(h/10), K = 3.2 + 6.2 log10 f.
    lower = (3.2 + 6.2 * math.log10(569.0)) * math.log10(1.5 / 10.0)
    assert found.level_dbm == pytest.approx(found.field_dbuv_m + lower - 20.0 * math.log10(569.0) - 77.2, abs=1e-6)


@pytest.mark.parametrize("surroundings", ["open", "street", "residential", "office", "hall"])
def test_indoors_there_is_less_and_surer_of_nothing(surroundings: Surroundings) -> None:
    here = heard(at(20.0, BIG, surroundings=surroundings), "BIG")
    outdoors = {"office": "street", "hall": "residential"}.get(surroundings)
    if outdoors is not None:
        there = heard(at(20.0, BIG, surroundings=outdoors), "BIG")
        assert here.level_dbm < there.level_dbm - 5.0
        assert here.spread_db > there.spread_db
    assert here.field_dbuv_m == heard(at(20.0, BIG), "BIG").field_dbuv_m


def test_two_stations_on_a_channel_add_up() -> None:
    alone = channel(at(60.0, "A,30,0.0N,0.0E,200,100,ND"), "30")
    both = channel(at(60.0, "A,30,0.0N,0.0E,200,100,ND\nB,30,0.0N,0.0E,200,100,ND"), "30")
    assert alone.level_dbm is not None
    assert both.level_dbm == pytest.approx(alone.level_dbm + 10.0 * math.log10(2.0), abs=1e-6)


def test_a_height_that_is_not_stated_is_assumed() -> None:
    found = at(30.0, "A,30,0.0N,0.0E,0,1,ND")
    assert heard(found, "A").evidence == channel(found, "30").evidence == "assumed"
    assert any("no height is stated" in note for note in found.notes)


def test_channels_that_are_no_more_are_told() -> None:
    assert any("not any more" in note for note in at(30.0, "A,51,0.0N,0.0E,100,1,ND").notes)


def test_by_frequency_too() -> None:
    stations = parse_stations(b"Name,Freq MHz,Lat,Lon,ERP kW,HAAT\nA,569,0.0N,0.0E,100,300\n", "list", "GB")
    found = predict(stations, BANDS, ReceivingPlace(0.0, 0.3), land_curves())
    assert heard(found, "A").channel == "30"
    assert heard(found, "A").contour_km is None


def test_levels_in_a_receiver() -> None:
    found = at(20.0, BIG)
    level = channel(found, "30").level_dbm
    assert level is not None
    carriers = np.array([569_000, 565_900, 580_000], dtype=np.int64)
    levels, spread = levels_at(found, carriers, 200.0)
    assert levels[0] == pytest.approx(level - 10.0 * math.log10(6000.0 / 200.0), abs=1e-6)
    assert levels[1] == pytest.approx(NOTHING_DBM)  # 565.8 to 566.0 MHz lies beside channel 30, which begins there
    assert levels[2] == pytest.approx(NOTHING_DBM)
    assert spread.tolist() == [12.0, 0.0, 0.0]


@given(st.floats(0.01, 399.0), st.floats(0.1, 1000.0), st.floats(-50.0, 1500.0))
def test_more_power_never_opens_a_channel(km: float, erp_kw: float, haat_m: float) -> None:
    order = ["closed", "doubtful", "free"]
    less, more = (
        order.index(channel(at(km, f"A,30,0.0N,0.0E,{haat_m},{power},ND"), "30").state)
        for power in (erp_kw, 5.0 * erp_kw)
    )
    assert more <= less
