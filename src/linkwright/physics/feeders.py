"""Between antenna and receiver: losses of lines, and what a chain of stages makes of noise and of intercept."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import ArrayLike

from linkwright.units import FloatArray, dbm_from_mw, mw_from_dbm

Line = Literal["RG-58", "RG-213", "5 mm foam", "10 mm foam"]

#: Loss of a line at 100 and at 1000 MHz [dB per 100 m]. Two digits, assumed (common practice, no source): lines
#: of one kind differ by more than a third digit. RG-58 and RG-213 are open designations.
LINES: Final[dict[Line, tuple[float, float]]] = {
    "RG-58": (12.0, 48.0),
    "RG-213": (6.9, 27.0),
    "5 mm foam": (8.0, 26.0),
    "10 mm foam": (4.1, 14.0),
}
LOW_MHZ, HIGH_MHZ = 100.0, 1000.0


def constants(line: Line) -> tuple[float, float]:
    """A line's conductor loss [dB per 100 m and root of MHz] and its dielectric loss [dB per 100 m and MHz]."""
    by_law = np.array([[math.sqrt(LOW_MHZ), LOW_MHZ], [math.sqrt(HIGH_MHZ), HIGH_MHZ]])
    conductor, dielectric = np.linalg.solve(by_law, np.array(LINES[line]))
    return float(conductor), float(dielectric)


def line_db(line: Line, frequency_mhz: ArrayLike, length_m: ArrayLike) -> FloatArray:
    """Loss [dB] of a matched line of a length [m]: conductor losses go by the root of f, dielectric by f.

    The two constants follow from the line's two figures. Raises ValueError below nothing: frequency or length.
    """
    f, length = np.asarray(frequency_mhz, dtype=np.float64), np.asarray(length_m, dtype=np.float64)
    if np.any(f < 0.0) or np.any(length < 0.0):
        raise ValueError("a frequency and a length are not negative")
    conductor, dielectric = constants(line)
    return np.asarray((conductor * np.sqrt(f) + dielectric * f) * length / 100.0)


@dataclass(frozen=True, slots=True)
class Stage:
    """A stage of a chain, matched on both sides: gain, noise figure [dB], output intercept [dBm] (inf: none)."""

    gain_db: float
    noise_figure_db: float
    oip3_dbm: float = math.inf

    def __post_init__(self) -> None:
        if self.noise_figure_db < 0.0:
            raise ValueError(f"a noise figure is not negative: {self.noise_figure_db} dB")

    @property
    def iip3_dbm(self) -> float:
        """The intercept at the input [dBm]."""
        return self.oip3_dbm - self.gain_db


def lossy(loss_db: float) -> Stage:
    """A line, a passive splitter or a pad at 290 K: its noise figure is its loss; no intercept.

    Raises ValueError for a gain.
    """
    return Stage(-loss_db, loss_db)


def cascade(stages: Sequence[Stage]) -> Stage:
    """A chain from antenna to receiver as one stage. None at all is a piece of nothing: 0 dB.

    Noise by Friis' formula, F = F1 + (F2 - 1) / G1 + ... Intercept with the products of all stages in phase,
    the worst case: 1 / OIP3 = 1 / (G2 OIP3_1) + 1 / OIP3_2. D. M. Pozar, Microwave Engineering, chapter 10.
    """
    gain_db, factor, inverse_oip3 = 0.0, 1.0, 0.0
    for stage in stages:
        factor += (mw_from_dbm(stage.noise_figure_db) - 1.0) / mw_from_dbm(gain_db)
        inverse_oip3 = inverse_oip3 / mw_from_dbm(stage.gain_db) + mw_from_dbm(-stage.oip3_dbm)
        gain_db += stage.gain_db
    oip3_dbm = math.inf if inverse_oip3 == 0.0 else -dbm_from_mw(inverse_oip3)
    return Stage(gain_db, max(dbm_from_mw(factor), 0.0), oip3_dbm)
