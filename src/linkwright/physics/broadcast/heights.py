"""Heights and clearance angles for ITU-R P.1546-6, Annex 5, sections 3, 4.3 and 11: from a profile or without."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from linkwright.units import FloatArray

#: Between these distances from the transmitter the ground is averaged [km]; section 3.
AVERAGED_KM: Final = (3.0, 15.0)
#: So far the ground is looked at, from the transmitter and from the receiver [km]; sections 4.3 and 11.
FROM_TRANSMITTER_KM: Final = 15.0
FROM_RECEIVER_KM: Final = 16.0


def h1_without_terrain_m(effective_m: ArrayLike, antenna_m: ArrayLike, distance_km: ArrayLike) -> FloatArray:
    """h1 [m] where the ground is not known; section 3.1.1, equations (4), (5) and (7).

    effective_m : over the mean ground 3 to 15 km away; antenna_m : above the ground at its foot.
    """
    foot = np.asarray(antenna_m, dtype=np.float64)
    near, far = AVERAGED_KM
    share = np.clip((np.asarray(distance_km, dtype=np.float64) - near) / (far - near), 0.0, 1.0)
    return np.asarray(foot + (np.asarray(effective_m, dtype=np.float64) - foot) * share)


def h1_over_terrain_m(distance_km: FloatArray, ground_m: FloatArray, antenna_m: float) -> float:
    """h1 [m] over a known profile; sections 3.1.2 and 3.2, equations (6) and (7).

    distance_km, ground_m : (n,) the profile from the transmitter's foot to the receiver's.
    The mean is that from 3 to 15 km, and from 0.2 d to d on shorter paths. Raises ValueError where fewer than
    two points of the profile lie there.
    """
    length = distance_km[-1]
    near, far = AVERAGED_KM if length >= AVERAGED_KM[1] else (0.2 * length, length)
    there = (distance_km >= near) & (distance_km <= far)
    x, y = distance_km[there], ground_m[there]
    if x.size < 2:
        raise ValueError(f"a profile with fewer than two points between {near:g} and {far:g} km")
    mean_m = float(np.trapezoid(y, x) / (x[-1] - x[0]))
    return antenna_m + float(ground_m[0]) - mean_m


def transmitter_clearance_deg(distance_km: FloatArray, ground_m: FloatArray, antenna_m: float) -> float:
    """Elevation [degrees] over all ground up to 15 km away, seen from the transmitter; section 4.3, case a."""
    near = distance_km <= distance_km[0] + FROM_TRANSMITTER_KM
    return _steepest_deg(distance_km[near], ground_m[near], antenna_m)


def receiver_clearance_deg(distance_km: FloatArray, ground_m: FloatArray, antenna_m: float) -> float:
    """Elevation [degrees] over all ground up to 16 km away, seen from the receiver; section 11."""
    back = distance_km[-1] - distance_km
    near = back <= FROM_RECEIVER_KM
    return _steepest_deg(back[near][::-1], ground_m[near][::-1], antenna_m)


def _steepest_deg(away_km: FloatArray, ground_m: FloatArray, antenna_m: float) -> float:
    """The steepest elevation over points `away_km`, the first of which is the antenna's foot; 0 without others."""
    if away_km.size < 2:
        return 0.0
    rise_m = ground_m[1:] - ground_m[0] - antenna_m
    return float(np.degrees(np.arctan(rise_m / (1000.0 * (away_km[1:] - away_km[0])))).max())
