"""Which lines cross which walls, against exact fractions."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from linkwright.reach.walls import WALL_DB, in_the_way
from linkwright.shoot.place import Material, Site, Wall

Pair = tuple[int, int]
corners = st.tuples(st.integers(-6, 6), st.integers(-6, 6))


def crosses(a: Pair, b: Pair, p: Pair, q: Pair) -> bool:
    """Whether a-b meets p-q in one point: a + t (b - a) = p + u (q - p) solved for t and u, both in 0..1."""
    rx, ry, sx, sy = b[0] - a[0], b[1] - a[1], q[0] - p[0], q[1] - p[1]
    determinant = rx * sy - ry * sx
    if determinant == 0:
        return False  # beside each other, or one along the other
    t = Fraction((p[0] - a[0]) * sy - (p[1] - a[1]) * sx, determinant)
    u = Fraction((p[0] - a[0]) * ry - (p[1] - a[1]) * rx, determinant)
    return 0 <= t <= 1 and 0 <= u <= 1


def wall(p: Pair, q: Pair, material: str, loss_db: float | None = None) -> Wall:
    ends = {"from": (float(p[0]), float(p[1])), "to": (float(q[0]), float(q[1]))}
    return Wall.model_validate({**ends, "material": material, "loss_db": loss_db})


def walls_crossed(walls: list[Wall], start: np.ndarray, end: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Loss and whether any wall is crossed for every pair of points, all at one height unless they say theirs."""
    a, b = (np.concatenate([p, np.full((len(p), 1), 1.5)], axis=1) if p.shape[1] == 2 else p for p in (start, end))
    way = in_the_way(Site(name="S", walls=tuple(walls)), a[:, None], b[None], 600.0)
    return way.loss_db, way.crossed


@settings(max_examples=300)
@given(
    st.lists(corners, min_size=1, max_size=4),
    st.lists(corners, min_size=1, max_size=4),
    st.lists(st.tuples(corners, corners, st.sampled_from(sorted(WALL_DB))), max_size=4),
)
def test_every_pair_of_points_against_every_wall(
    starts: list[Pair], ends: list[Pair], drawn: list[tuple[Pair, Pair, Material]]
) -> None:
    walls = [wall(p, q, material) for p, q, material in drawn]
    loss, crossed = walls_crossed(walls, np.array(starts, dtype=np.float64), np.array(ends, dtype=np.float64))
    assert loss.shape == crossed.shape == (len(starts), len(ends))
    for n, a in enumerate(starts):
        for m, b in enumerate(ends):
            met = [
                WALL_DB[one.material] for one, (p, q, _) in zip(walls, drawn, strict=True) if crosses(a, b, p, q)
            ]
            assert loss[n, m] == sum(met)
            assert crossed[n, m] == bool(met)


@pytest.mark.parametrize(
    ("a", "b", "p", "q", "is_crossed"),
    [
        ((0, 0), (4, 0), (2, -1), (2, 1), True),
        ((0, 0), (4, 0), (2, 0), (2, 5), True),  # touches the wall's end
        ((0, 0), (2, 0), (2, -1), (2, 1), True),  # stands at the wall
        ((0, 0), (4, 0), (5, -1), (5, 1), False),
        ((0, 0), (4, 0), (1, 0), (3, 0), False),  # along the wall
        ((0, 0), (4, 0), (0, 1), (4, 1), False),
        ((0, 0), (0, 0), (0, -1), (0, 1), False),  # no way at all
        ((0, 0), (4, 0), (2, 0), (2, 0), False),  # no wall at all
    ],
)
def test_cases_by_hand(a: Pair, b: Pair, p: Pair, q: Pair, is_crossed: bool) -> None:
    _, crossed = walls_crossed(
        [wall(p, q, "brick")], np.array([a], dtype=np.float64), np.array([b], dtype=np.float64)
    )
    assert crossed[0, 0] == is_crossed


def test_a_wall_s_own_loss_outranks_its_material() -> None:
    start, end = np.array([[0.0, 0.0]]), np.array([[4.0, 0.0]])
    loss, crossed = walls_crossed([wall((2, -1), (2, 1), "metal", 0.0)], start, end)
    assert (loss[0, 0], crossed[0, 0]) == (0.0, True)


def test_height_does_not_count() -> None:
    start, end = np.array([[0.0, 0.0, 90.0]]), np.array([[4.0, 0.0, 90.0]])
    assert walls_crossed([wall((2, -1), (2, 1), "wood")], start, end)[0][0, 0] == 3.0
