"""Will it reach, all over the ground: what is in hand on a grid, along a route over time, best places, least power.

Each is a function of a link at work on a site and gives arrays; nothing here draws or prints.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from linkwright.physics.harm import read_curves
from linkwright.reach.arriving import Arriving, arriving, stand_at
from linkwright.reach.budget import Budget
from linkwright.reach.doubt import CASES, Own, body_db_of, case_at, kit_db_of, laid, own_of
from linkwright.reach.ends import Ends
from linkwright.reach.hand import USUAL, Wanted, states_of
from linkwright.reach.path import xyz
from linkwright.reach.spot_levels import Learned
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
    """A link on a carrier at a power, with the route of whoever goes; `rise_db` is how much interference raises its
    noise [dB], `wanted` what it is to keep to."""

    name: str
    ends: Ends
    carrier_khz: int
    power_mw: float
    route: tuple[Spot, ...]
    rise_db: float = 0.0
    wanted: Wanted = USUAL
    readings: Learned | None = None

    @property
    def mhz(self) -> float:
        """The carrier [MHz]."""
        return self.carrier_khz / 1000.0

    @property
    def x_db(self) -> float:
        """Power less the rise of the noise less what is needed [dB]."""
        return dbm_from_mw(self.power_mw) - self.rise_db - self.ends.receiver.required_cnr_db

    def arriving(
        self, places: FloatArray, heading: FloatArray | None = None, speed_m_s: FloatArray | None = None
    ) -> Arriving:
        """What arrives with whoever goes at `places` (n, 3) [m], walking the way `heading` (n, 3)."""
        speeds = np.full(len(places), self.ends.usual_m_s) if speed_m_s is None else speed_m_s
        return arriving([stand_at(self.ends, self.mhz, places, speeds, heading)])

    def margins_db(self, arrived: Arriving) -> FloatArray:
        """The margins (n,) of the mean level over all turns [dB]."""
        return np.asarray(self.x_db + arrived.mean_gain_db - arrived.noise_dbm[:, 0])

    def in_hand_db(self, arrived: Arriving) -> FloatArray:
        """What the link has in hand at each place of `arrived` (n,) [dB], as if the talent were there all the
        time."""
        course = states_of(arrived).course
        limit = np.full(course.over_db.size, self.wanted.harm_s)
        left = self.x_db + course.over_db - course.margins_db(limit)
        if self.readings is None:
            return np.asarray(left + doubt_at(self.ends, arrived, self.wanted.sure))
        from scipy.special import ndtri

        own = own_of(self.ends.site, arrived)
        shift, spread = self.readings.each(self.ends, own, arrived)
        return np.asarray(left + shift - float(ndtri(self.wanted.sure)) * spread)


@dataclass(frozen=True, eq=False, slots=True)
class MarginField:
    """What is in hand, and margins of the mean level [dB], on a grid, each (h, w): y_m (h,) and x_m (w,) [m],
    rising."""

    x_m: FloatArray
    y_m: FloatArray
    in_hand_db: FloatArray
    margin_db: FloatArray


@dataclass(frozen=True, eq=False, slots=True)
class Along:
    """A route over time, each (n,): seconds from its begin, places [m], level of the mean over all turns [dBm], its
    margin [dB], what is in hand there [dB], and the share of time that holds a break in the median (0..1)."""

    time_s: FloatArray
    x_m: FloatArray
    y_m: FloatArray
    level_dbm: FloatArray
    margin_db: FloatArray
    in_hand_db: FloatArray
    harm: FloatArray


@dataclass(frozen=True, slots=True)
class SpotServed:
    """How a spot serves for the receivers' antennas: the least in hand on any route [dB], whose, and where [m]."""

    spot: str
    in_hand_db: float
    link: str
    at_m: tuple[float, float]


@dataclass(frozen=True, slots=True)
class LeastPower:
    """The least power step that holds, and what it saves against the highest step.

    in_hand_db : at that power; holds : whether it does. down_db : how much weaker [dB]. drain_mw : less drain;
    longer : how many times as long the cells last (both None where the drain is not known). products_db : how much
    weaker the link's products 2A-B get, in which it counts twice.
    """

    power_mw: float
    in_hand_db: float
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
    xs += [antenna.x_m for antenna in site.antennas if antenna.x_m is not None]
    ys += [antenna.y_m for antenna in site.antennas if antenna.y_m is not None]
    beyond = max(BEYOND_LEAST_M, BEYOND * max(max(xs) - min(xs), max(ys) - min(ys)))
    left, right, south, north = min(xs) - beyond, max(xs) + beyond, min(ys) - beyond, max(ys) + beyond
    step = max(right - left, north - south) / (points - 1)
    columns, rows = (np.arange(round(size / step) + 1, dtype=np.float64) for size in (right - left, north - south))
    return np.asarray(left + step * columns), np.asarray(south + step * rows)


def margin_field(link: AtWork, x_m: FloatArray, y_m: FloatArray, z_m: float | None = None) -> MarginField:
    """What a link has in hand with its talent at each point of a grid x_m (w,), y_m (h,), at a height [m].

    The height is that of the route's spots on the average where none is given; a talent who looks where it walks is
    taken at the worst turn, as a point has no way.
    """
    height = float(np.mean([spot.z_m for spot in link.route])) if z_m is None else z_m
    x, y = np.meshgrid(x_m, y_m)
    places = np.stack([x.ravel(), y.ravel(), np.full(x.size, height)], axis=1)
    arrived = link.arriving(places)
    in_hand = link.in_hand_db(arrived)
    return MarginField(x_m, y_m, in_hand.reshape(x.shape), link.margins_db(arrived).reshape(x.shape))


def doubt_at(ends: Ends, arrived: Arriving, sure: float) -> FloatArray:
    """What is not known takes of each place's level by itself, as sure as is wanted (n,) [dB]: no more than
    nothing."""
    own = own_of(ends.site, arrived)
    keys, which = np.unique(np.stack([own.sigma_db, own.in_sight], axis=1).round(2), axis=0, return_inverse=True)
    common = np.full(len(keys), np.hypot(body_db_of(ends), kit_db_of(ends)))
    rising = np.repeat(np.arange(CASES, dtype=np.float64)[:, None], len(keys), axis=1)
    deviation = laid(Own(keys[:, 0], keys[:, 1] > 0.0), common, rising)
    return np.asarray(deviation[case_at(1.0 - sure)][which.reshape(-1)])


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
    time_s, places, ways = walk(link.route, link.ends.usual_m_s, steps)
    arrived = link.arriving(places, ways)
    course = states_of(arrived).course
    harm = np.exp(read_curves(course.curves, np.arange(course.over_db.size), link.x_db + course.over_db)) / 3600.0
    level = arrived.mean_gain_db + dbm_from_mw(link.power_mw)
    return Along(
        time_s, places[:, 0], places[:, 1], level, link.margins_db(arrived), link.in_hand_db(arrived), harm
    )


def best_places(links: Sequence[AtWork], spots: Sequence[Spot]) -> tuple[SpotServed, ...]:
    """The spots by how they would serve for all the links' ends that stand, the best first: by the least in hand.

    Antennas of the site stay with the spot that they name; a spot that has none gets the receivers' own.
    """
    served = []
    for spot in spots:
        worst: SpotServed | None = None
        for link in links:
            stands = link.ends.sent_from is None
            there = replace(link.ends, at=spot, way=()) if stands else replace(link.ends, sent_from=spot)
            moved = replace(link, ends=there)
            way = along_route(moved, COMPARE_STEPS)
            n = int(way.in_hand_db.argmin())
            if worst is None or way.in_hand_db[n] < worst.in_hand_db:
                worst = SpotServed(
                    spot.name, float(way.in_hand_db[n]), link.name, (float(way.x_m[n]), float(way.y_m[n]))
                )
        if worst is not None:
            served.append(worst)
    return tuple(sorted(served, key=lambda placed: -placed.in_hand_db))


def least_power(link: AtWork, budget: Budget, unwanted_dbm: float, reserve_db: float = 0.0) -> LeastPower:
    """The least of the transmitter's power steps at which a link holds with a reserve, and what that saves.

    budget : the link's, on its carrier; unwanted_dbm : noise and interference [dBm]; reserve_db : in hand beyond
    holding [dB]. Where no step has that it is the highest, and nothing is saved.
    """
    transmitter = link.ends.transmitter
    steps = sorted(transmitter.powers_mw)
    held = [(power, budget.told(power, unwanted_dbm).in_hand_db) for power in steps]
    power, in_hand = next((place for place in held if place[1] >= reserve_db), held[-1])
    down = dbm_from_mw(steps[-1]) - dbm_from_mw(power)
    drain = longer = None
    if transmitter.drain_mw is not None:
        a_mw = transmitter.drain_mw.per_radiated_mw
        drain = a_mw * (steps[-1] - power)
        now = transmitter.drain_mw.base + a_mw * power
        longer = (now + drain) / now if now > 0.0 else math.inf
    return LeastPower(power, in_hand, in_hand >= 0.0, down, 2.0 * down, drain, longer)
