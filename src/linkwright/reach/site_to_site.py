"""From one site to another: how much of a transmitter there is heard here.

Both ends stand low. In the open: free space, or the plane earth where that loses more. Where either site lies among
buildings: P.1411 section 4.3.1 without line of sight. Beyond 3 km, and across several kinds of ground, that is an
extrapolation; walls of the sites are not counted, so that what is heard is over- rather than underestimated.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from linkwright.physics.pathloss import P1411_URBAN_DB, free_space_db, p1411_no_sight_db, plane_earth_db
from linkwright.shoot.place import Site, Surroundings
from linkwright.units import FloatArray, IntArray

#: Height of antennas on a body or a cart [m] (common practice, no source).
LOW_M: Final = 1.5
#: Sites are never nearer to each other than this [m]: both have some extent.
NEAREST_SITES_M: Final = 30.0
_BUILT: Final[dict[Surroundings, str]] = {"street": "urban", "residential": "suburban"}


def between_sites_db(
    site: Site, others: Sequence[Site], distances_m: FloatArray, of: IntArray, frequencies_mhz: FloatArray
) -> FloatArray:
    """Loss between a site and others, each at its distance [m], at frequencies (m,) [MHz] `of` one of them each
    (m,) [dB]."""
    distance = np.maximum(distances_m, NEAREST_SITES_M)[of]
    free = free_space_db(frequencies_mhz, distance)
    least = np.array([min(_urban_db(site), _urban_db(other)) for other in others])[of]
    built = np.isfinite(least)
    beside = plane_earth_db(distance, LOW_M, LOW_M)
    if built.any():
        no_sight = p1411_no_sight_db(frequencies_mhz[built], distance[built], 0.0) + least[built]
        beside[built] = no_sight
    return np.asarray(np.maximum(free, beside))


def _urban_db(site: Site) -> float:
    """What P.1411 adds about a site [dB]; infinite where it does not lie among buildings."""
    kind = _BUILT.get(site.surroundings)
    return np.inf if kind is None else P1411_URBAN_DB[kind]
