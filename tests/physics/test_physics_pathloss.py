"""Laws of the path-loss models: loss grows with distance and frequency, and the pieces meet."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from linkwright.physics import pathloss
from linkwright.physics.noise import thermal_noise_dbm

mhz = st.floats(300.0, 3000.0)
metres = st.floats(0.1, 3000.0)
shares = st.floats(0.01, 0.99)
further = st.floats(1.0, 10.0)


@given(mhz, metres, further)
def test_free_space_grows_with_distance(f: float, d: float, factor: float) -> None:
    assert float(pathloss.free_space_db(f, d * factor)) >= float(pathloss.free_space_db(f, d))


@given(mhz, st.floats(1.0, 1000.0))
def test_free_space_doubles_by_6_db(f: float, d: float) -> None:
    assert float(pathloss.free_space_db(f, 2.0 * d) - pathloss.free_space_db(f, d)) == pytest.approx(
        6.02, abs=0.001
    )


@given(st.sampled_from(sorted(pathloss.P1238)), mhz, metres, further)
def test_indoor_loss_grows_with_distance(row: str, f: float, d: float, factor: float) -> None:
    at = pathloss.P1238[row]
    assert float(pathloss.p1238_db(at, f, d * factor)) >= float(pathloss.p1238_db(at, f, d))


@given(mhz, st.floats(1.0, 3000.0), shares, shares, st.sampled_from([0.0, 2.3, 6.8]))
def test_more_locations_need_more_loss(f: float, d: float, a: float, b: float, urban: float) -> None:
    low, high = sorted([a, b])
    assert float(pathloss.p1411_sight_db(f, d, low)) <= float(pathloss.p1411_sight_db(f, d, high)) + 1e-9
    assert float(pathloss.p1411_no_sight_db(f, d, urban, low)) <= (
        float(pathloss.p1411_no_sight_db(f, d, urban, high)) + 1e-9
    )


@given(mhz, st.floats(0.05, 0.99), st.sampled_from([0.0, 2.3, 6.8]))
def test_the_pieces_meet_at_both_ends_of_the_corner(f: float, share: float, urban: float) -> None:
    corner = float(pathloss.p1411_sight_distance_m(share))
    for edge in (corner, corner + 20.0):
        before = float(pathloss.p1411_terminals_db(f, edge - 1e-6, urban, share))
        after = float(pathloss.p1411_terminals_db(f, edge + 1e-6, urban, share))
        assert before == pytest.approx(after, abs=0.001)


@given(st.floats(0.01, 0.449), st.floats(0.451, 0.99))
def test_line_of_sight_reaches_less_far_for_more_locations(few: float, many: float) -> None:
    assert float(pathloss.p1411_sight_distance_m(few)) > float(pathloss.p1411_sight_distance_m(many))


@pytest.mark.parametrize("bandwidth_khz", [0.0, -1.0])
def test_no_bandwidth_has_no_noise(bandwidth_khz: float) -> None:
    with pytest.raises(ValueError, match="a bandwidth is more than nothing"):
        thermal_noise_dbm(bandwidth_khz)


def test_nearer_than_a_metre_is_a_metre() -> None:
    assert float(pathloss.free_space_db(600.0, 0.0)) == float(pathloss.free_space_db(600.0, 1.0))
