"""Walls in the way: which lines cross which walls, and what that costs."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from linkwright.shoot.place import Material, Wall
from linkwright.units import BoolArray, FloatArray

#: Loss through one wall at 0.5-2 GHz [dB]. Assumed: of the order of what ITU-R P.2040 gives for common
#: thicknesses, from memory; a wall's own `loss_db` outranks it.
WALL_DB: Final[dict[Material, float]] = {
    "plasterboard": 2.0,
    "wood": 3.0,
    "glass": 2.0,
    "coated-glass": 25.0,
    "brick": 8.0,
    "concrete": 15.0,
    "metal": 30.0,
}


def wall_db(wall: Wall) -> float:
    """Loss through one wall [dB]: what the shoot says of it, else by its material."""
    return wall.loss_db if wall.loss_db is not None else WALL_DB[wall.material]


def walls_crossed(walls: Sequence[Wall], start_m: FloatArray, end_m: FloatArray) -> tuple[FloatArray, BoolArray]:
    """Loss through walls [dB] and whether any is crossed, for each pair of points on the ground plan.

    `start_m` has shape (n, 2 or more), `end_m` (m, 2 or more), x and y first [m]; both answers have (n, m).
    A line that only touches a wall's end crosses it.
    """
    loss = np.zeros((len(start_m), len(end_m)))
    crossed = np.zeros(loss.shape, dtype=np.bool_)
    a, b = start_m[:, None, :2], end_m[None, :, :2]
    for wall in walls:
        p, q = np.asarray(wall.from_m), np.asarray(wall.to_m)
        meets = (_side(a, b, p) * _side(a, b, q) <= 0.0) & (_side(p, q, a) * _side(p, q, b) <= 0.0)
        meets &= (_side(a, b, p) != 0.0) | (_side(a, b, q) != 0.0)  # a line along the wall is not through it
        loss += np.where(meets, wall_db(wall), 0.0)
        crossed |= meets
    return loss, crossed


def _side(a: FloatArray, b: FloatArray, c: FloatArray) -> FloatArray:
    """On which side of the line a-b the point c lies: the sign of the cross product."""
    return np.asarray(
        (b[..., 0] - a[..., 0]) * (c[..., 1] - a[..., 1]) - (b[..., 1] - a[..., 1]) * (c[..., 0] - a[..., 0])
    )
