"""Laws of street losses, obstacles, lines and chains; and what they refuse."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from linkwright.physics.diffraction import knife_edge_db, over_edge_db
from linkwright.physics.feeders import LINES, Stage, cascade, line_db, lossy
from linkwright.physics.pathloss import P1238, P1238_RANGES, free_space_db, p1238_covers
from linkwright.physics.streets import P1411_STREET, Street, street_covers, street_db, two_ray

ROWS = sorted(P1411_STREET)


@given(st.sampled_from(ROWS), st.floats(0.0, 1.0), st.floats(0.0, 1.0))
def test_inside_the_stated_range_it_answers_and_outside_it_refuses(name: str, f: float, d: float) -> None:
    row = P1411_STREET[name]
    mhz = row.mhz[0] + f * (row.mhz[1] - row.mhz[0])
    metres = row.metres[0] + d * (row.metres[1] - row.metres[0])
    assert np.isfinite(street_db(row, mhz, metres))
    for wrong in (
        (row.mhz[0] * 0.99, metres),
        (row.mhz[1] * 1.01, metres),
        (mhz, row.metres[0] * 0.99),
        (mhz, 716.0),
    ):
        assert not street_covers(row, *wrong)
        with pytest.raises(ValueError, match="holds here"):
            street_db(row, *wrong)


def test_at_2400_mhz() -> None:
    covered = [name for name in ROWS if street_covers(P1411_STREET[name], 2400.0, 100.0)]
    assert covered == ["high-rise, no sight", "residential, no sight", "urban, sight"]
    sight, blocked = (float(street_db(P1411_STREET[name], 2400.0, 100.0)) for name in ("urban, sight", covered[0]))
    assert sight == pytest.approx(float(free_space_db(2400.0, 100.0)), abs=1.0)
    assert blocked > sight + 15.0
    assert isinstance(P1411_STREET["urban, sight"], Street)


@given(st.floats(300.0, 3000.0), st.floats(1.0, 1000.0), st.floats(1.0, 5.0), st.floats(1.0, 5.0))
def test_two_ray_bounds_lie_in_order(f: float, d: float, a: float, b: float) -> None:
    found = two_ray(f, d, a, b)
    assert found.lower_db < found.median_db
    assert found.median_db <= found.upper_db + 6.0
    swapped = two_ray(f, d, b, a)
    assert float(swapped.upper_db) == pytest.approx(float(found.upper_db))


@pytest.mark.parametrize(
    "given_",
    [
        (299.0, 10.0, 1.0, 1.0),
        (3001.0, 10.0, 1.0, 1.0),
        (600.0, 1001.0, 1.0, 1.0),
        (600.0, 0.0, 1.0, 1.0),
        (600.0, 9.0, 0.0, 1.0),
    ],
)
def test_two_ray_refuses(given_: tuple[float, float, float, float]) -> None:
    with pytest.raises(ValueError, match=r"holds|more than nothing"):
        two_ray(*given_)


def test_indoor_rows_have_their_ranges() -> None:
    assert P1238_RANGES.keys() == P1238.keys()
    assert p1238_covers("office, sight", 600.0, [1.0, 10.0, 28.0]).tolist() == [False, True, False]
    assert not p1238_covers("industrial, sight", 600.0, 10.0)  # a hall below 625 MHz is stretched
    assert p1238_covers("industrial, sight", 2400.0, 10.0)


A, B = np.array([0.0, 0.0, 1.5]), np.array([20.0, 0.0, 1.5])


def test_an_edge_at_the_line_of_sight_costs_6_db() -> None:
    assert float(over_edge_db(A, B, 0.5, 1.5, 600.0)) == pytest.approx(6.03, abs=0.01)
    # 2 m above the middle of 20 m at 600 MHz: v = 2 sqrt(2 / 0.49965 * 0.2) = 1.7895.
    assert float(over_edge_db(A, B, 0.5, 3.5, 600.0)) == pytest.approx(float(knife_edge_db(1.7895)), abs=0.001)
    assert float(over_edge_db(A, B, 0.5, -5.0, 600.0)) == 0.0


@given(st.floats(0.05, 0.95), st.floats(1.5, 6.0), st.floats(100.0, 3000.0), st.floats(0.0, 3.0))
def test_a_higher_obstacle_costs_more_either_way(share: float, top: float, f: float, more: float) -> None:
    loss = float(over_edge_db(A, B, share, top, f))
    assert float(over_edge_db(A, B, share, top + more, f)) >= loss - 1e-9
    assert float(over_edge_db(B, A, 1.0 - share, top, f)) == pytest.approx(loss, abs=1e-6)


def test_many_paths_at_once_and_no_obstacle_at_an_end() -> None:
    ends = np.array([[20.0, 0.0, 1.5], [40.0, 0.0, 3.0]])
    together = over_edge_db(np.broadcast_to(A, ends.shape), ends, np.array([0.5, 0.25]), 4.0, 600.0)
    assert together.tolist() == pytest.approx(
        [float(over_edge_db(A, end, share, 4.0, 600.0)) for end, share in zip(ends, (0.5, 0.25), strict=True)]
    )
    with pytest.raises(ValueError, match="between the ends"):
        over_edge_db(A, B, 0.0, 2.0, 600.0)


@given(st.sampled_from(sorted(LINES)), st.floats(1.0, 3000.0), st.floats(0.0, 200.0))
def test_a_line_twice_as_long_loses_twice(line: str, f: float, length: float) -> None:
    one = line_db(line, f, length)  # type: ignore[arg-type]
    assert float(line_db(line, f, 2.0 * length)) == pytest.approx(2.0 * float(one))  # type: ignore[arg-type]
    with pytest.raises(ValueError, match="not negative"):
        line_db(line, f, -1.0)  # type: ignore[arg-type]


STAGES = st.builds(Stage, st.floats(-20.0, 30.0), st.floats(0.0, 20.0), st.floats(-10.0, 50.0) | st.just(math.inf))


@given(st.lists(STAGES, min_size=1, max_size=6), st.integers(0, 6))
def test_a_chain_may_be_taken_in_parts(stages: list[Stage], cut: int) -> None:
    whole = cascade(stages)
    parts = cascade([cascade(stages[:cut]), cascade(stages[cut:])])
    assert parts.gain_db == pytest.approx(whole.gain_db, abs=1e-9)
    assert parts.noise_figure_db == pytest.approx(whole.noise_figure_db, abs=1e-6)
    assert parts.oip3_dbm == pytest.approx(whole.oip3_dbm, abs=1e-6)


@given(st.floats(0.0, 20.0), STAGES)
def test_a_pad_in_front_costs_its_loss_in_noise_and_gives_it_in_intercept(loss: float, stage: Stage) -> None:
    chain = cascade([lossy(loss), stage])
    assert chain.noise_figure_db == pytest.approx(stage.noise_figure_db + loss, abs=1e-6)
    assert chain.iip3_dbm == pytest.approx(stage.iip3_dbm + loss, abs=1e-6)


def test_no_stage_is_less_than_silent() -> None:
    assert cascade([]) == Stage(0.0, 0.0)
    with pytest.raises(ValueError, match="not negative"):
        Stage(10.0, -0.1)
    with pytest.raises(ValueError, match="not negative"):
        lossy(-1.0)
