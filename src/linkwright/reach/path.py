"""The loss between points of a site: which model applies, chosen by surroundings and line of sight, path by path.

A path's loss is split as its waves are: a steady one that comes straight, and scattered ones; Rice's factor is
their ratio where nothing drawn is in the way. A wall takes its loss from the steady wave and half of it from the
scattered ones, which get around (assumed); the local mean and the factor follow from both.

Not every wall is drawn. On a street, among houses, in rooms and in a hall a path is in sight only so far, unless
the site says that its walls are complete; beyond, its loss is the larger of the model's without sight and of that
in sight with the drawn walls. So a wall changes the paths that cross it, and only for the worse. In the open the
drawn walls are all. Indoors no model is better than free space where it is not stated for. Which of these it was
stands in the ledger, with a remark where a model is stretched.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from linkwright.physics import pathloss, streets
from linkwright.physics.ground_ray import two_rays_db
from linkwright.reach.walls import in_the_way
from linkwright.shoot.evidence import Evidence
from linkwright.shoot.place import Point, Site, Surroundings
from linkwright.units import BoolArray, FloatArray, IntArray

SpreadKind = Literal["normal", "sight"]
#: Which median a path has: with line of sight, without, over flat ground, along a street above 2 GHz.
SIGHT, NO_SIGHT, GROUND, STREET_SIGHT, STREET_NO_SIGHT = range(5)
#: From here on the street model of P.1411 section 4.1.1 is taken where it is stated [MHz].
STREET_FROM_MHZ: Final = 2000.0
#: How far rooms and halls are in sight where nothing is said of their walls, and over how much more that goes over
#: into the row without sight [m] (assumed).
ROOMS_IN_SIGHT_M: Final = 8.0
HALL_IN_SIGHT_M: Final = 20.0
INTO_NO_SIGHT_M: Final = 8.0
#: Share of a wall's loss [dB] that the scattered waves have, which get around it (assumed).
AROUND: Final = 0.5


@dataclass(frozen=True, slots=True)
class Spread:
    """How the local mean scatters about the median from place to place: what is not known of a place of its own.

    "normal": normal in dB with `sigma_db`. "sight": P.1411's line-of-sight variability, known from 1 to 99 % of the
    locations.
    """

    kind: SpreadKind
    sigma_db: float
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

    def covers(self, frequency_mhz: FloatArray, distance_m: FloatArray) -> BoolArray:
        """Whether paths lie inside."""
        inside = (frequency_mhz >= self.mhz[0]) & (frequency_mhz <= self.mhz[1])
        return np.asarray(inside & (distance_m >= self.metres[0]) & (distance_m <= self.metres[1]))


ANYWHERE: Final = Range((0.0, np.inf), (0.0, np.inf))
_P1411_RANGE: Final = Range(pathloss.P1411_TERMINALS_MHZ, pathloss.P1411_TERMINALS_M)
Loss = Callable[[FloatArray, FloatArray], FloatArray]


@dataclass(frozen=True, slots=True)
class Model:
    """What holds for one kind of surroundings.

    rice_db : Rice's factor in sight [dB] (assumed). undrawn_to_m : how far there is sight where walls are not
    complete; `alike_m` : over what distance places have the same shadow. says : what was taken, in words.
    """

    sight_db: Loss
    sight_source: str
    sight: Spread
    no_sight: Spread
    rice_db: float
    alike_m: float
    sight_range: Range = ANYWHERE
    no_sight_db: Loss | None = None
    no_sight_source: str = ""
    no_sight_range: Range = ANYWHERE
    undrawn_to_m: float = np.inf
    indoors: bool = False
    streets: tuple[str, str] | None = None


_P1411 = "ITU-R P.1411 section 4.3.1"
#: Distances over which shadows are alike, out of doors and indoors [m] (assumed).
ALIKE_OUTDOORS_M: Final = 10.0
ALIKE_INDOORS_M: Final = 3.0


def _indoor(sight: str, no_sight: str, in_sight_m: float) -> Model:
    with_sight, without = pathloss.P1238[sight], pathloss.P1238[no_sight]
    ranges = Range(*pathloss.P1238_RANGES[sight]), Range(*pathloss.P1238_RANGES[no_sight])

    def stated(row: pathloss.Indoor, within: Range) -> Loss:
        def loss(f: FloatArray, d: FloatArray) -> FloatArray:
            by_row, free = pathloss.p1238_db(row, f, d), pathloss.free_space_db(f, d)
            return np.where(within.covers(f, d), by_row, np.maximum(by_row, free))

        return loss

    seen, hidden = stated(with_sight, ranges[0]), stated(without, ranges[1])

    def beyond(f: FloatArray, d: FloatArray) -> FloatArray:
        part = np.clip((d - in_sight_m) / INTO_NO_SIGHT_M, 0.0, 1.0)
        return np.asarray(seen(f, d) * (1.0 - part) + hidden(f, d) * part)

    return Model(
        sight_db=seen,
        sight_source=f"ITU-R P.1238-11 site-general, {sight}",
        sight=Spread("normal", with_sight.sigma_db, "modelled", "P.1238-11 sigma"),
        no_sight=Spread("normal", without.sigma_db, "modelled", "P.1238-11 sigma"),
        rice_db=3.0,
        alike_m=ALIKE_INDOORS_M,
        sight_range=ranges[0],
        no_sight_db=beyond,
        no_sight_source=f"ITU-R P.1238-11 site-general, {no_sight}",
        no_sight_range=ranges[1],
        undrawn_to_m=in_sight_m,
        indoors=True,
    )


def _outdoor(urban_db: float, rows: tuple[str, str]) -> Model:
    return Model(
        sight_db=pathloss.free_space_db,
        sight_source=f"{_P1411}, line of sight",
        sight=Spread("sight", pathloss.P1411_SIGMA_DB, "modelled", _P1411),
        no_sight=Spread("normal", pathloss.P1411_SIGMA_DB, "modelled", _P1411),
        rice_db=3.0,
        alike_m=ALIKE_OUTDOORS_M,
        sight_range=_P1411_RANGE,
        no_sight_db=lambda f, d: pathloss.p1411_terminals_db(f, d, urban_db),
        no_sight_source=f"{_P1411}, median",
        no_sight_range=_P1411_RANGE,
        undrawn_to_m=float(pathloss.p1411_sight_distance_m(0.5)),
        streets=rows,
    )


MODELS: Final[dict[Surroundings, Model]] = {
    "open": Model(
        sight_db=pathloss.free_space_db,
        sight_source="ITU-R P.525, free space",
        sight=Spread("normal", 3.0, "assumed", "spread of 3 dB assumed"),
        no_sight=Spread("normal", 7.0, "assumed", "spread of 7 dB assumed"),
        rice_db=6.0,
        alike_m=ALIKE_OUTDOORS_M,
    ),
    "street": _outdoor(pathloss.P1411_URBAN_DB["urban"], ("urban, sight", "high-rise, no sight")),
    "residential": _outdoor(pathloss.P1411_URBAN_DB["suburban"], ("urban, sight", "residential, no sight")),
    "office": _indoor("office, sight", "office, no sight", ROOMS_IN_SIGHT_M),
    "hall": _indoor("industrial, sight", "industrial, no sight", HALL_IN_SIGHT_M),
}


@dataclass(frozen=True, eq=False, slots=True)
class Paths:
    """Losses between points, each array of one shape: the model's median and what is in the way [dB].

    wall_db, around_db : what walls take from the steady wave and from the scattered ones. rice_k : the ratio of the
    two without them, 0 without sight. sight : is there line of sight? choice : which median it is. wall_spread_db :
    how the loss of what is in the way scatters [dB]. top : something was got over rather than through.
    """

    distance_m: FloatArray
    median_db: FloatArray
    wall_db: FloatArray
    wall_spread_db: FloatArray
    rice_k: FloatArray
    sight: BoolArray
    choice: IntArray
    top: BoolArray

    @property
    def around_db(self) -> FloatArray:
        """What the scattered waves lose by what is in the way [dB]."""
        return AROUND * self.wall_db

    @property
    def through_db(self) -> FloatArray:
        """What the local mean loses by what is in the way [dB]."""
        return through_db(self.rice_k, self.wall_db)

    @property
    def loss_db(self) -> FloatArray:
        """All together [dB]: of the local mean."""
        return self.median_db + self.through_db


def through_db(rice_k: FloatArray, wall_db: FloatArray) -> FloatArray:
    """What the local mean loses [dB] by walls that take so much from its steady wave."""
    if not wall_db.any():
        return np.zeros(wall_db.shape)
    left = (rice_k * 10.0 ** (-wall_db / 10.0) + 10.0 ** (-AROUND * wall_db / 10.0)) / (rice_k + 1.0)
    return np.asarray(-10.0 * np.log10(np.maximum(left, 1e-300)))


def paths(site: Site, frequency_mhz: FloatArray, start: FloatArray, end: FloatArray) -> Paths:
    """The paths between points: `start` (n, 3) and `end` (m, 3) [m], a frequency [MHz] for each start: (n, m)."""
    frequency = np.asarray(frequency_mhz, dtype=np.float64)
    return paths_between(site, frequency[:, None], start[:, None, :], end[None, :, :])


def paths_between(site: Site, frequency_mhz: FloatArray, a: FloatArray, b: FloatArray) -> Paths:
    """The paths of a site between points `a` and `b` (..., 3) [m] at frequencies (...) [MHz]; all broadcast."""
    model = MODELS[site.surroundings]
    distance = np.sqrt(np.sum((a - b) ** 2, axis=-1))
    frequency = np.broadcast_to(frequency_mhz, distance.shape)
    choice = np.full(distance.shape, SIGHT, dtype=np.int64)
    median = model.sight_db(frequency, distance)
    wall = spread = np.zeros(distance.shape)
    crossed = top = np.zeros(distance.shape, dtype=np.bool_)
    if site.walls or site.floors:
        # What walls cost hardly changes over a tuning range: one frequency stands for all.
        way = in_the_way(site, a, b, float(np.mean(frequency_mhz)))
        wall, spread, crossed, top = way.loss_db, way.spread_db, way.crossed, way.top
    if site.flat_ground and site.surroundings == "open":
        apart = np.hypot(a[..., 0] - b[..., 0], a[..., 1] - b[..., 1])
        median = two_rays_db(frequency, apart, a[..., 2], b[..., 2])
        choice = np.full(distance.shape, GROUND, dtype=np.int64)
    sight = ~crossed
    if not site.walls_complete and model.no_sight_db is not None:
        beyond = distance > model.undrawn_to_m
        without = np.where(beyond | crossed, model.no_sight_db(frequency, distance), median)
        hidden = without > median + through_db(np.asarray(10.0 ** (rice_db_of(site) / 10.0)), wall)
        median, choice = np.where(hidden, without, median), np.where(hidden, NO_SIGHT, choice)
        wall, spread, sight = np.where(hidden, 0.0, wall), np.where(hidden, 0.0, spread), sight & ~beyond
    if model.streets is not None and np.any(frequency_mhz >= STREET_FROM_MHZ):
        median, choice = _along_streets(model.streets, median, choice, frequency, distance)
    seen = (choice != NO_SIGHT) & (choice != STREET_NO_SIGHT)
    rice_k = np.where(seen, 10.0 ** (rice_db_of(site) / 10.0), 0.0)
    return Paths(distance, median, wall, spread, rice_k, sight, choice, top)


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


def rice_db_of(site: Site) -> float:
    """Rice's factor in sight on a site [dB]: its own, else its surroundings'."""
    return MODELS[site.surroundings].rice_db if site.rice_db is None else site.rice_db


def spread_of(site: Site, sight: bool) -> Spread:
    """How the local mean scatters, with or without line of sight."""
    model = MODELS[site.surroundings]
    return model.sight if sight else model.no_sight


def source_of(site: Site, choice: int, frequency_mhz: float = 600.0, distance_m: float = 10.0) -> str:
    """The document behind a median loss, with a remark where it is stretched beyond what it is stated for."""
    model = MODELS[site.surroundings]
    if choice in (STREET_SIGHT, STREET_NO_SIGHT) and model.streets is not None:
        return f"ITU-R P.1411 section 4.1.1, {model.streets[choice - STREET_SIGHT]}"
    if choice == GROUND:
        return "two rays over flat ground, ITU-R P.527 and P.526"
    if choice == NO_SIGHT:
        over = distance_m < model.undrawn_to_m + INTO_NO_SIGHT_M and model.indoors
        into = "; going over into it" if over else ""
        return f"{model.no_sight_source}{into}{model.no_sight_range.stretched(frequency_mhz, distance_m)}"
    return f"{model.sight_source}{model.sight_range.stretched(frequency_mhz, distance_m)}"


def taken(site: Site) -> str:
    """What is taken for sight on a site where its walls are not all drawn, in words; nothing in the open."""
    model = MODELS[site.surroundings]
    if model.no_sight_db is None:
        return ""
    kind = {"office": "rooms", "hall": "a hall"}.get(site.surroundings, "a street or among houses")
    if site.walls_complete:
        return f"{kind}: clear sight but for the walls drawn"
    return f"{kind}: in sight to {model.undrawn_to_m:.0f} m, without sight beyond"


def xyz(points: tuple[Point, ...]) -> FloatArray:
    """Points as an array of shape (n, 3) [m]."""
    return np.array([(p.x_m, p.y_m, p.z_m) for p in points], dtype=np.float64).reshape(-1, 3)
