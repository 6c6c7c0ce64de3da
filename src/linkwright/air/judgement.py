"""A sweep with a judgement on every bin: how high the floor is there, and whether something stands on it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from linkwright.air.sweep import Sweep, power_of
from linkwright.physics import detection
from linkwright.units import BoolArray, FloatArray, IntArray

#: A bin must stand at least this far over the floor to be called busy [dB]: the floor itself is known to
#: some tenths of a decibel (measured on simulated sweeps, docs/sweeps.md), and receivers ripple.
FLOOR_DOUBT_DB = 0.75
#: The same for the mean over a microphone's bandwidth where the averages are unknown: in such files the floor
#: itself was seen to wander by a decibel or two.
FLOOR_DOUBT_UNKNOWN_DB = 3.0
#: The bandwidth over which bins are added up to find what is too weak for one bin [kHz]: a microphone's.
BAND_KHZ = 200.0
#: Bins of a windowed transform are not independent: about this many count as one (the noise bandwidth of a
#: Hann window in bins; F. J. Harris, Proc. IEEE 66 (1978) 51, table 1).
DEPENDENT_BINS = 1.5
#: Idle bins that scatter more than this many times what the stated averages explain are believed instead.
_SCATTER_BELIEVED = 1.5
_SWEEPS_FOR_SPREAD = 8
#: Bins this far under a floor show that the floor is wrong [dB], where noise alone scatters less.
_FAR_UNDER_DB = 6.0
#: So many bins are no accident [share].
_FAR_UNDER_SHARE = 0.05
#: Coarser bins cannot tell a microphone from something else [kHz]; the project's choice.
COARSE_KHZ = 200.0
#: Fewer bins, or a smaller share of idle blocks, make a floor uncertain; the project's choice.
LEAST_BINS = 64
LEAST_IDLE = 0.15


@dataclass(frozen=True, eq=False)
class JudgedSweep:
    """What was looked at in a sweep, and what stands on the floor. All arrays are (bins), finite.

    Attributes
    ----------
    sweep : the sweep as read.
    column : which bin of the sweep each bin here is; those never looked at are left out.
    frequencies_khz : centres [kHz]; `left_khz`, `right_khz` the edges, which meet where there is no gap.
    floor_db, mean_db, maximum_db : floor, mean in power and highest over time, in the sweep's unit.
    detected : True where something was found (see `judge`), with a false alarm of 1e-3 a bin at most.
    mean_threshold_db, maximum_threshold_db : thresholds of a bin over the floor [dB].
    averages : looks in the mean, as stated or as the idle bins scatter.
    idle_share : share of the blocks that were used as floor, 0..1.
    notes : how the floor and the thresholds were come by, a sentence each.
    """

    sweep: Sweep
    column: IntArray
    frequencies_khz: FloatArray
    left_khz: FloatArray
    right_khz: FloatArray
    floor_db: FloatArray
    mean_db: FloatArray
    maximum_db: FloatArray
    detected: BoolArray
    mean_threshold_db: float
    maximum_threshold_db: float
    averages: float
    idle_share: float
    notes: tuple[str, ...]

    @cached_property
    def floor_power(self) -> FloatArray:
        """The floor as power, in milliwatts of the sweep's own reference."""
        return np.asarray(10.0 ** (self.floor_db / 10.0), dtype=np.float64)

    @cached_property
    def mean_power(self) -> FloatArray:
        """The mean over time as power."""
        return np.asarray(10.0 ** (self.mean_db / 10.0), dtype=np.float64)

    @property
    def on_count(self) -> IntArray:
        """(bins) in how many sweeps the bin was over the threshold of the maximum."""
        return self._while_on[0]

    @cached_property
    def signal_power(self) -> FloatArray:
        """What stands on the floor in detected bins, while it is on; nothing elsewhere.

        While it is on: the power mean over the sweeps in which the bin was over its threshold, or over all
        where it never was. The highest alone would read high by chance: 1.6 dB at 12 sweeps of 16 averages.
        """
        count, power = self._while_on
        over = np.maximum(power / np.maximum(count, 1), self.mean_power) - self.floor_power
        return np.where(self.detected, np.maximum(over, 0.0), 0.0)

    @cached_property
    def _while_on(self) -> tuple[IntArray, FloatArray]:
        """(bins) in how many sweeps each bin was over its threshold, and the sum of its power in them."""
        count = np.zeros(self.column.size, dtype=np.int64)
        power = np.zeros(self.column.size)
        threshold = self.floor_db + self.maximum_threshold_db
        for rows in self.sweep.batches():
            levels = self.sweep.levels_db[rows][:, self.column]
            on = levels > threshold  # False where nothing was looked at
            count += on.sum(axis=0)
            power += np.where(on, power_of(levels), 0.0).sum(axis=0)
        return count, power

    @property
    def uncertain(self) -> bool:
        """Whether the floor rests on little: hardly an idle block, few bins, or bins too wide."""
        few = self.frequencies_khz.size < LEAST_BINS or self.idle_share < LEAST_IDLE
        return few or self.sweep.step_khz > COARSE_KHZ

    @property
    def typical_floor_db(self) -> float:
        """The median floor, in the sweep's unit."""
        return float(np.median(self.floor_db))


def judge(sweep: Sweep) -> JudgedSweep:
    """Find the floor of a sweep and what stands on it.

    The floor is that of the mean over time. A bin is detected where the mean is over the threshold for all
    averages together, or the maximum over time is over the threshold for the highest of so many sweeps:
    the mean finds the weak and steady, the maximum the short. What neither finds is looked for once more in
    the mean over a microphone's bandwidth. The false-alarm rate is shared out among these tests.
    """
    column = np.flatnonzero(sweep.looked > 0)
    frequency = sweep.frequencies_khz[column]
    mean, maximum = sweep.mean_db[column], sweep.maximum_db[column]
    stated = sweep.averages if sweep.detector in ("rms", "unknown") else None
    averages, floor, notes = _floor(sweep, frequency, mean, stated)
    if sweep.step_khz > COARSE_KHZ or frequency.size < LEAST_BINS:
        known = float(stated * sweep.sweeps) if stated is not None else averages
        floor, more = _floor_under_few_bins(frequency, mean, known, floor)
        notes += more
    spread = detection.idle_spread_db(mean, floor)
    single = _single_spread_db(sweep, column, floor) if sweep.sweeps > 1 else spread
    band_bins = round(BAND_KHZ / sweep.step_khz)
    tests = 1 + (sweep.sweeps > 1) + (band_bins > 1)
    chance = detection.FALSE_ALARM / tests
    mean_threshold = _threshold_db(stated, averages, spread, 1, chance)
    per_sweep = _believed(float(stated), single) if stated is not None else averages
    maximum_threshold = _threshold_db(stated, per_sweep, single, sweep.sweeps, chance)
    detected = (mean > floor.level_db + mean_threshold) | (maximum > floor.level_db + maximum_threshold)
    if band_bins > 1:
        doubt = FLOOR_DOUBT_DB if stated is not None else FLOOR_DOUBT_UNKNOWN_DB
        over = np.where(detected, 0.0, mean - floor.level_db)
        threshold = detection.averaged_threshold_db(averages * band_bins / DEPENDENT_BINS, chance)
        detected |= _band_over(frequency, over, band_bins, sweep.step_khz, max(threshold, doubt))
    left, right = _edges(frequency, sweep.step_khz)
    if sweep.step_khz > COARSE_KHZ:
        notes.append(f"bins of {sweep.step_khz:.0f} kHz are too wide to tell a microphone from anything else")
    if floor.idle_share < LEAST_IDLE:
        notes.append("hardly any of the band is idle: the floor is uncertain")
    return JudgedSweep(
        sweep, column, frequency, left, right, floor.level_db, mean, maximum, detected,
        mean_threshold, maximum_threshold, averages, floor.idle_share, tuple(notes),
    )  # fmt: skip


def _floor(
    sweep: Sweep, frequency: FloatArray, mean: FloatArray, stated: int | None
) -> tuple[float, detection.NoiseFloor, list[str]]:
    """Averages in the mean over time, the floor under it, and how both were come by."""
    if stated is not None:
        return _floor_as_stated(frequency, mean, sweep.step_khz, float(stated * sweep.sweeps))
    first = [row[np.isfinite(row)] for row in sweep.levels_db[:_SWEEPS_FOR_SPREAD]]
    spreads = [detection.neighbour_spread_db(row) for row in first if row.size]
    guess = detection.averages_from_spread(float(np.median(spreads))) * sweep.sweeps if spreads else 1.0
    floor = detection.noise_floor(frequency, mean, sweep.step_khz, guess)
    scatter = detection.idle_spread_db(mean, floor)
    if math.isnan(scatter):
        return guess, floor, ["too few idle bins to tell the averages: taken from neighbouring bins"]
    averages = detection.averages_from_spread(scatter)
    floor = detection.noise_floor(frequency, mean, sweep.step_khz, averages)
    return averages, floor, [f"averages unknown: the idle bins scatter as {averages:.0f} averages do"]


def _floor_under_few_bins(
    frequency: FloatArray, mean: FloatArray, averages: float, floor: detection.NoiseFloor
) -> tuple[detection.NoiseFloor, list[str]]:
    """The floor of a sweep with few or wide bins, most of which may hold signals.

    A quarter of the bins of every stretch is then no longer idle, and what was found is too high: bins lie
    farther under it than noise can. The lowest bin within 40 MHz counts instead.
    """
    above = float(np.quantile(mean, 0.84) - np.median(mean))  # what noise scatters upwards, it does downwards
    least = max(_FAR_UNDER_DB, 4.0 * min(above, detection.averaged_spread_db(averages)))
    if np.mean(mean < floor.level_db - least) < _FAR_UNDER_SHARE:
        return floor, []
    level = detection.opening(frequency, mean, detection.OPENING_KHZ)
    idle = mean <= level + detection.IDLE_DB
    note = "nearly all bins hold signals: the floor is the lowest level within 40 MHz"
    return detection.NoiseFloor(level, idle, min(float(np.mean(idle)), 0.99 * LEAST_IDLE)), [note]


def _floor_as_stated(
    frequency: FloatArray, mean: FloatArray, step_khz: float, averages: float
) -> tuple[float, detection.NoiseFloor, list[str]]:
    """`_floor` where the averages are stated, and believed unless the idle bins say otherwise."""
    floor = detection.noise_floor(frequency, mean, step_khz, averages)
    believed = _believed(averages, detection.idle_spread_db(mean, floor))
    if believed == averages:
        return averages, floor, [f"threshold for {averages:.0f} averages, as stated"]
    # The wrong number bent the first floor, and with it the choice of idle bins: once more.
    floor = detection.noise_floor(frequency, mean, step_khz, believed)
    scatter = detection.idle_spread_db(mean, floor)
    if not math.isnan(scatter):
        believed = detection.averages_from_spread(scatter)
        floor = detection.noise_floor(frequency, mean, step_khz, believed)
    note = f"{averages:.0f} averages stated, but the idle bins scatter as {believed:.0f} do: believed"
    return believed, floor, [note]


def _believed(stated: float, scatter_db: float) -> float:
    """The averages to reckon with: as stated, unless idle bins scatter far more than that explains."""
    if not scatter_db > _SCATTER_BELIEVED * detection.averaged_spread_db(stated):
        return stated
    return detection.averages_from_spread(scatter_db)


def _threshold_db(stated: int | None, averages: float, spread_db: float, sweeps: int, chance: float) -> float:
    """Threshold over the floor [dB]: gamma, and where the averages are unknown also for held maxima."""
    threshold = detection.averaged_threshold_db(averages, chance, sweeps)
    if stated is None and not math.isnan(spread_db):
        looks = detection.looks_from_spread(spread_db)
        own = detection.averaged_threshold_db(detection.averages_from_spread(spread_db), chance, sweeps)
        threshold = max(own, detection.held_threshold_db(looks, chance, sweeps))
    return max(threshold, FLOOR_DOUBT_DB)


def _band_over(
    frequency: FloatArray, over_db: FloatArray, bins: int, step_khz: float, threshold_db: float
) -> BoolArray:
    """Bins (bins) in the middle of a window of `bins` whose mean power over the floor passes the threshold.

    Windows across a gap do not count. What was detected bin by bin must have been taken out (0 dB) before,
    or a strong carrier would make its whole neighbourhood busy.
    """
    marked = np.zeros(frequency.size, dtype=np.bool_)
    if frequency.size < bins:
        return marked
    total = np.concatenate([[0.0], np.cumsum(10.0 ** (over_db / 10.0))])
    mean = (total[bins:] - total[:-bins]) / bins
    whole = frequency[bins - 1 :] - frequency[: frequency.size - bins + 1] <= (bins - 0.5) * step_khz
    first = bins // 2
    marked[first : first + mean.size] = whole & (mean > 10.0 ** (threshold_db / 10.0))
    return marked


def _single_spread_db(sweep: Sweep, column: IntArray, floor: detection.NoiseFloor) -> float:
    """Median over a few sweeps of the idle bins' lower half-spread within one sweep [dB]; NaN if unknown."""
    spreads = []
    for row in sweep.levels_db[:_SWEEPS_FOR_SPREAD, column]:
        looked = np.isfinite(row)
        part = detection.NoiseFloor(floor.level_db[looked], floor.idle[looked], floor.idle_share)
        spreads.append(detection.idle_spread_db(row[looked], part))
    known = [spread for spread in spreads if not math.isnan(spread)]
    return float(np.median(known)) if known else math.nan


def _edges(frequency: FloatArray, step_khz: float) -> tuple[FloatArray, FloatArray]:
    """Edges of the bins [kHz]: half way to a neighbour within 1.5 steps, else half a step away."""
    left, right = frequency - step_khz / 2.0, frequency + step_khz / 2.0
    near = np.diff(frequency) <= 1.5 * step_khz
    middle = 0.5 * (frequency[1:] + frequency[:-1])
    right[:-1] = np.where(near, middle, right[:-1])
    left[1:] = np.where(near, middle, left[1:])
    return left, right
