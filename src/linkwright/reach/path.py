"""The loss between points of a site: which model applies, chosen by surroundings and line of sight.

Line of sight is what the drawn walls leave. Where a street or residential site draws no walls, the model's own
distance of sight decides (P.1411 section 4.3.1). A wall in the way adds its loss to the line-of-sight median and
takes the spread and the fading of a link without sight.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from linkwright.physics import pathloss
from linkwright.reach.walls import walls_crossed
from linkwright.shoot.evidence import Evidence
from linkwright.shoot.place import Point, Site, Surroundings
from linkwright.units import BoolArray, FloatArray

SpreadKind = Literal["normal", "sight"]


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
class Model:
    """What holds for one kind of surroundings."""

    sight_db: Callable[[FloatArray, FloatArray], FloatArray]
    sight_source: str
    sight: Spread
    no_sight: Spread
    undrawn_db: Callable[[FloatArray, FloatArray], FloatArray] | None = None
    undrawn_source: str = ""


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
    )


def _outdoor(urban_db: float) -> Model:
    return Model(
        sight_db=pathloss.free_space_db,
        sight_source=f"{_P1411}, line of sight",
        sight=Spread("sight", pathloss.P1411_SIGMA_DB, _rice(3.0), "modelled", f"{_P1411}; {_FADING}: 3 dB"),
        no_sight=Spread("normal", pathloss.P1411_SIGMA_DB, 0.0, "modelled", f"{_P1411}; {_RAYLEIGH}"),
        undrawn_db=lambda f, d: pathloss.p1411_terminals_db(f, d, urban_db),
        undrawn_source=f"{_P1411}, median",
    )


MODELS: Final[dict[Surroundings, Model]] = {
    "open": Model(
        sight_db=pathloss.free_space_db,
        sight_source="ITU-R P.525, free space",
        sight=Spread("normal", 3.0, _rice(6.0), "assumed", f"spread of 3 dB assumed; {_FADING}: 6 dB"),
        no_sight=Spread("normal", 7.0, 0.0, "assumed", f"spread of 7 dB assumed; {_RAYLEIGH}"),
    ),
    "street": _outdoor(pathloss.P1411_URBAN_DB["urban"]),
    "residential": _outdoor(pathloss.P1411_URBAN_DB["suburban"]),
    "office": _indoor("office, sight", "office, no sight"),
    "hall": _indoor("industrial, sight", "industrial, no sight"),
}


@dataclass(frozen=True, slots=True)
class Paths:
    """Losses between n and m points, each array (n, m): the model's median and the walls [dB]; is there sight?"""

    median_db: FloatArray
    wall_db: FloatArray
    sight: BoolArray
    by_model: BoolArray

    @property
    def loss_db(self) -> FloatArray:
        """All together [dB]."""
        return self.median_db + self.wall_db


def paths(site: Site, frequency_mhz: FloatArray, start: FloatArray, end: FloatArray) -> Paths:
    """The paths of a site between points: `start` (n, 3) and `end` (m, 3) [m], a frequency [MHz] for each start."""
    model = MODELS[site.surroundings]
    distance = np.sqrt(np.sum((start[:, None, :] - end[None, :, :]) ** 2, axis=2))
    wall, crossed = walls_crossed(site.walls, start, end)
    frequency = np.broadcast_to(np.asarray(frequency_mhz, dtype=np.float64)[:, None], distance.shape)
    median = model.sight_db(frequency, distance)
    beyond = np.zeros(distance.shape, dtype=np.bool_)
    if model.undrawn_db is not None and not site.walls:
        beyond = distance > pathloss.p1411_sight_distance_m(0.5)
        median = np.where(beyond, model.undrawn_db(frequency, distance), median)
    return Paths(median, wall, ~(crossed | beyond), beyond)


def spread_of(site: Site, sight: bool) -> Spread:
    """How the local mean scatters and how it fades, with or without line of sight."""
    model = MODELS[site.surroundings]
    return model.sight if sight else model.no_sight


def source_of(site: Site, by_model: bool) -> str:
    """The document behind the median loss."""
    model = MODELS[site.surroundings]
    return model.undrawn_source if by_model else model.sight_source


def xyz(points: tuple[Point, ...]) -> FloatArray:
    """Points as an array of shape (n, 3) [m]."""
    return np.array([(p.x_m, p.y_m, p.z_m) for p in points], dtype=np.float64).reshape(-1, 3)
