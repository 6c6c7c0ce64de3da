"""The corrections of ITU-R P.1546-6, Annex 5, sections 9 to 15: one a function, [dB] or [dB(uV/m)].

Distances are km, heights m, frequencies MHz, angles degrees; everything broadcasts.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from linkwright.physics.broadcast.curves import free_field_dbuv_m
from linkwright.physics.diffraction import knife_edge_db
from linkwright.units import FloatArray

#: Bounds of the terrain clearance angle [degrees]; section 11.
CLEARANCE_DEG: Final = (0.55, 40.0)
#: How far the clutter stands from an antenna in it [m]; sections 9 and 10.
STREET_M: Final = 27.0
#: Height to which an antenna in the open refers [m]; section 9.
REFERENCE_M: Final = 10.0
#: Up to here the path is free space [km]; section 15.
FREE_KM: Final = 0.04
#: Below this, section 15 holds instead of the curves [km].
NEAREST_KM: Final = 1.0
#: Radius of the Earth [km] and the factor of its effective radius; section 13.
EARTH_KM: Final = 6370.0
EFFECTIVE: Final = 4.0 / 3.0
#: Median surface refractivity of section 13 [N units].
REFRACTIVITY: Final = 325.0


def clearance_db(frequency_mhz: ArrayLike, clearance_deg: ArrayLike) -> FloatArray:
    """Terrain about the receiver [dB]; section 11, equation (32).

    clearance_deg : elevation of the line that just clears all ground up to 16 km towards the transmitter.
    """
    root = np.sqrt(np.asarray(frequency_mhz, dtype=np.float64))
    angle = np.clip(np.asarray(clearance_deg, dtype=np.float64), *CLEARANCE_DEG)
    return np.asarray(knife_edge_db(0.036 * root) - knife_edge_db(0.065 * angle * root))


def scatter_dbuv_m(
    distance_km: ArrayLike,
    frequency_mhz: ArrayLike,
    time_percent: float,
    clearance_1_deg: ArrayLike,
    clearance_2_deg: ArrayLike,
) -> FloatArray:
    """Field of 1 kW by tropospheric scatter [dB(uV/m)]; section 13, equations (35) and (36)."""
    d = np.asarray(distance_km, dtype=np.float64)
    log_f = np.log10(np.asarray(frequency_mhz, dtype=np.float64))
    bend = np.degrees(d / EFFECTIVE / EARTH_KM)
    angle = np.maximum(bend + np.asarray(clearance_1_deg) + np.asarray(clearance_2_deg), 0.0)
    frequency_db = 5.0 * log_f - 2.5 * (log_f - 3.3) ** 2
    time_db = 10.1 * (-np.log10(0.02 * time_percent)) ** 0.7 if time_percent < 50.0 else 0.0
    return np.asarray(24.4 - 20.0 * np.log10(d) - 10.0 * angle - frequency_db + 0.15 * REFRACTIVITY + time_db)


def receiver_height_db(
    frequency_mhz: ArrayLike,
    h1_m: ArrayLike,
    distance_km: ArrayLike,
    h2_m: ArrayLike,
    clutter_m: ArrayLike,
    built_up: bool,
) -> FloatArray:
    """Height of the receiving antenna [dB]; section 9, equations (27) and (28).

    clutter_m : representative height of what stands about it; built_up : urban or suburban, not open land.
    """
    f, h2 = np.asarray(frequency_mhz, dtype=np.float64), np.asarray(h2_m, dtype=np.float64)
    slope = 3.2 + 6.2 * np.log10(f)
    if not built_up:
        return np.asarray(slope * np.log10(h2 / REFERENCE_M))
    d_m = 1000.0 * np.asarray(distance_km, dtype=np.float64)
    seen_m = np.maximum((d_m * np.asarray(clutter_m) - 15.0 * np.asarray(h1_m)) / (d_m - 15.0), 1.0)
    below = np.maximum(seen_m - h2, 0.0)
    v = _clutter_v(f, below)
    change = np.where(h2 < seen_m, 6.03 - knife_edge_db(v), slope * np.log10(h2 / seen_m))
    return np.asarray(change - np.where(seen_m < 10.0, slope * np.log10(10.0 / seen_m), 0.0))


def transmitter_clutter_db(frequency_mhz: ArrayLike, antenna_m: ArrayLike, clutter_m: ArrayLike) -> FloatArray:
    """Clutter about the transmitting antenna [dB]; section 10, equation (30)."""
    above = np.asarray(antenna_m, dtype=np.float64) - np.asarray(clutter_m, dtype=np.float64)
    v = _clutter_v(np.asarray(frequency_mhz, dtype=np.float64), np.abs(above))
    return np.asarray(-knife_edge_db(np.where(above <= 0.0, v, -v)))


def _clutter_v(frequency_mhz: FloatArray, difference_m: FloatArray) -> FloatArray:
    """v = K_v sqrt(h theta) for clutter `difference_m` above the antenna; equations (28c) to (28f)."""
    angle_deg = np.degrees(np.arctan(difference_m / STREET_M))
    return np.asarray(0.0108 * np.sqrt(frequency_mhz) * np.sqrt(difference_m * angle_deg))


def slope_km(distance_km: ArrayLike, top_1_m: ArrayLike, top_2_m: ArrayLike) -> FloatArray:
    """Length of the straight line between the antennas [km] at the heights `top` [m]; section 14, (37)."""
    rise_km = (np.asarray(top_1_m, dtype=np.float64) - np.asarray(top_2_m, dtype=np.float64)) / 1000.0
    return np.asarray(np.hypot(np.asarray(distance_km, dtype=np.float64), rise_km))


def slope_db(distance_km: ArrayLike, top_1_m: ArrayLike, top_2_m: ArrayLike) -> FloatArray:
    """Correction for the slope of the path [dB]; section 14, equation (37)."""
    return np.asarray(20.0 * np.log10(np.asarray(distance_km) / slope_km(distance_km, top_1_m, top_2_m)))


def short_path_dbuv_m(
    distance_km: FloatArray, top_1_m: ArrayLike, top_2_m: ArrayLike, at_1_km_dbuv_m: FloatArray
) -> FloatArray:
    """Field of 1 kW below 1 km [dB(uV/m)]: from the field at 1 km to free space; section 15, equation (38)."""
    here = slope_km(distance_km, top_1_m, top_2_m)
    free = slope_km(np.full_like(distance_km, FREE_KM), top_1_m, top_2_m)
    far = slope_km(np.full_like(distance_km, NEAREST_KM), top_1_m, top_2_m)
    near = free_field_dbuv_m(free)
    between = near + (at_1_km_dbuv_m - near) * np.log(here / free) / np.log(far / free)
    return np.asarray(np.where(distance_km <= FREE_KM, free_field_dbuv_m(here), between))
