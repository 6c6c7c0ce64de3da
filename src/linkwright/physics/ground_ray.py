"""Two rays over flat ground: the straight one and the one that the ground reflects, added as amplitudes.

Fresnel's coefficient for vertical polarisation (ITU-R P.527 and P.526; J. D. Parsons, The Mobile Radio Propagation
Channel, chapter 2), ground by its relative permittivity and conductivity. Without roughness and without anything
else about: at low antennas the reflected ray takes most of the straight one away within a few tens of metres.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from linkwright.physics.pathloss import NEAREST_M, free_space_db
from linkwright.units import SPEED_OF_LIGHT_M_S, FloatArray

#: Medium dry ground about 600 MHz: relative permittivity, conductivity [S/m] (ITU-R P.527, from memory).
PERMITTIVITY: Final = 15.0
CONDUCTIVITY_S_M: Final = 0.035
#: Antennas lie no lower than this for the two rays [m].
LEAST_HEIGHT_M: Final = 0.1


def reflection(frequency_mhz: ArrayLike, sine: ArrayLike) -> np.ndarray[tuple[int, ...], np.dtype[np.complex128]]:
    """Fresnel's coefficient of the ground for vertical polarisation, at the sine of the grazing angle."""
    f, s = np.asarray(frequency_mhz, dtype=np.float64), np.asarray(sine, dtype=np.float64)
    wavelength_m = SPEED_OF_LIGHT_M_S / (f * 1e6)
    ground = PERMITTIVITY - 60j * CONDUCTIVITY_S_M * wavelength_m
    root = np.sqrt(ground - (1.0 - s * s))
    return np.asarray((ground * s - root) / (ground * s + root))


def two_rays_db(
    frequency_mhz: ArrayLike, apart_m: ArrayLike, height_a_m: ArrayLike, height_b_m: ArrayLike
) -> FloatArray:
    """Loss [dB] between antennas `apart_m` along the ground at two heights [m]; arrays broadcast."""
    f, d, a, b = (np.asarray(x, dtype=np.float64) for x in (frequency_mhz, apart_m, height_a_m, height_b_m))
    low, high = np.maximum(a, LEAST_HEIGHT_M), np.maximum(b, LEAST_HEIGHT_M)
    straight = np.maximum(np.hypot(d, low - high), NEAREST_M)
    bounced = np.maximum(np.hypot(d, low + high), straight)
    turn = 2.0 * np.pi * f * 1e6 / SPEED_OF_LIGHT_M_S * (bounced - straight)
    second = reflection(f, (low + high) / bounced) * straight / bounced * np.exp(-1j * turn)
    return np.asarray(free_space_db(f, straight) - 20.0 * np.log10(np.maximum(np.abs(1.0 + second), 1e-3)))
