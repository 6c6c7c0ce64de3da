"""Thermal noise and the conversions between field strength and level."""

from __future__ import annotations

import math
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from linkwright.units import FloatArray

#: E[dB(uV/m)] = P[dBm] + 20 log10 f[MHz] + this, for an isotropic antenna in 50 ohm; ITU-R P.525.
FIELD_DB: Final = 77.2
#: Boltzmann's constant [J/K]; exact, SI Brochure 9th edition, table 1.
BOLTZMANN_J_K = 1.380649e-23
#: The reference temperature of a noise figure [K]; IEEE Std 100, "noise figure".
REFERENCE_K = 290.0


def thermal_noise_dbm(bandwidth_khz: float, noise_figure_db: float = 0.0) -> float:
    """Noise k T0 B + F [dBm] in `bandwidth_khz` [kHz] for a noise figure [dB].

    Source: ITU-R P.372, the definition of noise figure at T0 = 290 K. Raises ValueError for no bandwidth.
    """
    if bandwidth_khz <= 0.0:
        raise ValueError(f"a bandwidth is more than nothing: {bandwidth_khz} kHz")
    return 10.0 * math.log10(BOLTZMANN_J_K * REFERENCE_K * bandwidth_khz * 1e3 * 1e3) + noise_figure_db


def field_dbuv_m(level_dbm: float, frequency_mhz: float, antenna_gain_dbi: float = 0.0) -> float:
    """Field strength [dB(uV/m)] that an antenna in 50 ohm turns into `level_dbm`.

    E = P + 20 log10 f + 77.2 - G; ITU-R P.525, the relation of field and isotropic received power.
    """
    return level_dbm + 20.0 * math.log10(frequency_mhz) + FIELD_DB - antenna_gain_dbi


def isotropic_dbm(field_dbuv_m: ArrayLike, frequency_mhz: ArrayLike) -> FloatArray:
    """Levels [dBm] that an isotropic antenna takes from fields [dB(uV/m)]: `field_dbuv_m` backwards."""
    f = np.asarray(frequency_mhz, dtype=np.float64)
    return np.asarray(np.asarray(field_dbuv_m, dtype=np.float64) - 20.0 * np.log10(f) - FIELD_DB)
