"""The height of a transmitter for ITU-R P.1546-6, Annex 5, section 3, where no profile is known."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from linkwright.units import FloatArray

#: Between these distances from the transmitter the ground is averaged [km]; section 3.
AVERAGED_KM: Final = (3.0, 15.0)


def h1_without_terrain_m(effective_m: ArrayLike, antenna_m: ArrayLike, distance_km: ArrayLike) -> FloatArray:
    """h1 [m] where the ground is not known; section 3.1.1, equations (4), (5) and (7).

    effective_m : over the mean ground 3 to 15 km away; antenna_m : above the ground at its foot.
    """
    foot = np.asarray(antenna_m, dtype=np.float64)
    near, far = AVERAGED_KM
    share = np.clip((np.asarray(distance_km, dtype=np.float64) - near) / (far - near), 0.0, 1.0)
    return np.asarray(foot + (np.asarray(effective_m, dtype=np.float64) - foot) * share)
