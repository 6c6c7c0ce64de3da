"""Distance over ground between positions."""

from __future__ import annotations

import functools
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from linkwright.units import FloatArray

#: Mean radius of the Earth [km]: R1 of the Geodetic Reference System 1980 (IUGG resolution 7, 1979).
MEAN_EARTH_RADIUS_KM: Final = 6371.0088


def great_circles_km(
    latitude_a: ArrayLike, longitude_a: ArrayLike, latitude_b: ArrayLike, longitude_b: ArrayLike
) -> FloatArray:
    """Great-circle distances [km] between positions [degrees] that broadcast, by the haversine formula.

    On a sphere of the mean radius: within about 0.5 % of the distance on the ellipsoid.
    """
    a, b = np.radians(latitude_a), np.radians(latitude_b)
    across = np.radians(np.asarray(longitude_b, dtype=np.float64) - np.asarray(longitude_a, dtype=np.float64))
    h = np.sin((b - a) / 2.0) ** 2 + np.cos(a) * np.cos(b) * np.sin(across / 2.0) ** 2
    return np.asarray(2.0 * MEAN_EARTH_RADIUS_KM * np.arcsin(np.sqrt(np.minimum(1.0, h))), dtype=np.float64)


@functools.lru_cache(maxsize=2**16)
def great_circle_km(latitude_a: float, longitude_a: float, latitude_b: float, longitude_b: float) -> float:
    """The same between two positions [degrees], as a number [km]."""
    return float(great_circles_km(latitude_a, longitude_a, latitude_b, longitude_b))
