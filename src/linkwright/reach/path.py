"""The loss between points of a site: which model applies, chosen by surroundings and line of sight, path by path.

Line of sight is what the drawn walls leave. Out of doors among buildings not every wall is drawn: there a path's
loss is the larger of what the model says that knows no walls (P.1411 section 4.3.1) and of the line of sight with
the drawn walls. So a wall changes the paths that cross it, and only for the worse. Where the site says that its
drawn walls are complete, and by default indoors and in the open, a wall adds its loss to the line-of-sight median;
indoors with walls that are not complete P.1238's row without sight takes the place of the model without walls.
Which of these it was stands in the ledger, with a remark where a model is stretched beyond its stated range.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Final, Literal

import numpy as np

from linkwright.physics import pathloss, streets
from linkwright.reach.walls import in_the_way
from linkwright.shoot.evidence import Evidence
from linkwright.shoot.place import Point, Site, Surroundings
from linkwright.units import BoolArray, FloatArray, IntArray

SpreadKind = Literal["normal", "sight"]
#: Which median a path has: with line of sight, without, over flat ground, along a street above 2 GHz.
SIGHT, NO_SIGHT, GROUND, STREET_SIGHT, STREET_NO_SIGHT = range(5)
#: From here on the street model of P.1411 section 4.1.1 is taken where it is stated [MHz].
STREET_FROM_MHZ: Final = 2000.0
#: Antennas lie no lower than this for the two rays [m].
LEAST_HEIGHT_M: Final = 0.1


@dataclass(frozen=True, slots=True)
class Spread:
    """How the local mean scatters about the median from place to place.

    "normal": normal in dB with `sigma_db`. "sight": P.1411's line-of-sight variability. `rice_k` is the ratio
    of the steady wave to the scattered ones that the fast fading at one place has (0: Rayleigh).
    """

    kind: SpreadKind
    sigma_db: float
    rice_k: float
    evidence: Evidence
    source: str


@dataclass(frozen=True, slots=True)
class Range:
    """What a model is stated for: frequencies [MHz], distances [m]."""

    mhz: tuple[float, float]
    metres: tuple[float, float]

    def stretched(self, frequency_mhz: float, distance_m: float) -> str:
        """A remark where a path lies outside; nothing inside."""
        if not self.mhz[0] <= frequency_mhz <= self.mhz[1]:
            return f"; stretched: stated for {self.mhz[0]:g} to {self.mhz[1]:g} MHz"
        if not self.metres[0] <= distance_m <= self.metres[1]:
            return f"; stretched: stated for {self.metres[0]:g} to {self.metres[1]:g} m"
        return ""


ANYWHERE: Final = Range((0.0, np.inf), (0.0, np.inf))
_P1411_RANGE: Final = Range(pathloss.P1411_TERMINALS_MHZ, pathloss.P1411_TERMINALS_M)


@dataclass(frozen=True, slots=True)
class Model:
    """What holds for one kind of surroundings.

    complete : whether drawn walls are taken to be all that there are, unless the site says otherwise.
    undrawn_to_m : how far there is sight where walls are not complete.
    """

    sight_db: Callable[[FloatArray, FloatArray], FloatArray]
    sight_source: str
    sight: Spread
    no_sight: Spread
    sight_range: Range = ANYWHERE
    no_sight_db: Callable[[FloatArray, FloatArray], FloatArray] | None = None
    no_sight_source: str = ""
    no_sight_range: Range = ANYWHERE
    complete: bool = True
    undrawn_to_m: float = np.inf
    streets: tuple[str, str] | None = None


def _rice(k_db: float) -> float:
    return float(10.0 ** (k_db / 10.0))


_P1411 = "ITU-R P.1411 section 4.3.1"
_FADING = "Rice factor assumed"
_RAYLEIGH = "Rayleigh without line of sight"


def _indoor(sight: str, no_sight: str) -> Model:
    with_sight, without = pathloss.P1238[sight], pathloss.P1238[no_sight]
    return Model(
        sight_db=lambda f, d: pathloss.p1238_db(with_sight, f, d),
        sight_source=f"ITU-R P.1238-11 site-general, {sight}",
        sight=Spread("normal", with_sight.sigma_db, _rice(3.0), "modelled", f"P.1238-11 sigma; {_FADING}: 3 dB"),
        no_sight=Spread("normal", without.sigma_db, 0.0, "modelled", f"P.1238-11 sigma; {_RAYLEIGH}"),
        sight_range=Range(*pathloss.P1238_RANGES[sight]),
        no_sight_db=lambda f, d: pathloss.p1238_db(without, f, d),
        no_sight_source=f"ITU-R P.1238-11 site-general, {no_sight}",
        no_sight_range=Range(*pathloss.P1238_RANGES[no_sight]),
    )


def _outdoor(urban_db: float, rows: tuple[str, str]) -> Model:
    return Model(
        sight_db=pathloss.free_space_db,
        sight_source=f"{_P1411}, line of sight",
        sight=Spread("sight", pathloss.P1411_SIGMA_DB, _rice(3.0), "modelled", f"{_P1411}; {_FADING}: 3 dB"),
        no_sight=Spread("normal", pathloss.P1411_SIGMA_DB, 0.0, "modelled", f"{_P1411}; {_RAYLEIGH}"),
        sight_range=_P1411_RANGE,
        no_sight_db=lambda f, d: pathloss.p1411_terminals_db(f, d, urban_db),
        no_sight_source=f"{_P1411}, median",
        no_sight_range=_P1411_RANGE,
        complete=False,
        undrawn_to_m=float(pathloss.p1411_sight_distance_m(0.5)),
        streets=rows,
    )


MODELS: Final[dict[Surroundings, Model]] = {
    "open": Model(
        sight_db=pathloss.free_space_db,
        sight_source="ITU-R P.525, free space",
        sight=Spread("normal", 3.0, _rice(6.0), "assumed", f"spread of 3 dB assumed; {_FADING}: 6 dB"),
        no_sight=Spread("normal", 7.0, 0.0, "assumed", f"spread of 7 dB assumed; {_RAYLEIGH}"),
    ),
    "street": _outdoor(pathloss.P1411_URBAN_DB["urban"], ("urban, sight", "high-rise, no sight")),
    "residential": _outdoor(pathloss.P1411_URBAN_DB["suburban"], ("urban, sight", "residential, no sight")),
    "office": _indoor("office, sight", "office, no sight"),
    "hall": _indoor("industrial, sight", "industrial, no sight"),
}


@dataclass(frozen=True, eq=False, slots=True)
class Paths:
    """Losses between n and m points, each array (n, m): the model's median and what is in the way [dB].

    sight : is there line of sight? choice : which median it is. wall_spread_db : how the loss of what is in the way
    scatters [dB]. top : something was got over rather than through.
    """

    distance_m: FloatArray
    median_db: FloatArray
    wall_db: FloatArray
    wall_spread_db: FloatArray
    sight: BoolArray
    choice: IntArray
    top: BoolArray

    @property
    def loss_db(self) -> FloatArray:
        """All together [dB]."""
        return self.median_db + self.wall_db


def paths(site: Site, frequency_mhz: FloatArray, start: FloatArray, end: FloatArray) -> Paths:
    """The paths of a site between points: `start` (n, 3) and `end` (m, 3) [m], a frequency [MHz] for each start."""
    model = MODELS[site.surroundings]
    distance = np.sqrt(np.sum((start[:, None, :] - end[None, :, :]) ** 2, axis=2))
    frequency = np.broadcast_to(np.asarray(frequency_mhz, dtype=np.float64)[:, None], distance.shape)
    choice = np.zeros(distance.shape, dtype=np.int64)
    median = model.sight_db(frequency, distance)
    wall = spread = np.zeros(distance.shape)
    crossed = top = np.zeros(distance.shape, dtype=np.bool_)
    if site.walls or site.floors:
        # What walls cost hardly changes over a tuning range: one frequency stands for all.
        way = in_the_way(site, start, end, float(np.mean(frequency_mhz)))
        wall, spread, crossed, top = way.loss_db, way.spread_db, way.crossed, way.top
    if site.flat_ground and site.surroundings == "open":
        median, choice = _over_ground(median, frequency, distance, start, end)
    complete = model.complete if site.walls_complete is None else site.walls_complete
    sight = ~crossed
    if not complete and model.no_sight_db is not None:
        beyond = distance > model.undrawn_to_m
        without = np.where(beyond | crossed, model.no_sight_db(frequency, distance), median)
        hidden = without > median + wall
        median, choice = np.where(hidden, without, median), np.where(hidden, NO_SIGHT, choice)
        wall, spread, sight = np.where(hidden, 0.0, wall), np.where(hidden, 0.0, spread), sight & ~beyond
    if model.streets is not None and np.any(frequency_mhz >= STREET_FROM_MHZ):
        median, choice = _along_streets(model.streets, median, choice, frequency, distance)
    return Paths(distance, median, wall, spread, sight, choice, top)


def _over_ground(
    free: FloatArray, frequency: FloatArray, distance: FloatArray, start: FloatArray, end: FloatArray
) -> tuple[FloatArray, IntArray]:
    """Free space, or the median of two rays over flat ground where that loses more and is stated."""
    low, high = streets.TWO_RAY_MHZ
    stated = (frequency >= low) & (frequency <= high) & (distance <= streets.TWO_RAY_TO_M) & (distance > 0.0)
    a, b = (np.maximum(points[:, 2], LEAST_HEIGHT_M) for points in (start, end))
    rays = streets.two_ray(
        np.where(stated, frequency, low), np.where(stated, distance, 1.0), a[:, None], b[None, :]
    )
    more = stated & (rays.median_db > free)
    return np.where(more, rays.median_db, free), np.where(more, GROUND, SIGHT)


def _along_streets(
    rows: tuple[str, str], median: FloatArray, choice: IntArray, frequency: FloatArray, distance: FloatArray
) -> tuple[FloatArray, IntArray]:
    """P.1411 section 4.1.1 for those paths for which it is stated, above `STREET_FROM_MHZ`."""
    median, choice = median.copy(), choice.copy()
    for name, before, after in ((rows[0], SIGHT, STREET_SIGHT), (rows[1], NO_SIGHT, STREET_NO_SIGHT)):
        row = streets.P1411_STREET[name]
        stated = (choice == before) & (frequency >= STREET_FROM_MHZ)
        stated &= streets.street_covers(row, frequency, distance)
        median[stated] = streets.street_db(row, frequency[stated], distance[stated])
        choice[stated] = after
    return median, choice


def spread_of(site: Site, sight: bool, wall_spread_db: float = 0.0) -> Spread:
    """How the local mean scatters and how it fades, with or without line of sight.

    The scatter of walls is added; a walk test outranks the model.
    """
    model = MODELS[site.surroundings]
    spread = model.sight if sight else model.no_sight
    if site.learnt is not None:
        source = f"walk test; {_FADING if sight else _RAYLEIGH}"
        return Spread("normal", round(site.learnt.sigma_db, 1), spread.rice_k, "measured", source)
    if wall_spread_db > 0.0:
        both = round(2.0 * float(np.hypot(spread.sigma_db, wall_spread_db))) / 2.0
        return replace(spread, kind="normal", sigma_db=both, source=f"{spread.source}; with that of outer walls")
    return spread


def source_of(site: Site, choice: int, frequency_mhz: float = 600.0, distance_m: float = 10.0) -> str:
    """The document behind a median loss, with a remark where it is stretched beyond what it is stated for."""
    model = MODELS[site.surroundings]
    if choice in (STREET_SIGHT, STREET_NO_SIGHT) and model.streets is not None:
        return f"ITU-R P.1411 section 4.1.1, {model.streets[choice - STREET_SIGHT]}"
    if choice == GROUND:
        return "ITU-R P.1411 section 4.1.2, two rays over flat ground, median"
    if choice == NO_SIGHT:
        return f"{model.no_sight_source}{model.no_sight_range.stretched(frequency_mhz, distance_m)}"
    return f"{model.sight_source}{model.sight_range.stretched(frequency_mhz, distance_m)}"


def xyz(points: tuple[Point, ...]) -> FloatArray:
    """Points as an array of shape (n, 3) [m]."""
    return np.array([(p.x_m, p.y_m, p.z_m) for p in points], dtype=np.float64).reshape(-1, 3)
