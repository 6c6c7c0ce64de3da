"""Does it hold? Availability and breaks of a link whose local means along its route are known."""

from __future__ import annotations

import functools
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from linkwright.physics.fading import diversity_crossing_rate_hz, diversity_outage
from linkwright.physics.pathloss import p1411_sight_variability_db
from linkwright.reach.path import Spread, SpreadKind
from linkwright.units import FloatArray

#: Walking speed [m/s] (common practice, no source).
WALKING_M_S: Final = 1.4


@dataclass(frozen=True, slots=True)
class Place:
    """A spot as far as holding goes: its margin over what the receiver needs [dB], and its spread."""

    margin_db: float
    spread: Spread


@dataclass(frozen=True, slots=True)
class Holding:
    """Share of time with unbroken audio along the route, and how often it breaks."""

    availability: float
    breaks_per_hour: float


def holding(places: Sequence[Place], rho: float | None, doppler: float) -> Holding:
    """How a link holds over its spots, each for the same share of the time.

    `rho` is the correlation of the two branches' powers, None for one branch; `doppler` in Hz. At each spot
    the outage of the fast fading is averaged over the spread of the local mean.
    """
    outage = crossings = 0.0
    for place in places:
        offset_db, weight = spread_nodes(place.spread.kind, place.spread.sigma_db)
        x = 10.0 ** (-(place.margin_db + offset_db) / 10.0)
        k = place.spread.rice_k
        outage += float(weight @ diversity_outage(x, k, rho)) / len(places)
        crossings += float(weight @ diversity_crossing_rate_hz(x, k, rho, doppler)) / len(places)
    return Holding(min(1.0, max(0.0, 1.0 - outage)), 3600.0 * crossings)


@functools.cache
def spread_nodes(kind: SpreadKind, sigma_db: float) -> tuple[FloatArray, FloatArray]:
    """Offsets of the local mean from the median [dB] and their probabilities, each shape (n,).

    Cells of probability, narrower towards the bad end where the outage is made, each at its middle.
    """
    from scipy.special import ndtri

    tail = 10.0 ** -np.linspace(1.0, 6.0, 51)
    edges = np.unique(np.concatenate([[0.0], tail, np.linspace(0.1, 0.9, 33), 1.0 - tail[:21], [1.0]]))
    worse, weight = (edges[1:] + edges[:-1]) / 2.0, np.diff(edges)
    if kind == "normal":
        return np.asarray(sigma_db * ndtri(worse)), weight
    return -p1411_sight_variability_db(1.0 - worse), weight
