"""The air as a stream of passes shows it: now, highest, share of time, over time; in memory that does not grow.

Every bin is told over the floor, which follows slow drifts, and less what the whole pass stands higher: a gain that
moved is nobody. A level is *on* where noise passes it once in a thousand looks.
"""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from linkwright.air.judgement import BAND_KHZ, COARSE_KHZ, DEPENDENT_BINS, FLOOR_DOUBT_DB, judge
from linkwright.air.sweep import Sweep, Unit
from linkwright.physics import detection
from linkwright.shoot.errors import InputError
from linkwright.units import BoolArray, FloatArray, IntArray

#: More bins than this are not kept; 470 to 694 MHz in steps of 1 kHz.
MOST_BINS: Final = 250_000
#: The picture over time: columns, single passes, and minutes (twelve hours).
COLUMNS: Final = 2048
PASSES: Final = 240
MINUTES: Final = 720
MINUTE_S: Final = 60.0
#: The floor and what is usual follow the mean of so many passes; the floor is found anew after so many.
MEMORY: Final = 32
ANEW: Final = 16
#: A pass that is wanting so many of the bins, or brings so many others, is one of other settings [share].
OTHER: Final = 0.5
#: Fewer idle bins tell no gain that moved.
LEAST_IDLE: Final = 50


@dataclass(frozen=True, slots=True)
class SlotNow:
    """What is heard in a slot: over the floor [dB], its level now and at most in the sweep's unit, whether anybody
    is on, when it was looked at [s], and for what share of the looks anybody was on (0..1)."""

    over_db: float
    level_db: float
    highest_db: float
    busy: bool
    looked_s: float
    share: float


@dataclass(eq=False)
class FreshAir:
    """The air of one place and one source. Arrays are (bins); those in power are over the floor, as power."""

    frequencies_khz: FloatArray = field(default_factory=lambda: np.zeros(0))
    step_khz: float = 0.0
    resolution_khz: float = 0.0
    unit: Unit = "dB"
    passes: int = 0
    began_s: float = math.nan
    newest_s: float = math.nan
    every_s: float = 10.0
    averages: float = 1.0
    shift_db: float = 0.0
    now_db: FloatArray = field(default_factory=lambda: np.zeros(0))
    looked_s: FloatArray = field(default_factory=lambda: np.zeros(0))
    highest_db: FloatArray = field(default_factory=lambda: np.zeros(0))
    floor_db: FloatArray = field(default_factory=lambda: np.zeros(0))
    over: FloatArray = field(default_factory=lambda: np.zeros(0))
    usual: FloatArray = field(default_factory=lambda: np.zeros(0))
    looks: IntArray = field(default_factory=lambda: np.zeros(0, np.int64))
    on_looks: IntArray = field(default_factory=lambda: np.zeros(0, np.int64))
    recent: deque[tuple[float, np.ndarray]] = field(default_factory=lambda: deque(maxlen=PASSES))
    minutes: deque[tuple[float, np.ndarray]] = field(default_factory=lambda: deque(maxlen=MINUTES))
    _mean: FloatArray = field(default_factory=lambda: np.zeros(0))
    _idle: BoolArray = field(default_factory=lambda: np.zeros(0, np.bool_))
    _spread: float = math.nan
    _stated: int | None = None
    _minute: np.ndarray | None = None
    _minute_s: float = math.nan

    def add(self, sweep: Sweep, at_s: float) -> bool:
        """One pass more, that ended at `at_s` [s]. Whether the settings are others and all begins anew with it.

        Raises InputError for a sweep that is no use here.
        """
        if sweep.frequencies_khz.size > MOST_BINS:
            raise InputError(f"a pass has {sweep.frequencies_khz.size} bins; expected at most {MOST_BINS}")
        level = np.fmax.reduce(sweep.levels_db, axis=0)
        placed = self._placed(sweep, level)
        anew = placed is None
        if placed is None:
            self._begin(sweep, at_s)
            placed = level.astype(np.float64)
        elif at_s > self.newest_s:
            self.every_s += (min(at_s - self.newest_s, 3600.0) - self.every_s) / min(self.passes, 8)
        self.newest_s, self.passes = at_s, self.passes + 1
        self._take(placed, at_s)
        return anew

    def _begin(self, sweep: Sweep, at_s: float) -> None:
        """All anew, with the bins of this pass."""
        judged = judge(sweep)
        bins, every_s = sweep.frequencies_khz.size, self.every_s
        minutes = [minute for minute in self.minutes if minute[1].size == min(COLUMNS, bins)]
        FreshAir.__init__(self)
        self.frequencies_khz, self.step_khz = sweep.frequencies_khz.astype(np.float64), sweep.step_khz
        self.resolution_khz, self.unit, self.every_s = sweep.resolution_khz, sweep.unit, every_s
        self.began_s, self._stated = at_s, sweep.averages if sweep.detector in ("rms", "unknown") else None
        self.now_db, self.highest_db = np.full(bins, np.nan), np.full(bins, np.nan)
        self.looked_s, self.over, self._mean = np.full(bins, np.nan), np.full(bins, np.nan), np.full(bins, np.nan)
        self.usual, self._idle = np.ones(bins), np.ones(bins, np.bool_)
        self.looks, self.on_looks = np.zeros(bins, np.int64), np.zeros(bins, np.int64)
        self.floor_db = np.interp(self.frequencies_khz, judged.frequencies_khz, judged.floor_db)
        self.averages = max(1.0, judged.averages / sweep.sweeps)
        self.minutes.extend(minutes)

    def _placed(self, sweep: Sweep, level: FloatArray) -> FloatArray | None:
        """The levels of a pass on the bins that are kept, NaN where it lacks one; None for other settings."""
        ours, theirs = self.frequencies_khz, sweep.frequencies_khz
        if ours.size == 0 or abs(sweep.step_khz - self.step_khz) > 0.01 * self.step_khz or sweep.unit != self.unit:
            return None
        if theirs.size == ours.size and np.array_equal(theirs, ours):
            return level.astype(np.float64)
        nearest = np.clip(np.searchsorted(ours, theirs - self.step_khz / 2.0), 0, ours.size - 1)
        fits = np.abs(ours[nearest] - theirs) <= 0.3 * self.step_khz
        if fits.sum() < OTHER * ours.size or np.sum(~fits) > (1.0 - OTHER) * theirs.size or theirs.size > ours.size:
            return None
        placed = np.full(ours.size, np.nan)
        placed[nearest[fits]] = level[fits]
        return placed

    def _take(self, level: FloatArray, at_s: float) -> None:
        looked = np.isfinite(level)
        self.now_db = np.where(looked, level, self.now_db)
        self.looked_s = np.where(looked, at_s, self.looked_s)
        self.highest_db = np.fmax(self.highest_db, level)
        self.shift_db = self._shift(level)
        power = 10.0 ** (np.where(looked, np.clip(level - self.shift_db, -400.0, 400.0), 0.0) / 10.0)
        weight = 1.0 / np.minimum(self.looks + 1, MEMORY)
        first = looked & (self.looks == 0)
        self._mean = np.where(first, power, self._mean)
        self._mean = np.where(looked, self._mean + weight * (power - self._mean), self._mean)
        if self.passes in (1, 2, 4, 8) or self.passes % ANEW == 0:
            self._floor()
        over = power / 10.0 ** (np.clip(self.floor_db, -400.0, 400.0) / 10.0)
        self.over = np.where(looked, np.clip(over, 1e-30, 1e30), np.nan)
        on = looked & (self.over > 10.0 ** (self.on_db() / 10.0))
        self.looks += looked
        self.on_looks += on
        self._picture(at_s)

    def learn(self, taken: BoolArray | None = None) -> None:
        """What is usual follows the newest pass, but for bins that somebody new has `taken`."""
        looked = np.isfinite(self.over)
        if taken is not None:
            looked &= ~taken
        weight = np.where(looked, 1.0 / np.clip(self.looks, 1, MEMORY), 0.0)
        over = np.where(looked, self.over, 0.0)
        self.usual = self.usual + weight * (over - self.usual)

    def _shift(self, level: FloatArray) -> float:
        """By how much the whole pass stands higher than the floor [dB]: the gain moved."""
        idle = self._idle & np.isfinite(level)
        if idle.sum() < LEAST_IDLE or self.passes < 2:
            return 0.0
        bias = detection.averaged_quantile_db(self.averages, 0.5)
        return float(np.median((level - self.floor_db)[idle])) - bias

    def _floor(self) -> None:
        """The floor under the mean of the last passes, and by how many averages a single pass scatters."""
        seen = np.isfinite(self._mean)
        mean = 10.0 * np.log10(np.maximum(self._mean[seen], 1e-40))
        frequency = self.frequencies_khz[seen]
        looks = min(self.passes, float(np.median(self.looks[seen])) + 1.0, MEMORY)
        floor = detection.noise_floor(frequency, mean, self.step_khz, self.averages * looks)
        self.floor_db = np.interp(self.frequencies_khz, frequency, floor.level_db)
        self._idle = np.zeros(seen.size, np.bool_)
        self._idle[seen] = floor.idle
        level = np.where(np.isfinite(self.now_db), self.now_db - self.shift_db, np.nan)
        there = seen & np.isfinite(level)
        idle = detection.NoiseFloor(self.floor_db[there], self._idle[there], floor.idle_share)
        spread = detection.idle_spread_db(level[there], idle)
        if not math.isnan(spread):
            self._spread = spread if math.isnan(self._spread) else self._spread + (spread - self._spread) / 4.0
            self.averages = detection.averages_from_spread(self._spread)
            if self._stated is not None:
                self.averages = min(self.averages, float(self._stated))

    # Thresholds and slots

    def threshold_db(self, chance: float, bins: int = 1) -> float:
        """What the mean of so many neighbouring bins passes by noise alone with this chance in one pass [dB]."""
        averages = self.averages if bins == 1 else self.averages * max(1.0, bins / DEPENDENT_BINS)
        threshold = detection.averaged_threshold_db(averages, chance)
        if self._stated is None and not math.isnan(self._spread) and bins == 1:
            looks = detection.looks_from_spread(self._spread)
            threshold = max(threshold, detection.held_threshold_db(looks, chance))
        return max(threshold, FLOOR_DOUBT_DB)

    def on_db(self) -> float:
        """Over the floor by so much a bin counts as on [dB]."""
        return self.threshold_db(detection.FALSE_ALARM)

    @property
    def within_s(self) -> float:
        """How old the oldest looks are when a pass comes [s]; more than `every_s` where passes are parts."""
        looked_s = self.looked_s[np.isfinite(self.looked_s)]
        return self.every_s + (self.newest_s - float(np.quantile(looked_s, 0.05)) if looked_s.size else 0.0)

    @property
    def band_bins(self) -> int:
        """The bins of a microphone's band."""
        return max(1, round(BAND_KHZ / self.step_khz)) if self.step_khz else 1

    @property
    def tells(self) -> bool:
        """Whether its bins tell a microphone from anything else."""
        return bool(self.passes) and self.step_khz <= COARSE_KHZ and self.resolution_khz >= self.step_khz / 2.0

    def slot(self, khz: float, bandwidth_khz: float) -> SlotNow | None:
        """What is heard in a slot; None where not all of it was looked at."""
        half = bandwidth_khz / 2.0
        if not self.tells:
            return None
        low = int(np.searchsorted(self.frequencies_khz, khz - half - self.step_khz / 2.0, side="right"))
        high = int(np.searchsorted(self.frequencies_khz, khz + half + self.step_khz / 2.0, side="left"))
        part = slice(low, high)
        covers = (high - low) * self.step_khz >= bandwidth_khz - 0.01 * self.step_khz
        if high <= low or not covers or not np.isfinite(self.now_db[part]).all():
            return None
        if self.frequencies_khz[high - 1] - self.frequencies_khz[low] > (high - low - 0.5) * self.step_khz:
            return None
        power = 10.0 ** ((self.now_db[part] - self.shift_db) / 10.0)
        over = power / 10.0 ** (self.floor_db[part] / 10.0)
        mean_db = 10.0 * math.log10(float(np.mean(over)))
        busy = mean_db > self.threshold_db(1e-4, high - low) or float(np.max(over)) > 10.0 ** (
            self.threshold_db(1e-4 / (high - low)) / 10.0
        )
        scale = min(1.0, self.step_khz / self.resolution_khz)
        share = np.max(self.on_looks[part] / np.maximum(self.looks[part], 1))
        return SlotNow(
            max(0.0, mean_db), 10.0 * math.log10(float(power.sum()) * scale) + self.shift_db,
            10.0 * math.log10(float(np.sum(10.0 ** (self.highest_db[part] / 10.0))) * scale), bool(busy),
            float(np.min(self.looked_s[part])), float(share) if share > 4.0 * detection.FALSE_ALARM else 0.0,
        )  # fmt: skip

    # Over time

    def _picture(self, at_s: float) -> None:
        row = self._row()
        self.recent.append((at_s, row))
        if self._minute is None or at_s - self._minute_s >= MINUTE_S:
            self.minute()
            self._minute, self._minute_s = row, at_s
        else:
            self._minute = np.maximum(self._minute, row)

    def minute(self) -> tuple[float, np.ndarray] | None:
        """End the minute under way; its begin, and the highest of each column."""
        if self._minute is None:
            return None
        self.minutes.append((self._minute_s, self._minute))
        self._minute = None
        return self.minutes[-1]

    def _row(self) -> np.ndarray:
        """The pass in columns (at most COLUMNS): half decibels over the floor, from 1; 0 for not looked at."""
        over = 10.0 * np.log10(np.maximum(self.over, 1e-3))
        half_db = np.where(np.isfinite(over), np.clip(np.rint(2.0 * over) + 1.0, 1.0, 255.0), 0.0).astype(np.uint8)
        starts = np.unique(np.arange(min(COLUMNS, over.size)) * over.size // min(COLUMNS, over.size))
        return np.asarray(np.maximum.reduceat(half_db, starts))
