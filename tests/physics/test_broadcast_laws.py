"""Laws of broadcast fields, clutter and building entry; and what is refused."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.physics import profiles

from linkwright.air.tables import land_curves, us_curves
from linkwright.physics.broadcast import heights
from linkwright.physics.broadcast.contour import service_contour_km, service_field_dbuv_m
from linkwright.physics.broadcast.curves import Curves
from linkwright.physics.broadcast.land import Area, LandPath, land_field_dbuv_m
from linkwright.physics.broadcast.surface import surface
from linkwright.physics.diffraction import fresnel_v, knife_edge_db
from linkwright.physics.entry import entry_loss_db, entry_spread_db

FREQUENCIES = st.floats(54.0, 698.0)
HEIGHTS = st.floats(-50.0, 2000.0)
DISTANCES = st.floats(0.01, 900.0)


def field(
    distance_km: object, h1_m: object, frequency_mhz: object, time: float = 50.0, **more: object
) -> np.ndarray:
    given_ = {"h2_m": 10.0, "area": "open"} | more
    path = LandPath(frequency_mhz=frequency_mhz, distance_km=distance_km, h1_m=h1_m, **given_)  # type: ignore[arg-type]
    return land_field_dbuv_m(land_curves(), path, time)


@given(FREQUENCIES, HEIGHTS, DISTANCES, st.sampled_from([1.0, 3.0, 10.0, 20.0, 50.0]))
def test_no_field_beats_free_space(f: float, h1: float, d: float, time: float) -> None:
    assert float(field(d, h1, f, time)[0]) <= 106.9 - 20.0 * np.log10(d) + 1e-9


@given(st.floats(100.0, 698.0), st.floats(10.0, 1200.0), st.floats(1.0, 900.0))
def test_less_time_has_no_less_field(f: float, h1: float, d: float) -> None:
    often, seldom, rare = (float(field(d, h1, f, time)[0]) for time in (50.0, 10.0, 1.0))
    assert often <= seldom + 1e-9 <= rare + 2e-9


@given(FREQUENCIES, st.floats(0.0, 1200.0), st.floats(1.0, 800.0), st.floats(1.02, 1.2))
def test_the_field_falls_with_distance(f: float, h1: float, d: float, factor: float) -> None:
    near, far = field(np.array([d, d * factor]), h1, f)
    assert far < near


@given(st.lists(st.tuples(FREQUENCIES, HEIGHTS, DISTANCES), min_size=2, max_size=20))
def test_a_list_is_its_entries_one_by_one(entries: list[tuple[float, float, float]]) -> None:
    f, h1, d = (np.array(column) for column in zip(*entries, strict=True))
    together = field(d, h1, f)
    for n, (one_f, one_h1, one_d) in enumerate(entries):
        assert together[n] == pytest.approx(float(field(one_d, one_h1, one_f)[0]), abs=1e-9)


def test_continuous_where_the_method_changes() -> None:
    for at, step in ((10.0, 1e-6), (0.0, 1e-6)):
        below, above = field(30.0, np.array([at - step, at + step]), 600.0)
        assert above == pytest.approx(below, abs=0.004)  # 6.03 - J(0) is 0.003 dB
    below, above = field(np.array([1.0 - 1e-9, 1.0]), 150.0, 600.0, antenna_m=150.0)
    assert above == pytest.approx(below, abs=1e-3)
    assert float(field(0.04, 10.0, 600.0, antenna_m=10.0)[0]) == pytest.approx(106.9 + 27.96, abs=0.01)


@pytest.mark.parametrize("area", ["suburban", "urban", "dense urban"])
def test_clutter_takes_from_a_low_receiver(area: Area) -> None:
    low, high = (float(field(20.0, 200.0, 600.0, h2_m=h2, area=area)[0]) for h2 in (1.5, 30.0))
    assert low < high


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"frequency_mhz": 20.0}, "MHz"),
        ({"frequency_mhz": 5000.0}, "MHz"),
        ({"distance_km": 0.0}, "km"),
        ({"distance_km": 1001.0}, "km"),
        ({"h1_m": 3001.0}, "3000 m"),
        ({"h2_m": 0.5}, "receivers"),
        ({"time": 51.0}, "time"),
        ({"time": 0.5}, "time"),
    ],
)
def test_outside_its_range_it_refuses(changed: dict[str, Any], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        field(**{"distance_km": 10.0, "h1_m": 100.0, "frequency_mhz": 600.0} | changed)


def test_a_table_of_another_shape_is_refused() -> None:
    with pytest.raises(ValueError, match="expected"):
        Curves(np.arange(1.0, 4.0), np.zeros((3, 3, 3, 7)))


@given(st.floats(0.0, 15.0), st.floats(0.0, 500.0), st.floats(1.0, 200.0))
def test_height_without_terrain_lies_between(d: float, effective: float, antenna: float) -> None:
    h1 = float(heights.h1_without_terrain_m(effective, antenna, d))
    assert min(effective, antenna) - 1e-9 <= h1 <= max(effective, antenna) + 1e-9
    assert float(heights.h1_without_terrain_m(effective, antenna, 20.0)) == pytest.approx(effective)


@given(st.floats(-5, 5), st.floats(-5, 5), st.floats(-3, 3), st.floats(0.1, 7.9), st.floats(0.1, 5.9))
def test_a_plane_is_met_everywhere(a: float, b: float, c: float, x: float, y: float) -> None:
    xs, ys = np.array([0.0, 1.0, 3.0, 4.0, 8.0]), np.array([0.0, 2.0, 3.0, 6.0])
    found = surface(xs, ys, a * xs + b * ys[:, None] + c).at(np.array([x]), np.array([y]))
    assert float(found[0]) == pytest.approx(a * x + b * y + c, abs=1e-9)


@given(st.floats(0.01, 5000.0), st.floats(0.0, 2000.0), st.floats(20.0, 60.0))
def test_the_contour_is_where_the_field_is(erp_kw: float, haat_m: float, wanted: float) -> None:
    for curves in us_curves():
        erp, haat = np.array([erp_kw]), np.array([haat_m])
        away = service_contour_km(curves, erp, haat, wanted)
        there = float(service_field_dbuv_m(curves, haat, away)[0] + 10.0 * np.log10(erp_kw))
        # The two curves differ by some tenths of a dB where F(50,10) begins, at ten miles: a step of the field.
        at_step = abs(away[0] - 16.09344) < 0.3
        nearest, farthest = curves.half.x[[0, -1]]
        beside_table = (away[0] <= nearest and there < wanted) or (away[0] > farthest - 0.3 and there > wanted)
        assert there == pytest.approx(wanted, abs=1.0 if at_step else 0.1) or beside_table


def test_metallised_glass_keeps_more_out() -> None:
    assert float(entry_loss_db(600.0, 0.5, "thermally efficient")) > float(entry_loss_db(600.0, 0.5, "traditional"))
    assert 4.0 < float(entry_spread_db(600.0, "traditional")) < 12.0


@pytest.mark.parametrize(("f", "share"), [(79.0, 0.5), (1e6, 0.5), (600.0, 0.0), (600.0, 1.0)])
def test_entry_outside_its_range(f: float, share: float) -> None:
    with pytest.raises(ValueError, match=r"holds|between 0 and 1"):
        entry_loss_db(f, share, "traditional")


def test_fresnel_parameter_of_an_edge() -> None:
    assert float(fresnel_v(0.0, 10.0, 10.0, 600.0)) == 0.0
    assert float(knife_edge_db(fresnel_v(-5.0, 10.0, 10.0, 600.0))) == 0.0
    # One wavelength above the middle of a line of 4 wavelengths: v = sqrt(2) here.
    metre = 299.792458
    assert float(fresnel_v(1.0, 2.0, 2.0, metre)) == pytest.approx(np.sqrt(2.0))
    with pytest.raises(ValueError, match="between the ends"):
        fresnel_v(1.0, 0.0, 2.0, metre)


def test_height_and_angles_over_a_ramp() -> None:
    away = np.linspace(0.0, 20.0, 201)
    ground = 10.0 * away  # one part in a hundred upwards
    assert profiles.h1_over_terrain_m(away, ground, 50.0) == pytest.approx(50.0 - 90.0)
    # The steepest line from 50 m up is to the far end: (150 - 50) m over 15 km.
    assert profiles.transmitter_clearance_deg(away, ground, 50.0) == pytest.approx(np.degrees(np.arctan(1 / 150)))
    assert profiles.receiver_clearance_deg(away, ground, 0.0) == pytest.approx(-np.degrees(np.arctan(0.01)))
    with pytest.raises(ValueError, match="two points"):
        profiles.h1_over_terrain_m(np.array([0.0, 20.0]), np.array([0.0, 0.0]), 10.0)
