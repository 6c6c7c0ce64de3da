"""What an antenna hears from where: patterns by class, and polarisation."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from linkwright.shoot.antennas import Antenna, Pattern, Polarisation
from linkwright.shoot.evidence import Evidence
from linkwright.units import DIPOLE_DBI, BoolArray, FloatArray


@dataclass(frozen=True, slots=True)
class PatternClass:
    """A class of pattern: gain [dBi], width at 3 dB less [degrees] (none: all around), the back [dB] down."""

    gain_dbi: float
    beam_deg: float | None
    back_db: float


#: Classes of pattern. The half-wave dipole's gain is ITU's; the other figures are assumed, typical of the class.
SHAPES: Final[dict[Pattern, PatternClass]] = {
    "whip": PatternClass(0.0, None, 20.0),
    "dipole": PatternClass(DIPOLE_DBI, None, 20.0),
    "wide": PatternClass(5.0, 110.0, 12.0),
    "narrow": PatternClass(8.0, 60.0, 18.0),
}
#: What a polarisation other than the talent's vertical one loses [dB]. Half the power for 45 degrees and circular
#: is exact; what is left of horizontal is assumed, more where scattered waves turn it.
HALF_DB: Final = 10.0 * math.log10(2.0)
CROSSED_SIGHT_DB: Final = 10.0
CROSSED_NO_SIGHT_DB: Final = 3.0


def best_gain_dbi(antenna: Antenna) -> tuple[float, Evidence]:
    """Gain in the best direction [dBi], and how it is known."""
    if antenna.gain_dbi is not None:
        return antenna.gain_dbi, "stated"
    return SHAPES[antenna.pattern].gain_dbi, "assumed"


def relative_db(antenna: Antenna, away_m: FloatArray) -> FloatArray:
    """Gain (..., ) [dB] over that in the best direction, towards points `away_m` (..., 3) from the antenna [m].

    Without a beam: a vertical half-wave dipole, cos(90 deg sin e) / cos e at elevation e (Balanis, Antenna Theory,
    chapter 4). With a beam: -12 (off axis / width)^2 down to the back (the main beam of ITU-R F.1336).
    """
    shape = SHAPES[antenna.pattern]
    flat = np.hypot(away_m[..., 0], away_m[..., 1])
    if shape.beam_deg is None:
        if antenna.polarisation != "vertical":
            return np.zeros(flat.shape)
        far = np.maximum(np.hypot(flat, away_m[..., 2]), 1e-9)
        level = np.maximum(flat / far, 1e-6)
        amplitude = np.abs(np.cos(np.pi / 2.0 * away_m[..., 2] / far)) / level
        return np.asarray(np.maximum(20.0 * np.log10(np.maximum(amplitude, 1e-9)), -shape.back_db))
    bearing = math.radians(antenna.towards_deg or 0.0)
    along = away_m[..., 0] * math.sin(bearing) + away_m[..., 1] * math.cos(bearing)
    far = np.maximum(np.hypot(flat, away_m[..., 2]), 1e-9)
    off_deg = np.degrees(np.arccos(np.clip(along / far, -1.0, 1.0)))
    return np.asarray(-np.minimum(12.0 * (off_deg / shape.beam_deg) ** 2, shape.back_db))


def polarisation_db(polarisation: Polarisation, sight: BoolArray) -> FloatArray:
    """Gain [dB] (none or a loss) for a talent's vertical antenna, with or without line of sight."""
    if polarisation == "vertical":
        return np.zeros(sight.shape)
    if polarisation == "horizontal":
        return np.where(sight, -CROSSED_SIGHT_DB, -CROSSED_NO_SIGHT_DB)
    return np.full(sight.shape, -HALF_DB)
