"""From one site to another: how much of a transmitter there is heard here.

Both ends stand low. In the open: free space, or the plane earth where that loses more. Where either site lies among
buildings: P.1411 section 4.3.1 without line of sight. Beyond 3 km, and across several kinds of ground, that is an
extrapolation; walls of the sites are not counted, so that what is heard is over- rather than underestimated.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from linkwright.physics.pathloss import P1411_URBAN_DB, free_space_db, p1411_no_sight_db, plane_earth_db
from linkwright.shoot.place import Site, Surroundings
from linkwright.units import FloatArray

#: Height of antennas on a body or a cart [m] (common practice, no source).
LOW_M: Final = 1.5
#: Sites are never nearer to each other than this [m]: both have some extent.
NEAREST_SITES_M: Final = 30.0
_BUILT: Final[dict[Surroundings, str]] = {"street": "urban", "residential": "suburban"}


def between_sites_db(a: Site, b: Site, distance_m: float, frequency_mhz: FloatArray) -> FloatArray:
    """Loss between two sites [dB] at each frequency (m,) [MHz]."""
    distance = max(distance_m, NEAREST_SITES_M)
    free = free_space_db(frequency_mhz, distance)
    built = [_BUILT[site.surroundings] for site in (a, b) if site.surroundings in _BUILT]
    if built:
        least = min(P1411_URBAN_DB[kind] for kind in built)
        return np.asarray(np.maximum(free, p1411_no_sight_db(frequency_mhz, distance, least)))
    return np.asarray(np.maximum(free, plane_earth_db(distance, LOW_M, LOW_M)))
