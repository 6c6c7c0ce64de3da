"""Does it hold? Availability and breaks of links whose local means along their routes are known."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from linkwright.reach.curves import Curves, Pair
from linkwright.reach.path import Spread
from linkwright.units import FloatArray

#: Walking speed [m/s] (common practice, no source).
WALKING_M_S: Final = 1.4
#: A margin that no link reaches: where not even this holds, nothing does [dB]. And how finely one is told.
NEVER_HOLDS_DB: Final = 100.0
LEAST_TO_HOLD_DB: Final = -20.0
FINE_DB: Final = 0.01


@dataclass(frozen=True, slots=True)
class Place:
    """A spot as far as holding goes: its margin over what the receiver needs [dB], its spread, and the branches."""

    margin_db: float
    spread: Spread
    pair: Pair | None


@dataclass(frozen=True, slots=True)
class Holding:
    """Share of time with unbroken audio along the route, and how often it breaks."""

    availability: float
    breaks_per_hour: float


def holding(places: Sequence[Place], doppler: float) -> Holding:
    """How a link holds over its spots, each for the same share of the time; `doppler` in Hz.

    At each spot the outage of the fast fading is averaged over the spread of the local mean.
    """
    curves = Curves.of([(place.spread, place.pair) for place in places])
    margin_db = np.array([place.margin_db for place in places])
    outage, breaks_hz = float(curves.outage(margin_db).mean()), float(curves.breaks_hz(margin_db).mean())
    return Holding(min(1.0, max(0.0, 1.0 - outage)), 3600.0 * doppler * breaks_hz)


@dataclass(frozen=True, slots=True)
class Route:
    """The spots of a link as far as holding goes: margins over the worst one's [dB], spreads and branches."""

    over_db: tuple[float, ...]
    kinds: tuple[tuple[Spread, Pair | None], ...]


def margins_to_hold_db(routes: Sequence[Route], target: float) -> FloatArray:
    """The margin at the worst spot from which each link holds along its route (n,) [dB]; 100 where none does.

    By bisection, all links at once: availability rises with the margin.
    """
    curves = Curves.of([kind for route in routes for kind in route.kinds])
    owner = np.repeat(np.arange(len(routes)), [len(route.over_db) for route in routes])
    share = 1.0 / np.bincount(owner, minlength=len(routes))[owner]
    over_db = np.array([over for route in routes for over in route.over_db])
    low, high = np.full(len(routes), LEAST_TO_HOLD_DB), np.full(len(routes), NEVER_HOLDS_DB)
    for _ in range(int(np.ceil(np.log2((NEVER_HOLDS_DB - LEAST_TO_HOLD_DB) / FINE_DB)))):
        middle = (low + high) / 2.0
        outage = np.bincount(owner, weights=share * curves.outage(middle[owner] + over_db), minlength=len(routes))
        holds = 1.0 - outage >= target
        low, high = np.where(holds, low, middle), np.where(holds, middle, high)
    return high
