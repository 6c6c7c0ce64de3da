"""The one form that every sweep takes once it has been read."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from typing import Literal, TypeAlias

import numpy as np

from linkwright.units import BoolArray, FloatArray

#: What a level is counted from; "dB" is relative: it ranks, and tells no absolute power.
Unit: TypeAlias = Literal["dBm", "dBuV", "dBuV/m", "dB"]
Detector: TypeAlias = Literal["rms", "peak", "unknown"]

#: dBm in 50 ohm less dBuV: 10 log10(1e-12 V^2 / 50 ohm / 1 mW) [dB]; arithmetic.
DBM_FROM_DBUV_50_OHM = -106.9897000433602


@dataclass(frozen=True, eq=False)
class Sweep:
    """Levels over time and frequency, with what is known about them.

    Attributes
    ----------
    path : the file as the person named it.
    frequencies_khz : (bins) centres of the bins [kHz], rising; need not be whole and may have gaps.
    levels_db : (sweeps, bins) levels in `unit`; NaN where nothing was looked at.
    step_khz : distance of neighbouring bins [kHz].
    resolution_khz : noise bandwidth of one bin [kHz]; `guessed` says where it is taken as the step.
    averages : looks added up in power in every level of one sweep; None where the file does not say.
    detector : how the looks of one level were put together.
    started, lasted_s : time of the first row as written, and seconds from there to the last; None if unknown.
    format : the layout, in words. `understood`, `guessed`, `warnings` : one sentence each.
    copied : (bins) True where the utility copied the level of the neighbour instead of measuring.
    """

    path: str
    frequencies_khz: FloatArray
    levels_db: FloatArray
    unit: Unit
    step_khz: float
    resolution_khz: float
    averages: int | None
    detector: Detector
    started: datetime | None
    lasted_s: float | None
    format: str
    copied: BoolArray
    understood: tuple[str, ...] = ()
    guessed: tuple[str, ...] = ()
    warnings: tuple[str, ...] = field(default=())

    @property
    def sweeps(self) -> int:
        """How many sweeps the file holds."""
        return int(self.levels_db.shape[0])

    @property
    def from_khz(self) -> float:
        """Lower edge of the lowest bin [kHz]."""
        return max(0.0, float(self.frequencies_khz[0]) - self.step_khz / 2.0)

    @property
    def to_khz(self) -> float:
        """Upper edge of the highest bin [kHz]."""
        return float(self.frequencies_khz[-1]) + self.step_khz / 2.0

    @property
    def calibrated(self) -> bool:
        """Whether levels are absolute powers at the receiver's input: dBm, or dBuV over 50 ohm."""
        return self.unit in ("dBm", "dBuV")

    @property
    def dbm_offset(self) -> float:
        """What to add to a level to have dBm [dB]; NaN where the sweep is not calibrated."""
        if self.unit == "dBm":
            return 0.0
        return DBM_FROM_DBUV_50_OHM if self.unit == "dBuV" else float("nan")

    @property
    def mean_db(self) -> FloatArray:
        """(bins) mean over time, taken in power, of what was looked at; NaN where nothing was."""
        looked = np.isfinite(self.levels_db)
        power = np.where(looked, 10.0 ** (np.where(looked, self.levels_db, 0.0) / 10.0), 0.0)
        count = looked.sum(axis=0)
        mean = power.sum(axis=0) / np.maximum(count, 1)
        return np.asarray(np.where(count > 0, 10.0 * np.log10(np.where(count > 0, mean, 1.0)), np.nan))

    @property
    def maximum_db(self) -> FloatArray:
        """(bins) highest level over time of what was looked at; NaN where nothing was."""
        highest = np.where(np.isfinite(self.levels_db), self.levels_db, -np.inf).max(axis=0)
        return np.asarray(np.where(np.isfinite(highest), highest, np.nan))
