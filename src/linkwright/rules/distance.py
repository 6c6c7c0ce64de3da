"""Distance over ground between two positions."""

from __future__ import annotations

import math

#: Mean radius of the Earth [km]: R1 of the Geodetic Reference System 1980 (IUGG resolution 7, 1979).
MEAN_EARTH_RADIUS_KM = 6371.0088


def great_circle_km(latitude_a: float, longitude_a: float, latitude_b: float, longitude_b: float) -> float:
    """Great-circle distance [km] between two positions [degrees], by the haversine formula.

    On a sphere of the mean radius: within about 0.5 % of the distance on the ellipsoid.
    """
    a, b = math.radians(latitude_a), math.radians(latitude_b)
    across = math.radians(longitude_b - longitude_a)
    h = math.sin((b - a) / 2.0) ** 2 + math.cos(a) * math.cos(b) * math.sin(across / 2.0) ** 2
    return 2.0 * MEAN_EARTH_RADIUS_KM * math.asin(math.sqrt(min(1.0, h)))
