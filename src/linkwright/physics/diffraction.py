"""Diffraction over a single edge."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from linkwright.units import SPEED_OF_LIGHT_M_S, FloatArray

#: Where the approximation of J(v) reaches 0 dB; ITU-R P.1546-6, Annex 5, section 4.3 (P.526 says -0.78).
CLEAR_V: Final = -0.7806


def knife_edge_db(v: ArrayLike) -> FloatArray:
    """Loss J(v) [dB] over a single knife edge for the Fresnel-Kirchhoff parameter `v`; ITU-R P.526, section 4.1.

    J(v) = 6.9 + 20 log10(sqrt((v - 0.1)^2 + 1) + v - 0.1), and 0 where the edge is well below the ray.
    """
    x = np.maximum(np.asarray(v, dtype=np.float64), CLEAR_V) - 0.1
    loss = 6.9 + 20.0 * np.log10(np.sqrt(x * x + 1.0) + x)
    return np.asarray(np.where(np.asarray(v) > CLEAR_V, loss, 0.0))


def fresnel_v(height_m: ArrayLike, to_a_m: ArrayLike, to_b_m: ArrayLike, frequency_mhz: ArrayLike) -> FloatArray:
    """Fresnel-Kirchhoff parameter of an edge; ITU-R P.526, section 4.1.

    height_m : how far the edge stands above the straight line between the ends [m], below it negative.
    to_a_m, to_b_m : distances along the line from the edge to either end [m], positive.
    frequency_mhz : frequency [MHz]. All broadcast.

    v = h sqrt(2 / lambda (1 / d1 + 1 / d2)). Raises ValueError for a distance that is not positive.
    """
    d1, d2 = np.asarray(to_a_m, dtype=np.float64), np.asarray(to_b_m, dtype=np.float64)
    if np.any(d1 <= 0.0) or np.any(d2 <= 0.0):
        raise ValueError("an edge stands between the ends: both distances are more than nothing")
    wavelength_m = SPEED_OF_LIGHT_M_S / (np.asarray(frequency_mhz, dtype=np.float64) * 1e6)
    return np.asarray(np.asarray(height_m) * np.sqrt(2.0 / wavelength_m * (1.0 / d1 + 1.0 / d2)))


def over_edge_db(
    start_m: FloatArray, end_m: FloatArray, share: ArrayLike, top_m: ArrayLike, frequency_mhz: ArrayLike
) -> FloatArray:
    """Loss [dB] over an obstacle that stands across the path, such as a wall of finite height; ITU-R P.526.

    start_m, end_m : (..., 3) the ends, x, y and z last [m]; share : where along the path the obstacle stands (0..1,
    both excluded); top_m : height of its top [m]; frequency_mhz : [MHz]. The rest broadcasts with the leading axes.
    Only the top counts: no way round the sides, no reflections. Raises ValueError for a share at or beyond an end.
    """
    a, b = np.asarray(start_m, dtype=np.float64), np.asarray(end_m, dtype=np.float64)
    along = np.asarray(share, dtype=np.float64)
    length_m = np.sqrt(np.sum((b - a) ** 2, axis=-1))
    line_m = a[..., 2] + along * (b[..., 2] - a[..., 2])
    # The parameter takes the height at right angles to the path, not the one straight up.
    level = np.sqrt(np.sum((b - a)[..., :2] ** 2, axis=-1)) / np.where(length_m > 0.0, length_m, 1.0)
    above_m = (np.asarray(top_m, dtype=np.float64) - line_m) * level
    return knife_edge_db(fresnel_v(above_m, along * length_m, (1.0 - along) * length_m, frequency_mhz))
