"""Will it reach, all over the ground: margins on a grid, along a route over time, best places, least power.

Each is a function of a link at work on a site and gives arrays; nothing here draws or prints.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from linkwright.physics.fading import doppler_hz
from linkwright.reach.budget import Budget
from linkwright.reach.ends import Arriving, Ends, arriving, curves_of
from linkwright.reach.path import xyz
from linkwright.shoot.place import Point, Site, Spot
from linkwright.units import FloatArray, dbm_from_mw

#: Points along the longer side of a map, unless another number is asked for.
GRID_POINTS: Final = 200
#: A map shows this much more than what stands on the site, on each side: a share of its size, and at least [m].
BEYOND: Final = 0.12
BEYOND_LEAST_M: Final = 6.0
#: Steps along a route, unless another number is asked for; and how far apart they are at least [m].
ROUTE_STEPS: Final = 240
#: Steps along each route where places are compared.
COMPARE_STEPS: Final = 60


@dataclass(frozen=True, slots=True)
class AtWork:
    """A link on a carrier at a power, with its route; `rise_db` is how much interference raises its noise [dB]."""

    name: str
    ends: Ends
    carrier_khz: int
    power_mw: float
    route: tuple[Spot, ...]
    rise_db: float = 0.0

    @property
    def mhz(self) -> float:
        """The carrier [MHz]."""
        return self.carrier_khz / 1000.0

    def arriving(self, places: FloatArray, heading: FloatArray | None = None) -> Arriving:
        """What arrives from a talent at `places` (n, 3) [m], walking the way `heading` (n, 3)."""
        return arriving(self.ends, self.mhz, places, heading)

    def margins_db(self, found: Arriving) -> FloatArray:
        """The margins (n,) over what the receiver needs [dB]."""
        needed = self.rise_db + self.ends.receiver.required_cnr_db - dbm_from_mw(self.power_mw)
        return np.asarray(found.best_over_noise_db - needed)


@dataclass(frozen=True, eq=False, slots=True)
class Field:
    """Margins [dB] and availability (0..1) on a grid, each (h, w): y_m (h,) and x_m (w,) [m], rising."""

    x_m: FloatArray
    y_m: FloatArray
    margin_db: FloatArray
    availability: FloatArray


@dataclass(frozen=True, eq=False, slots=True)
class Along:
    """A route over time, each (n,): seconds from its begin, places [m], level [dBm], margin [dB], availability
    (0..1), and how often the audio breaks there [1/s]."""

    time_s: FloatArray
    x_m: FloatArray
    y_m: FloatArray
    level_dbm: FloatArray
    margin_db: FloatArray
    availability: FloatArray
    breaks_hz: FloatArray

    @property
    def break_s(self) -> FloatArray:
        """Mean length of a break at each step (n,) [s]: share of time lost over how often; 0 without breaks."""
        often = np.maximum(self.breaks_hz, 1e-12)
        return np.where(self.breaks_hz > 1e-12, (1.0 - self.availability) / often, 0.0)

    @property
    def broken_s(self) -> float:
        """Mean length of a break along the whole route [s]."""
        rate = float(self.breaks_hz.mean())
        return float((1.0 - self.availability).mean()) / rate if rate > 1e-12 else 0.0


@dataclass(frozen=True, slots=True)
class Placed:
    """How a spot serves for the receivers' antennas: the least margin on any route [dB], whose, and where [m]."""

    spot: str
    margin_db: float
    link: str
    at_m: tuple[float, float]
    availability: float


@dataclass(frozen=True, slots=True)
class LeastPower:
    """The least power step that holds, and what it saves against the highest step.

    holds : whether it does. down_db : how much weaker [dB]. drain_mw : less drain; longer : how many times as long
    the cells last (both None where the drain is not known). products_db : how much weaker the link's products 2A-B
    get, in which it counts twice.
    """

    power_mw: float
    availability: float
    holds: bool
    down_db: float
    products_db: float
    drain_mw: float | None
    longer: float | None


def grid_of(site: Site, points: int = GRID_POINTS, more: Sequence[Point] = ()) -> tuple[FloatArray, FloatArray]:
    """The grid of a map of a site: x_m (w,) and y_m (h,) [m], square cells, `points` along the longer side.

    It shows spots, walls, antennas, `more` points, and some ground about them.
    """
    xs = [point.x_m for point in (*site.spots, *more)] or [0.0]
    ys = [point.y_m for point in (*site.spots, *more)] or [0.0]
    for wall in site.walls:
        xs += [wall.from_m[0], wall.to_m[0]]
        ys += [wall.from_m[1], wall.to_m[1]]
    xs += [one.x_m for one in site.antennas if one.x_m is not None]
    ys += [one.y_m for one in site.antennas if one.y_m is not None]
    beyond = max(BEYOND_LEAST_M, BEYOND * max(max(xs) - min(xs), max(ys) - min(ys)))
    left, right, south, north = min(xs) - beyond, max(xs) + beyond, min(ys) - beyond, max(ys) + beyond
    step = max(right - left, north - south) / (points - 1)
    columns, rows = (np.arange(round(size / step) + 1, dtype=np.float64) for size in (right - left, north - south))
    return np.asarray(left + step * columns), np.asarray(south + step * rows)


def margin_field(link: AtWork, x_m: FloatArray, y_m: FloatArray, z_m: float | None = None) -> Field:
    """The margins of a link with its talent at each point of a grid x_m (w,), y_m (h,), at a height [m].

    The height is that of the route's spots on the average where none is given; a talent who walks is taken at the
    worst turn, as a point has no way.
    """
    height = float(np.mean([spot.z_m for spot in link.route])) if z_m is None else z_m
    x, y = np.meshgrid(x_m, y_m)
    places = np.stack([x.ravel(), y.ravel(), np.full(x.size, height)], axis=1)
    found = link.arriving(places)
    margin = link.margins_db(found)
    outage = curves_of(link.ends, link.mhz, found).outage(margin)
    return Field(x_m, y_m, margin.reshape(x.shape), 1.0 - outage.reshape(x.shape))


def walk(route: Sequence[Spot], speed_m_s: float, steps: int) -> tuple[FloatArray, FloatArray, FloatArray]:
    """A walk along straight ways from spot to spot: seconds (n,), places (n, 3) and ways (n, 3) [m], evenly in
    time.

    One spot is stood at for the steps, a second each.
    """
    corners = xyz(tuple(route))
    legs = np.sqrt((np.diff(corners, axis=0) ** 2).sum(axis=1))
    length = float(legs.sum())
    if length <= 0.0:
        return np.arange(steps, dtype=np.float64), np.repeat(corners[:1], steps, axis=0), np.zeros((steps, 3))
    gone = np.concatenate([[0.0], np.cumsum(legs)])
    at = np.linspace(0.0, length, steps)
    places = np.stack([np.interp(at, gone, corners[:, n]) for n in range(3)], axis=1)
    leg = np.clip(np.searchsorted(gone, at, side="right") - 1, 0, legs.size - 1)
    return at / speed_m_s, places, np.diff(corners, axis=0)[leg]


def along_route(link: AtWork, steps: int = ROUTE_STEPS) -> Along:
    """The margins of a link while its talent walks the route at its speed."""
    time_s, places, ways = walk(link.route, link.ends.speed_m_s, steps)
    found = link.arriving(places, ways)
    margin = link.margins_db(found)
    curves = curves_of(link.ends, link.mhz, found)
    breaks = curves.breaks_hz(margin) * doppler_hz(link.mhz, link.ends.speed_m_s)
    level = found.gain_db + dbm_from_mw(link.power_mw)
    return Along(time_s, places[:, 0], places[:, 1], level, margin, 1.0 - curves.outage(margin), breaks)


def best_places(links: Sequence[AtWork], spots: Sequence[Spot]) -> tuple[Placed, ...]:
    """The spots by how they would serve for all the links' receivers, the best first: by the least margin.

    Antennas of the site stay with the spot that they name; a spot that has none gets the receivers' own.
    """
    found = []
    for spot in spots:
        worst: Placed | None = None
        for link in links:
            moved = replace(link, ends=replace(link.ends, at=spot))
            way = along_route(moved, COMPARE_STEPS)
            n = int(way.margin_db.argmin())
            if worst is None or way.margin_db[n] < worst.margin_db:
                where = (float(way.x_m[n]), float(way.y_m[n]))
                held = float(way.availability.mean())
                worst = Placed(spot.name, float(way.margin_db[n]), link.name, where, held)
        if worst is not None:
            found.append(worst)
    return tuple(sorted(found, key=lambda placed: -placed.margin_db))


def least_power(link: AtWork, budget: Budget, unwanted_dbm: float, target: float) -> LeastPower:
    """The least of the transmitter's power steps at which a link holds, and what that saves.

    budget : the link's, on its carrier; unwanted_dbm : noise and interference [dBm]; target : availability (0..1).
    Where no step holds it is the highest, and nothing is saved.
    """
    transmitter = link.ends.transmitter
    steps = sorted(transmitter.powers_mw)
    held = [(power, budget.holding(power, unwanted_dbm).availability) for power in steps]
    power, availability = next((one for one in held if one[1] >= target), held[-1])
    down = dbm_from_mw(steps[-1]) - dbm_from_mw(power)
    drain = longer = None
    if transmitter.drain_mw is not None:
        a_mw = transmitter.drain_mw.per_radiated_mw
        drain = a_mw * (steps[-1] - power)
        now = transmitter.drain_mw.base + a_mw * power
        longer = (now + drain) / now if now > 0.0 else math.inf
    return LeastPower(power, availability, availability >= target, down, 2.0 * down, drain, longer)
