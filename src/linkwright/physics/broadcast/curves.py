"""The land curves of ITU-R P.1546-6 and how a value between them is found (Annex 5, sections 2 to 7).

The figures are tabulated for three times, three frequencies, 78 distances and eight heights; the table comes in
as an argument. Everything else broadcasts: one call serves a whole list of stations.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from linkwright.physics.diffraction import knife_edge_db
from linkwright.units import FloatArray, IntArray

#: Nominal values of the figures: time [%], frequency [MHz], height h1 [m].
TIMES_PERCENT: Final = (1.0, 10.0, 50.0)
FREQUENCIES_MHZ: Final = (100.0, 600.0, 2000.0)
HEIGHTS_M: Final = (10.0, 20.0, 37.5, 75.0, 150.0, 300.0, 600.0, 1200.0)
#: Field of 1 kW at 1 km in free space [dB(uV/m)]; Annex 5, equation (2).
FREE_SPACE_DBUV_M: Final = 106.9
#: K_v of Annex 5, section 4.3, for each nominal frequency.
K_V: Final = (1.35, 3.31, 6.00)
#: Where an obstacle of the height -h1 is taken to stand [m]; Annex 5, section 4.3, case b.
OBSTACLE_M: Final = 9000.0


@dataclass(frozen=True, slots=True, eq=False)
class Curves:
    """Field strengths of 1 kW e.r.p. at 50 % of locations [dB(uV/m)].

    distance_km : (n,) nominal distances, rising.
    field_dbuv_m : (times, frequencies, n, heights) in the order of the constants above.
    """

    distance_km: FloatArray
    field_dbuv_m: FloatArray

    def __post_init__(self) -> None:
        shape = (len(TIMES_PERCENT), len(FREQUENCIES_MHZ), len(self.distance_km), len(HEIGHTS_M))
        if self.field_dbuv_m.shape != shape:
            raise ValueError(f"a table of the shape {self.field_dbuv_m.shape}, expected {shape}")


def free_field_dbuv_m(distance_km: FloatArray) -> FloatArray:
    """The most that a field of 1 kW over land can be [dB(uV/m)]: free space; Annex 5, equations (1a) and (2)."""
    return np.asarray(FREE_SPACE_DBUV_M - 20.0 * np.log10(distance_km))


def curve_field_dbuv_m(
    curves: Curves,
    h1_m: FloatArray,
    distance_km: FloatArray,
    frequency_mhz: FloatArray,
    time_percent: float,
    most_dbuv_m: FloatArray,
) -> FloatArray:
    """Field of 1 kW [dB(uV/m)] at the height of the clutter about the receiver; Annex 6, steps 6 to 10.

    h1_m, distance_km (1 to 1000), frequency_mhz, most_dbuv_m : (n,); time_percent : 1 to 50.
    """
    lower, upper = _bracket(np.asarray(time_percent), TIMES_PERCENT)
    at_lower = _at_time(curves, int(lower), h1_m, distance_km, frequency_mhz, most_dbuv_m)
    if time_percent == TIMES_PERCENT[int(lower)]:
        return at_lower
    at_upper = _at_time(curves, int(upper), h1_m, distance_km, frequency_mhz, most_dbuv_m)
    if time_percent == TIMES_PERCENT[int(upper)]:
        return at_upper
    q, q_lower, q_upper = _exceeded(time_percent), _exceeded(TIMES_PERCENT[lower]), _exceeded(TIMES_PERCENT[upper])
    return np.asarray((at_upper * (q_lower - q) + at_lower * (q - q_upper)) / (q_lower - q_upper))


def _exceeded(percent: float) -> float:
    """Q_i: inverse of the complementary normal distribution; Annex 5, equation (16)."""
    from scipy.special import ndtri

    return -float(ndtri(percent / 100.0))


def _bracket(value: FloatArray, nominal: tuple[float, ...] | FloatArray) -> tuple[IntArray, IntArray]:
    """Indices of the nominal values on both sides; the outermost pair for what lies outside."""
    lower = np.clip(np.searchsorted(nominal, value, side="right") - 1, 0, len(nominal) - 2)
    return np.asarray(lower), np.asarray(lower + 1)


def _share(value: FloatArray, low: FloatArray, high: FloatArray) -> FloatArray:
    """Where a value lies between two others on a logarithmic scale: 0 at the lower, 1 at the higher."""
    return np.asarray(np.log(value / low) / np.log(high / low))


def _at_time(
    curves: Curves, time: int, h1_m: FloatArray, d_km: FloatArray, f_mhz: FloatArray, most: FloatArray
) -> FloatArray:
    """At one nominal time: between the nominal frequencies; Annex 5, section 6, equation (14)."""
    nominal = np.asarray(FREQUENCIES_MHZ)
    lower, upper = _bracket(f_mhz, FREQUENCIES_MHZ)
    low = _at_frequency(curves, time, lower, h1_m, d_km, most)
    high = _at_frequency(curves, time, upper, h1_m, d_km, most)
    field = low + (high - low) * _share(f_mhz, nominal[lower], nominal[upper])
    return np.asarray(np.where(f_mhz > nominal[-1], np.minimum(field, most), field))


def _at_frequency(
    curves: Curves, time: int, frequency: IntArray, h1_m: FloatArray, d_km: FloatArray, most: FloatArray
) -> FloatArray:
    """At nominal frequencies (indices): Annex 5, section 4.1 from 10 m upwards, 4.2 and 4.3 below."""
    heights = np.asarray(HEIGHTS_M)
    high_enough = np.maximum(h1_m, heights[0])
    lower, upper = _bracket(high_enough, HEIGHTS_M)
    low = _at_distance(curves, time, frequency, lower, d_km)
    high = _at_distance(curves, time, frequency, upper, d_km)
    above = low + (high - low) * _share(high_enough, heights[lower], heights[upper])
    field = np.minimum(above, most)
    if np.any(h1_m < heights[0]):
        field = np.where(h1_m < heights[0], _low_antenna(curves, time, frequency, h1_m, d_km), field)
    return np.asarray(field)


def _low_antenna(curves: Curves, time: int, frequency: IntArray, h1_m: FloatArray, d_km: FloatArray) -> FloatArray:
    """Below 10 m and below the ground about; Annex 5, sections 4.2 and 4.3 case b, equations (9) and (12)."""
    at_10 = _at_distance(curves, time, frequency, np.zeros_like(frequency), d_km)
    at_20 = _at_distance(curves, time, frequency, np.ones_like(frequency), d_km)
    at_0 = at_10 + 0.5 * (at_10 - at_20 + _negative_height_db(frequency, np.full(h1_m.shape, -10.0)))
    low = at_0 + 0.1 * h1_m * (at_10 - at_0)
    return np.asarray(np.where(h1_m >= 0.0, low, at_0 + _negative_height_db(frequency, np.minimum(h1_m, 0.0))))


def _negative_height_db(frequency: IntArray, h1_m: FloatArray) -> FloatArray:
    """C_h1 [dB]; Annex 5, equation (12)."""
    angle_deg = np.degrees(np.arctan(-h1_m / OBSTACLE_M))
    return np.asarray(6.03 - knife_edge_db(np.asarray(K_V)[frequency] * angle_deg))


def _at_distance(curves: Curves, time: int, frequency: IntArray, height: IntArray, d_km: FloatArray) -> FloatArray:
    """At nominal heights and frequencies (indices): between the distances; Annex 5, section 5, equation (13)."""
    lower, upper = _bracket(d_km, curves.distance_km)
    low = curves.field_dbuv_m[time, frequency, lower, height]
    high = curves.field_dbuv_m[time, frequency, upper, height]
    return np.asarray(low + (high - low) * _share(d_km, curves.distance_km[lower], curves.distance_km[upper]))
