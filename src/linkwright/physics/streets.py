"""Losses between low antennas out of doors by ITU-R P.1411: the site-general street model and the two-ray bounds.

Distances are metres along the straight line, frequencies MHz, losses dB; arrays broadcast.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from linkwright.units import SPEED_OF_LIGHT_M_S, BoolArray, FloatArray


@dataclass(frozen=True, slots=True)
class Street:
    """A row of P.1411's table of section 4.1.1: L = 10 alpha log10 d + beta + 10 gamma log10 f[GHz], sigma [dB].

    mhz, metres : what the row is stated for.
    """

    alpha: float
    beta: float
    gamma: float
    sigma_db: float
    mhz: tuple[float, float]
    metres: tuple[float, float]


#: ITU-R P.1411-11 and -12, section 4.1.1, table 4: both ends below the roofs. Read in two implementations that
#: agree (eeveetza/p1411, ic-crc/crc-covlib), not in the document: assumed until somebody does.
P1411_STREET: Final = {
    "urban, sight": Street(2.12, 29.2, 2.11, 5.06, (800.0, 82_000.0), (5.0, 660.0)),
    "high-rise, no sight": Street(4.00, 10.2, 2.36, 7.60, (800.0, 82_000.0), (30.0, 715.0)),
    "low-rise, no sight": Street(5.06, -4.68, 2.02, 9.33, (10_000.0, 73_000.0), (30.0, 250.0)),
    "residential, no sight": Street(3.01, 18.8, 2.07, 3.07, (800.0, 73_000.0), (30.0, 170.0)),
}
#: P.1411 section 4.1.2, UHF: stated range [MHz], and the farthest it is for [m].
TWO_RAY_MHZ: Final = (300.0, 3000.0)
TWO_RAY_TO_M: Final = 1000.0


def street_covers(row: Street, frequency_mhz: ArrayLike, distance_m: ArrayLike) -> BoolArray:
    """Whether a row is stated for these frequencies [MHz] and distances [m]."""
    f, d = np.asarray(frequency_mhz, dtype=np.float64), np.asarray(distance_m, dtype=np.float64)
    return np.asarray((f >= row.mhz[0]) & (f <= row.mhz[1]) & (d >= row.metres[0]) & (d <= row.metres[1]))


def street_db(row: Street, frequency_mhz: ArrayLike, distance_m: ArrayLike) -> FloatArray:
    """Median loss [dB] along and across streets; ITU-R P.1411, section 4.1.1.

    Raises ValueError where the row is not stated for a frequency or a distance (`street_covers`).
    """
    if not np.all(street_covers(row, frequency_mhz, distance_m)):
        raise ValueError(
            f"ITU-R P.1411 section 4.1.1 holds here from {row.mhz[0]:g} to {row.mhz[1]:g} MHz and from "
            f"{row.metres[0]:g} to {row.metres[1]:g} m"
        )
    f_ghz = np.asarray(frequency_mhz, dtype=np.float64) / 1000.0
    d = np.asarray(distance_m, dtype=np.float64)
    return np.asarray(10.0 * row.alpha * np.log10(d) + row.beta + 10.0 * row.gamma * np.log10(f_ghz))


@dataclass(frozen=True, slots=True, eq=False)
class TwoRay:
    """Bounds of the loss over a plane street [dB], and the distance of the break point [m]."""

    lower_db: FloatArray
    median_db: FloatArray
    upper_db: FloatArray
    break_m: FloatArray


def two_ray(
    frequency_mhz: ArrayLike, distance_m: ArrayLike, height_a_m: ArrayLike, height_b_m: ArrayLike
) -> TwoRay:
    """Line of sight along a street between antennas at two heights [m]; ITU-R P.1411, section 4.1.2, UHF.

    Raises ValueError outside `TWO_RAY_MHZ` or beyond `TWO_RAY_TO_M`, or where a height or distance is not positive.
    """
    f, d, a, b = (np.asarray(x, dtype=np.float64) for x in (frequency_mhz, distance_m, height_a_m, height_b_m))
    if np.any(f < TWO_RAY_MHZ[0]) or np.any(f > TWO_RAY_MHZ[1]) or np.any(d > TWO_RAY_TO_M):
        raise ValueError(
            f"ITU-R P.1411 section 4.1.2 holds from {TWO_RAY_MHZ[0]:g} to {TWO_RAY_MHZ[1]:g} MHz, up to "
            f"{TWO_RAY_TO_M:g} m"
        )
    if np.any(d <= 0.0) or np.any(a <= 0.0) or np.any(b <= 0.0):
        raise ValueError("heights and distances are more than nothing")
    wavelength_m = SPEED_OF_LIGHT_M_S / (f * 1e6)
    break_m = 4.0 * a * b / wavelength_m
    at_break_db = np.abs(20.0 * np.log10(wavelength_m**2 / (8.0 * np.pi * a * b)))
    decades = np.log10(d / break_m)
    lower = at_break_db + np.where(decades <= 0.0, 20.0, 40.0) * decades
    upper = at_break_db + 20.0 + np.where(decades <= 0.0, 25.0, 40.0) * decades
    return TwoRay(np.asarray(lower), np.asarray(lower + 6.0), np.asarray(upper), np.asarray(break_m))
