"""Basic transmission loss between two antennas: one model a function.

Distances are metres [m], frequencies MHz, losses dB. Arrays and numbers both work and broadcast. A function
marks nothing by itself: its stated range is a constant beside it, and whoever calls it says when that is left.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from linkwright.units import SPEED_OF_LIGHT_M_S, BoolArray, FloatArray

#: 20 log10(4 pi 10^9 / c): free space in MHz and km [dB]; ITU-R P.525, equation for basic transmission loss.
FREE_SPACE_DB: Final = 20.0 * math.log10(4.0 * math.pi * 1e9 / SPEED_OF_LIGHT_M_S)
#: Models of the far field stop here [m]; nearer than this every model takes this distance.
NEAREST_M: Final = 1.0


def free_space_db(frequency_mhz: ArrayLike, distance_m: ArrayLike) -> FloatArray:
    """Free-space loss [dB]; ITU-R P.525. Below `NEAREST_M` the loss at `NEAREST_M`."""
    f = np.asarray(frequency_mhz, dtype=np.float64)
    d_km = np.maximum(np.asarray(distance_m, dtype=np.float64), NEAREST_M) / 1000.0
    return np.asarray(FREE_SPACE_DB + 20.0 * np.log10(f) + 20.0 * np.log10(d_km))


def plane_earth_db(distance_m: ArrayLike, height_a_m: ArrayLike, height_b_m: ArrayLike) -> FloatArray:
    """Loss [dB] over plane earth far beyond the break point: 40 log10 d - 20 log10(h1 h2); Rappaport, chapter 4."""
    d, a, b = (np.asarray(x, dtype=np.float64) for x in (distance_m, height_a_m, height_b_m))
    return np.asarray(40.0 * np.log10(d) - 20.0 * np.log10(a * b))


# ITU-R P.1411, section 4.3.1: between terminals from below roof-top height to near street level.

#: Stated range of P.1411 section 4.3.1: frequency [MHz] and distance [m].
P1411_TERMINALS_MHZ: Final = (300.0, 3000.0)
P1411_TERMINALS_M: Final = (0.0, 3000.0)
#: Lowest antenna of P.1411 section 4.3.1 [m] (from memory of the section's conditions).
P1411_LOWEST_M: Final = 1.9
#: P.1411 table of section 4.3.1: L_urban [dB].
P1411_URBAN_DB: Final = {"suburban": 0.0, "urban": 6.8, "dense": 2.3}
#: P.1411 section 4.3.1: standard deviation of the location variability [dB], and the width of the corner [m].
P1411_SIGMA_DB: Final = 7.0
P1411_CORNER_M: Final = 20.0


def p1411_sight_db(frequency_mhz: ArrayLike, distance_m: ArrayLike, locations: ArrayLike = 0.5) -> FloatArray:
    """Loss [dB] not exceeded at a share of `locations` with line of sight; P.1411 section 4.3.1, steps 1-2."""
    share = np.asarray(locations, dtype=np.float64)
    return free_space_db(frequency_mhz, distance_m) + p1411_sight_variability_db(share)


def p1411_sight_variability_db(locations: ArrayLike) -> FloatArray:
    """What to add to the line-of-sight median [dB] at a share of `locations`; P.1411 section 4.3.1, step 2."""
    share = np.asarray(locations, dtype=np.float64)
    return np.asarray(1.5624 * P1411_SIGMA_DB * (np.sqrt(-2.0 * np.log1p(-share)) - 1.1774))


def p1411_no_sight_db(
    frequency_mhz: ArrayLike, distance_m: ArrayLike, urban_db: float, locations: ArrayLike = 0.5
) -> FloatArray:
    """Loss [dB] not exceeded at a share of `locations` without sight; P.1411 section 4.3.1, steps 3-4."""
    from scipy.special import ndtri

    f = np.asarray(frequency_mhz, dtype=np.float64)
    d_km = np.maximum(np.asarray(distance_m, dtype=np.float64), NEAREST_M) / 1000.0
    median = 9.5 + 45.0 * np.log10(f) + 40.0 * np.log10(d_km) + urban_db
    return np.asarray(median + P1411_SIGMA_DB * ndtri(np.asarray(locations, dtype=np.float64)))


def p1411_sight_distance_m(locations: ArrayLike = 0.5) -> FloatArray:
    """Distance [m] to which a share of `locations` still has line of sight; P.1411 section 4.3.1, step 5."""
    p = 100.0 * np.asarray(locations, dtype=np.float64)
    logarithm = np.log10(np.maximum(p, 1e-9) / 100.0)
    return np.asarray(np.where(p < 45.0, 212.0 * logarithm**2 - 64.0 * logarithm, 79.2 - 0.7 * p))


def p1411_terminals_db(
    frequency_mhz: ArrayLike, distance_m: ArrayLike, urban_db: float, locations: ArrayLike = 0.5
) -> FloatArray:
    """Loss [dB] not exceeded at a share of `locations`, sight unknown; P.1411 section 4.3.1, steps 1-6.

    Line of sight up to its distance for that share, none beyond a corner of 20 m, linear across the corner.
    """
    d = np.asarray(distance_m, dtype=np.float64)
    corner_m = p1411_sight_distance_m(locations)
    near = p1411_sight_db(frequency_mhz, corner_m, locations)
    far = p1411_no_sight_db(frequency_mhz, corner_m + P1411_CORNER_M, urban_db, locations)
    across = near + (far - near) * (d - corner_m) / P1411_CORNER_M
    beyond = np.where(
        d > corner_m + P1411_CORNER_M, p1411_no_sight_db(frequency_mhz, d, urban_db, locations), across
    )
    return np.asarray(np.where(d < corner_m, p1411_sight_db(frequency_mhz, d, locations), beyond))


@dataclass(frozen=True, slots=True)
class Indoor:
    """A row of P.1238's site-general table: L = 10 alpha log10 d + beta + 10 gamma log10 f[GHz], sigma [dB]."""

    alpha: float
    beta: float
    gamma: float
    sigma_db: float


#: ITU-R P.1238-11, table of the site-general model.
P1238: Final = {
    "office, sight": Indoor(1.46, 34.62, 2.03, 3.76),
    "office, no sight": Indoor(2.46, 29.53, 2.38, 5.04),
    "corridor, sight": Indoor(1.63, 28.12, 2.25, 4.07),
    "corridor, no sight": Indoor(2.77, 29.27, 2.48, 7.63),
    "industrial, sight": Indoor(2.31, 24.52, 2.06, 2.69),
    "industrial, no sight": Indoor(3.79, 21.01, 1.34, 9.05),
}


def p1238_db(row: Indoor, frequency_mhz: ArrayLike, distance_m: ArrayLike) -> FloatArray:
    """Median loss [dB] within one floor; ITU-R P.1238-11, site-general model."""
    f_ghz = np.asarray(frequency_mhz, dtype=np.float64) / 1000.0
    d = np.maximum(np.asarray(distance_m, dtype=np.float64), NEAREST_M)
    return np.asarray(10.0 * row.alpha * np.log10(d) + row.beta + 10.0 * row.gamma * np.log10(f_ghz))


#: What the rows of `P1238` are stated for: frequency [MHz] and distance [m]. P.1238-11, table 2, read in an
#: open implementation, not in the document.
P1238_RANGES: Final[dict[str, tuple[tuple[float, float], tuple[float, float]]]] = {
    "office, sight": ((300.0, 83_500.0), (2.0, 27.0)),
    "office, no sight": ((300.0, 82_000.0), (4.0, 30.0)),
    "corridor, sight": ((300.0, 83_500.0), (2.0, 160.0)),
    "corridor, no sight": ((625.0, 83_500.0), (4.0, 94.0)),
    "industrial, sight": ((625.0, 70_280.0), (2.0, 101.0)),
    "industrial, no sight": ((625.0, 70_280.0), (5.0, 108.0)),
}


def p1238_covers(row: str, frequency_mhz: ArrayLike, distance_m: ArrayLike) -> BoolArray:
    """Whether a row of `P1238` is stated for these frequencies [MHz] and distances [m]; beyond, it is stretched."""
    (low_mhz, high_mhz), (near_m, far_m) = P1238_RANGES[row]
    f, d = np.asarray(frequency_mhz, dtype=np.float64), np.asarray(distance_m, dtype=np.float64)
    return np.asarray((f >= low_mhz) & (f <= high_mhz) & (d >= near_m) & (d <= far_m))
