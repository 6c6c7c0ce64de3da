"""The loss into or out of a building: ITU-R P.2109-2. Losses in dB, frequencies in MHz."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import ArrayLike

from linkwright.units import FloatArray

Building = Literal["traditional", "thermally efficient"]

#: What P.2109-2 is stated for [MHz].
RANGE_MHZ: Final = (80.0, 100_000.0)
#: The floor of the third term [dB]; equation (8).
FLOOR_DB: Final = -3.0


@dataclass(frozen=True, slots=True)
class _Coefficients:
    r: float
    s: float
    t: float
    u: float
    v: float
    w: float
    x: float
    y: float
    z: float


#: P.2109-2, table 1: thermally efficient walls have metallised glass or foil.
COEFFICIENTS: Final[dict[Building, _Coefficients]] = {
    "traditional": _Coefficients(12.64, 3.72, 0.96, 9.6, 2.0, 9.1, -3.0, 4.5, -2.0),
    "thermally efficient": _Coefficients(28.19, -3.00, 8.48, 13.5, 3.8, 27.8, -2.9, 9.4, -2.1),
}


def entry_loss_db(
    frequency_mhz: ArrayLike, share: ArrayLike, building: Building, elevation_deg: ArrayLike = 0.0
) -> FloatArray:
    """Loss [dB] that a share (0..1) of places in buildings does not exceed; ITU-R P.2109-2, section 3.

    elevation_deg : of the path at the facade, up or down. All broadcast. Raises ValueError outside `RANGE_MHZ`
    or for a share that is not between 0 and 1.
    """
    from scipy.special import ndtri

    f, p = np.asarray(frequency_mhz, dtype=np.float64), np.asarray(share, dtype=np.float64)
    if np.any(f < RANGE_MHZ[0]) or np.any(f > RANGE_MHZ[1]):
        raise ValueError(f"ITU-R P.2109 holds from {RANGE_MHZ[0]:g} to {RANGE_MHZ[1]:g} MHz")
    if np.any((p <= 0.0) | (p >= 1.0)):
        raise ValueError("a share of places lies between 0 and 1")
    c = COEFFICIENTS[building]
    log_f = np.log10(f / 1000.0)
    horizontal = c.r + c.s * log_f + c.t * log_f**2
    steep = 0.212 * np.abs(np.asarray(elevation_deg, dtype=np.float64))
    z = ndtri(p)
    a = z * (c.u + c.v * log_f) + horizontal + steep
    b = z * (c.y + c.z * log_f) + c.w + c.x * log_f
    return np.asarray(10.0 * np.log10(10.0 ** (0.1 * a) + 10.0 ** (0.1 * b) + 10.0 ** (0.1 * FLOOR_DB)))


def entry_spread_db(frequency_mhz: ArrayLike, building: Building) -> FloatArray:
    """Half of what lies between the losses that 16 and 84 % of places keep within [dB]: a standard deviation.

    As the wall of a building, `entry_loss_db` at one half is the median and this is its spread.
    """
    low, high = (entry_loss_db(frequency_mhz, share, building) for share in (0.1587, 0.8413))
    return np.asarray((high - low) / 2.0)
