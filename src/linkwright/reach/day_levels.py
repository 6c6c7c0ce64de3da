"""What a day's levels say of a site's reach, without knowing where anybody stood.

Each link's median level is held against the median of its model along the route. Where on the route the talent was
is not known, so the whole spread of the model along it counts as uncertainty, and so does what the meter and the
fading may be off. The differences, weighted by what is known of each, move an offset away from a normal prior about
the models: the posterior of a normal mean (A. Gelman et al., Bayesian Data Analysis, 3rd ed., 2013, section 2.5).
A walk test tells more; the slope stays as it was assumed.
"""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from linkwright.reach.doubt import SLOPE_DB
from linkwright.reach.walk import OFFSET_DB
from linkwright.shoot.learnt import Learnt
from linkwright.units import FloatArray

#: What a receiver's meter and the median of a fading level may be off, standard deviation (assumed) [dB].
METER_DB: Final = 3.0
#: From the middle of a normal distribution to the ends of its central 90 %, in standard deviations.
HALF: Final = 1.6449
MOST_READINGS: Final = 10_000_000


@dataclass(frozen=True, eq=False, slots=True)
class DayLevels:
    """A link of a site: the model's levels along its route (n,) [dBm] without any correction, how far away each
    step is (n,) [m], the median of its better branch [dBm], from how many readings, and on which carrier [MHz]."""

    name: str
    level_dbm: FloatArray
    distance_m: FloatArray
    median_dbm: float
    readings: int
    carrier_mhz: float


def learn_from_day(site: str, links: Sequence[DayLevels], day: datetime.date) -> Learnt | None:
    """The site's offset as the day's levels tell it; None without links."""
    if not links:
        return None
    over = np.array([link.median_dbm - float(np.median(link.level_dbm)) for link in links])
    spread = np.array([np.hypot(float(np.std(link.level_dbm)), METER_DB) for link in links])
    weight = 1.0 / spread**2
    sure = 1.0 / OFFSET_DB**2 + float(weight.sum())
    offset, sigma = float((weight * over).sum()) / sure, sure**-0.5
    distance = np.concatenate([link.distance_m for link in links])
    scatter = float(np.std(over)) if len(links) > 1 else METER_DB
    slope = HALF * SLOPE_DB
    return Learnt(
        site=site, date=day, readings=min(MOST_READINGS, sum(link.readings for link in links)),
        link=links[0].name if len(links) == 1 else None,
        carrier_mhz=round(float(np.mean([link.carrier_mhz for link in links])), 3),
        nearest_m=round(float(distance.min()), 2), farthest_m=round(float(distance.max()), 2),
        reference_m=round(float(10.0 ** np.mean(np.log10(distance))), 2),
        offset_db=round(offset, 2), offset_low_db=round(offset - HALF * sigma, 2),
        offset_high_db=round(offset + HALF * sigma, 2),
        slope_db=0.0, slope_low_db=round(-slope, 2), slope_high_db=round(slope, 2),
        sigma_db=round(max(0.5, scatter), 2),
    )  # fmt: skip
