"""What buildings and trees about one end of a path cost: ITU-R P.2108-1. Losses in dB, frequencies in MHz."""

from __future__ import annotations

from typing import Final, Literal

import numpy as np
from numpy.typing import ArrayLike

from linkwright.physics.diffraction import knife_edge_db
from linkwright.units import FloatArray

Clutter = Literal["water", "open", "suburban", "urban", "trees", "dense urban"]

#: What section 3.1 is stated for [MHz], and section 3.2 [MHz], [km].
TERMINAL_MHZ: Final = (30.0, 3000.0)
STATISTICAL_MHZ: Final = (500.0, 67_000.0)
STATISTICAL_FROM_KM: Final = 0.25
#: The loss of section 3.2 never exceeds that at this distance [km]; equation (6).
STATISTICAL_MOST_KM: Final = 2.0
#: Width of the street, section 3.1's default [m].
STREET_M: Final = 27.0


def terminal_clutter_db(
    frequency_mhz: ArrayLike,
    height_m: ArrayLike,
    clutter_m: ArrayLike,
    kind: Clutter,
    street_m: ArrayLike = STREET_M,
) -> FloatArray:
    """Median loss [dB] at a terminal among clutter of a height, either end; ITU-R P.2108-1, section 3.1.

    height_m : the antenna above ground; clutter_m : what stands about it; street_m : width of the street [m].
    Nothing is lost above the clutter. Raises ValueError outside `TERMINAL_MHZ`, or for a height or width that is
    not positive.
    """
    f, h, clutter, street = (
        np.asarray(x, dtype=np.float64) for x in (frequency_mhz, height_m, clutter_m, street_m)
    )
    _check_frequency(f, TERMINAL_MHZ, "section 3.1")
    if any(np.any(x <= 0.0) for x in (h, clutter, street)):
        raise ValueError("heights and the street's width are more than nothing")
    below = np.maximum(clutter - h, 0.0)
    f_ghz = f / 1000.0
    if kind in ("water", "open"):
        loss = -(21.8 + 6.2 * np.log10(f_ghz)) * np.log10(h / clutter)
    else:
        angle_deg = np.degrees(np.arctan(below / street))
        loss = knife_edge_db(0.342 * np.sqrt(f_ghz) * np.sqrt(below * angle_deg)) - 6.03
    return np.asarray(np.where(h < clutter, loss, 0.0))


def statistical_clutter_db(frequency_mhz: ArrayLike, distance_km: ArrayLike, locations: ArrayLike) -> FloatArray:
    """Loss [dB] not exceeded at a share of `locations` in a town or suburb; ITU-R P.2108-1, section 3.2.

    For one end of the path; from 1 km also for either end. Raises ValueError outside `STATISTICAL_MHZ`, below
    `STATISTICAL_FROM_KM`, or for a share that is not between 0 and 1.
    """
    from scipy.special import ndtri

    f, d, share = (np.asarray(x, dtype=np.float64) for x in (frequency_mhz, distance_km, locations))
    _check_frequency(f, STATISTICAL_MHZ, "section 3.2")
    if np.any(d < STATISTICAL_FROM_KM):
        raise ValueError(f"ITU-R P.2108-1 section 3.2 holds from {STATISTICAL_FROM_KM:g} km")
    if np.any((share <= 0.0) | (share >= 1.0)):
        raise ValueError("a share of locations lies between 0 and 1")
    here, most = (_statistical_db(f / 1000.0, km, ndtri(share)) for km in (d, np.asarray(STATISTICAL_MOST_KM)))
    return np.asarray(np.minimum(here, most))


def _statistical_db(f_ghz: FloatArray, distance_km: FloatArray, deviation: FloatArray) -> FloatArray:
    """Equations (3) to (5): two losses and their spreads, each weighed by how small it is."""
    long_db = -2.0 * np.log10(10.0 ** (-5.0 * np.log10(f_ghz) - 12.5) + 10.0**-16.5)
    short_db = 32.98 + 23.9 * np.log10(distance_km) + 3.0 * np.log10(f_ghz)
    weight_long, weight_short = 10.0 ** (-0.2 * long_db), 10.0 ** (-0.2 * short_db)
    both = weight_long + weight_short
    sigma_db = np.sqrt((4.0**2 * weight_long + 6.0**2 * weight_short) / both)
    return np.asarray(-5.0 * np.log10(both) + sigma_db * deviation)


def _check_frequency(frequency_mhz: FloatArray, bounds: tuple[float, float], section: str) -> None:
    if np.any(frequency_mhz < bounds[0]) or np.any(frequency_mhz > bounds[1]):
        raise ValueError(f"ITU-R P.2108-1 {section} holds from {bounds[0]:g} to {bounds[1]:g} MHz")
