"""Walls and floors in the way: which lines cross which, what that costs, and what bends over the top."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from linkwright.physics.diffraction import over_edge_db
from linkwright.physics.entry import RANGE_MHZ, Building, entry_loss_db, entry_spread_db
from linkwright.shoot.evidence import Evidence, least_sure
from linkwright.shoot.place import Floor, Material, MaterialLoss, Site, Wall
from linkwright.units import BoolArray, FloatArray

#: Loss through one wall about 600 MHz [dB]. Assumed: of the order of what ITU-R P.2040 gives for common
#: thicknesses, from memory, brick as a slab of 10 cm; P.2040 is stated from 1 GHz on, so that it is stretched here.
#: A site's `materials` and a wall's own `loss_db` outrank it.
WALL_DB: Final[dict[Material, float]] = {
    "plasterboard": 2.0,
    "wood": 3.0,
    "glass": 2.0,
    "coated-glass": 25.0,
    "brick": 5.0,
    "concrete": 15.0,
    "metal": 30.0,
}
#: How an assumed loss of a wall may be off, standard deviation (assumed) [dB].
WALL_SPREAD_DB: Final = 2.0
P2040_FROM_MHZ: Final = 1000.0
#: Outer walls of whole buildings by ITU-R P.2109, which also tells how they scatter.
ENTRY: Final[dict[Material, Building]] = {
    "outer-wall": "traditional",
    "insulated-outer-wall": "thermally efficient",
}
#: A crossing this near to an end of the path, as a share of it, is taken to be so far from it.
NEAR_AN_END: Final = 1e-6
Barrier = Wall | Floor


@dataclass(frozen=True, slots=True)
class Through:
    """What it costs to get through something [dB], how that scatters between places [dB], how it is known."""

    loss_db: float
    spread_db: float
    evidence: Evidence
    source: str


def through(barrier: Barrier, materials: Sequence[MaterialLoss] = (), frequency_mhz: float = 600.0) -> Through:
    """The loss through a wall or a floor: its own, else the site's for its material, else the built-in one."""
    if barrier.loss_db is not None:
        return Through(barrier.loss_db, 0.0, "stated", f"{barrier.material}, loss as stated")
    for own in materials:
        if own.material == barrier.material:
            return Through(own.loss_db, 0.0, "stated", f"{barrier.material}: {own.source}")
    if barrier.material in ENTRY:
        building, f = ENTRY[barrier.material], min(max(frequency_mhz, RANGE_MHZ[0]), RANGE_MHZ[1])
        loss, spread = float(entry_loss_db(f, 0.5, building)), float(entry_spread_db(f, building))
        return Through(loss, spread, "modelled", f"{building} building, ITU-R P.2109-2")
    stretched = "; stretched: stated from 1 GHz" if frequency_mhz < P2040_FROM_MHZ else ""
    says = f"{barrier.material}, about as by ITU-R P.2040{stretched}"
    return Through(WALL_DB[barrier.material], WALL_SPREAD_DB, "assumed", says)


def wall_db(wall: Wall) -> float:
    """Loss through one wall [dB]: what the shoot says of it, else by its material."""
    return through(wall).loss_db


@dataclass(frozen=True, eq=False, slots=True)
class InTheWay:
    """What stands between points, each of their shape: loss and its scatter [dB]; is the line of sight blocked?

    top : where some wall was got over rather than through.
    """

    loss_db: FloatArray
    spread_db: FloatArray
    crossed: BoolArray
    top: BoolArray


def in_the_way(site: Site, start_m: FloatArray, end_m: FloatArray, frequency_mhz: float) -> InTheWay:
    """What a site's walls and floors cost between points `start_m` and `end_m` (..., 3) [m], at one frequency.

    A line that only touches a wall's end crosses it. Over a wall with a height waves also bend: what costs less
    counts, and there is sight over its top.
    """
    a, b = np.broadcast_arrays(start_m, end_m)
    shape = a.shape[:-1]
    loss, variance = np.zeros(shape), np.zeros(shape)
    crossed, top = np.zeros(shape, dtype=np.bool_), np.zeros(shape, dtype=np.bool_)
    for wall in site.walls:
        cost = through(wall, site.materials, frequency_mhz)
        meets, share = _meets(wall, start_m[..., :2], end_m[..., :2])
        if wall.height_m is None:
            loss += np.where(meets, cost.loss_db, 0.0)
            variance += np.where(meets, cost.spread_db**2, 0.0)
            crossed |= meets
            continue
        if not meets.any():
            continue
        along, here, there = np.broadcast_to(share, shape)[meets], a[meets], b[meets]
        over = over_edge_db(here, there, along, wall.height_m, frequency_mhz)
        is_over = over < cost.loss_db
        loss[meets] += np.where(is_over, over, cost.loss_db)
        variance[meets] += np.where(is_over, 0.0, cost.spread_db**2)
        crossed[meets] |= here[:, 2] + along * (there[:, 2] - here[:, 2]) < wall.height_m
        top[meets] |= is_over & (over > 0.0)
    for floor in site.floors:
        cost = through(floor, site.materials, frequency_mhz)
        meets = (start_m[..., 2] - floor.z_m) * (end_m[..., 2] - floor.z_m) < 0.0
        loss += np.where(meets, cost.loss_db, 0.0)
        variance += np.where(meets, cost.spread_db**2, 0.0)
        crossed |= meets
    return InTheWay(loss, np.sqrt(variance), crossed, top)


def named(site: Site, start_m: FloatArray, end_m: FloatArray, frequency_mhz: float) -> tuple[Evidence, str]:
    """How the loss of what stands between two points (3,) is known, and from where, each thing once."""
    costs: list[Through] = []
    barriers: tuple[Barrier, ...] = (*site.walls, *site.floors)
    for barrier in barriers:
        kept = (barrier,) if isinstance(barrier, Wall) else (), () if isinstance(barrier, Wall) else (barrier,)
        alone = site.model_copy(update={"walls": kept[0], "floors": kept[1]})
        way = in_the_way(alone, start_m, end_m, frequency_mhz)
        if way.loss_db > 0.0:
            cost = through(barrier, site.materials, frequency_mhz)
            if way.top:
                cost = Through(0.0, 0.0, "modelled", f"over the top of {barrier.material}, ITU-R P.526")
            costs.append(cost)
    sources = list(dict.fromkeys(cost.source for cost in costs))
    return least_sure(*(cost.evidence for cost in costs)), "; ".join(sources)


def _meets(wall: Wall, a: FloatArray, b: FloatArray) -> tuple[BoolArray, FloatArray]:
    """Which lines a-b cross a wall on the ground plan, and where along them (a share, both ends excluded)."""
    p, q = np.asarray(wall.from_m), np.asarray(wall.to_m)
    at_p, at_q, at_a, at_b = _side(a, b, p), _side(a, b, q), _side(p, q, a), _side(p, q, b)
    meets = (at_p * at_q <= 0.0) & (at_a * at_b <= 0.0)
    meets &= (at_p != 0.0) | (at_q != 0.0)  # a line along the wall is not through it
    if wall.height_m is None:
        return meets, at_a
    apart = at_a - at_b
    share = at_a / np.where(apart == 0.0, 1.0, apart)
    return meets, np.clip(share, NEAR_AN_END, 1.0 - NEAR_AN_END)


def _side(a: FloatArray, b: FloatArray, c: FloatArray) -> FloatArray:
    """On which side of the line a-b the point c lies: the sign of the cross product."""
    return np.asarray(
        (b[..., 0] - a[..., 0]) * (c[..., 1] - a[..., 1]) - (b[..., 1] - a[..., 1]) * (c[..., 0] - a[..., 0])
    )
