"""The one form that every sweep takes once it has been read."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import datetime
from functools import cached_property
from typing import Literal, TypeAlias

import numpy as np

from linkwright.units import BoolArray, FloatArray, IntArray

#: What a level is counted from; "dB" is relative: it ranks, and tells no absolute power.
Unit: TypeAlias = Literal["dBm", "dBuV", "dBuV/m", "dB"]
#: How the looks of one level were put together: power mean, highest, lowest, mean of decibels or of voltages.
Detector: TypeAlias = Literal["rms", "peak", "lowest", "log-average", "voltage-average", "unknown"]
DETECTOR_WORDS: dict[Detector, str] = {
    "rms": "power average",
    "peak": "highest held",
    "lowest": "lowest held",
    "log-average": "average of decibels",
    "voltage-average": "average of voltages",
    "unknown": "not known",
}

#: Sweeps are gone through so many levels at a time: little more than the levels themselves is held.
_BATCH_LEVELS = 2_000_000

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
    trace : what a file with several traces calls this one; None where there is but one.
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
    trace: str | None = None

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
    def to_power_mean_db(self) -> float:
        """What to add to a level of noise to have its power mean [dB]; 0 where that is not known.

        For averages of decibels or voltages it does not depend on their number; for the highest of looks it
        does, and a file rarely says how many they were.
        """
        from linkwright.physics.detection import detector_bias_db

        if self.detector == "peak":
            return -detector_bias_db("peak", self.averages) if self.averages is not None else 0.0
        return -detector_bias_db(self.detector)

    @property
    def under_sampled(self) -> bool:
        """Whether the resolution is so much finer than the step that most of the band was not looked at."""
        return self.resolution_khz < self.step_khz / 2.0

    def batches(self) -> Iterator[slice]:
        """The sweeps (rows of `levels_db`) in parts of bounded size."""
        rows = max(1, _BATCH_LEVELS // max(1, self.levels_db.shape[1]))
        return (slice(start, start + rows) for start in range(0, self.sweeps, rows))

    @cached_property
    def looked(self) -> IntArray:
        """(bins) in how many sweeps each bin was looked at."""
        count = np.zeros(self.levels_db.shape[1], dtype=np.int64)
        for rows in self.batches():
            count += np.isfinite(self.levels_db[rows]).sum(axis=0)
        return count

    @cached_property
    def mean_db(self) -> FloatArray:
        """(bins) mean over time, taken in power, of what was looked at; NaN where nothing was."""
        power = np.zeros(self.levels_db.shape[1])
        for rows in self.batches():
            power += np.nan_to_num(power_of(self.levels_db[rows])).sum(axis=0)
        mean = power / np.maximum(self.looked, 1)
        return np.asarray(np.where(self.looked > 0, 10.0 * np.log10(np.where(self.looked > 0, mean, 1.0)), np.nan))

    @cached_property
    def maximum_db(self) -> FloatArray:
        """(bins) highest level over time of what was looked at; NaN where nothing was."""
        highest = np.full(self.levels_db.shape[1], np.nan)
        for rows in self.batches():
            highest = np.fmax(highest, np.fmax.reduce(self.levels_db[rows], axis=0))
        return highest


def power_of(level_db: FloatArray) -> FloatArray:
    """Powers of levels [dB] of any shape, in milliwatts of their reference."""
    return np.asarray(np.exp(level_db * (np.log(10.0) / 10.0)), dtype=np.float64)
