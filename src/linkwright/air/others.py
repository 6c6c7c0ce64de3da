"""Other transmitters on the site: how much of one falls into a receiver. Pure functions.

The power of an other is taken as spread evenly over its band (the least that can be said of a
transmitter of which only a carrier and a bandwidth are known), so the share in a receiver's bandwidth is
an overlap of rectangles.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from linkwright.units import FloatArray, IntArray


def overlap_share(
    carriers_khz: IntArray, bandwidth_khz: float, other_from_khz: ArrayLike, other_to_khz: ArrayLike
) -> FloatArray:
    """Share (0..1) of an other's power that falls within receivers of one bandwidth.

    Parameters
    ----------
    carriers_khz : centres of the receivers [kHz]; broadcasts against the others.
    bandwidth_khz : width of the receiver [kHz], > 0.
    other_from_khz, other_to_khz : edges of the other's band [kHz]; equal edges are a bare carrier, which
        falls inside a receiver wholly (edges included) or not at all.

    Raises ValueError where a bandwidth is not positive or a band ends below its beginning.
    """
    lower = np.asarray(other_from_khz, dtype=np.float64)
    upper = np.asarray(other_to_khz, dtype=np.float64)
    if bandwidth_khz <= 0.0:
        raise ValueError(f"a receiver's bandwidth must be positive: {bandwidth_khz} kHz")
    if np.any(upper < lower):
        raise ValueError("an other's band ends below its beginning")
    carriers = np.asarray(carriers_khz, dtype=np.float64)
    low, high = carriers - bandwidth_khz / 2.0, carriers + bandwidth_khz / 2.0
    width = upper - lower
    overlap = np.clip(np.minimum(high, upper) - np.maximum(low, lower), 0.0, None)
    inside = ((lower >= low) & (lower <= high)).astype(np.float64)
    return np.asarray(np.where(width > 0.0, overlap / np.where(width > 0.0, width, 1.0), inside))


def band_of(carrier_khz: float, bandwidth_khz: float) -> tuple[float, float]:
    """Edges [kHz] of a transmitter told by carrier and bandwidth."""
    return carrier_khz - bandwidth_khz / 2.0, carrier_khz + bandwidth_khz / 2.0
