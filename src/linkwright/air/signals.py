"""What stands out of a pass: narrow signals over what noise makes, and over what was heard there of late.

The chance that noise is taken for a signal is set by the hour and shared out over every place and pass. What rises
together with its surroundings, where something wide is usual, is fading (TV).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise
from typing import Final

import numpy as np

from linkwright.air.fresh import FreshAir
from linkwright.units import BoolArray, FloatArray

#: How often noise alone may be told as somebody, all places and passes together [1/h].
FALSE_PER_HOUR: Final = 1e-3
#: Whoever stands lower than this over the floor is nobody to be told of [dB]: the floor wanders as well.
LEAST_DB: Final = 3.0
#: What was heard in a place of late must be topped by this [dB], where it is idle else, and where it is not.
TOP_IDLE_DB, TOP_BUSY_DB = 3.0, 6.0
#: So fast the highest of late is forgotten [dB/s]: 3 dB in ten minutes; so many passes tell what is usual.
FORGET_DB_S: Final = 0.005
LEARNT: Final = 8
#: A place is not idle where this much is usual over the floor [dB].
BUSY_DB: Final = 2.0
#: Surroundings are taken in blocks of this width [kHz]; wider than this is no microphone [kHz].
BLOCK_KHZ: Final = 500.0
WIDE_KHZ: Final = 1_000.0
#: Bins of one carrier lie at most so far apart [kHz], and under its highest by no more than this [dB].
APART_KHZ: Final = 50.0
SKIRT_DB: Final = 20.0
#: What lies so far under a carrier beside it is its skirt [dB].
BESIDE_DB: Final = 35.0
#: Neighbouring bins are added up until they hold so many averages, to see where a signal begins and ends.
SMOOTHED: Final = 6.0


@dataclass(frozen=True, slots=True)
class FoundSignal:
    """A signal in a pass: centre and width [kHz], level in the sweep's unit, mean over the floor [dB], and what is
    usual there (power over the floor)."""

    centre_khz: float
    width_khz: float
    level_db: float
    over_db: float
    base: float


@dataclass(eq=False)
class Signals:
    """What stands out of the passes of an air. Arrays are (bins); powers are over the floor.

    top, top_band : the highest of late, of a bin and of a microphone's band about it.
    """

    air: FreshAir
    top: FloatArray = field(default_factory=lambda: np.zeros(0))
    top_band: FloatArray = field(default_factory=lambda: np.zeros(0))

    def chance(self, places: int) -> float:
        """The chance in one pass at one place: an hour's, over all that is looked at in it, shared by two tests."""
        passes = 3600.0 / max(self.air.every_s, 0.05)
        return FALSE_PER_HOUR / (2.0 * places * passes)

    def band(self, over: FloatArray) -> tuple[FloatArray, BoolArray]:
        """(bins): the mean over a microphone's band about each bin, and whether all of that was looked at."""
        air, bins = self.air, self.air.band_bins
        mean, whole = np.zeros(over.size), np.zeros(over.size, np.bool_)
        if over.size < bins or bins < 2:
            return over.copy(), np.isfinite(air.over)
        total = np.concatenate([[0.0], np.cumsum(over)])
        seen = np.concatenate([[0], np.cumsum(np.isfinite(air.over))])
        frequency = air.frequencies_khz
        near = frequency[bins - 1 :] - frequency[: frequency.size - bins + 1] <= (bins - 0.5) * air.step_khz
        part = slice(bins // 2, bins // 2 + near.size)
        mean[part] = (total[bins:] - total[:-bins]) / bins
        whole[part] = near & (seen[bins:] - seen[:-bins] == bins)
        return mean, whole

    def new(self, over: FloatArray, band: FloatArray, whole: BoolArray) -> BoolArray:
        """(bins): whether somebody new is there, by the bin itself or by the band about it."""
        air, bins = self.air, self.air.band_bins
        chance = self.chance(over.size)
        single, many = (10.0 ** (max(air.threshold_db(chance, n), LEAST_DB) / 10.0) for n in (1, bins))
        usual, _ = self.band(air.usual)
        usual = np.maximum(np.where(whole, usual, air.usual), 1.0)
        busy = usual > 10.0 ** (BUSY_DB / 10.0)
        rise = self._rise(over, busy)
        top = 10.0 ** (np.where(busy, TOP_BUSY_DB, TOP_IDLE_DB) / 10.0) * rise
        ready = ~busy | (air.looks >= LEARNT)
        alone = ~busy & (over > np.maximum(single * rise, top * self.top))
        needed = many * np.where(busy, 1.26 * usual, 1.0) * rise
        together = whole & ready & (band > np.maximum(needed, top * self.top_band))
        spread = np.zeros(over.size + 1, np.int64)
        at = np.flatnonzero(together)
        np.add.at(spread, np.maximum(at - bins // 2, 0), 1)
        np.add.at(spread, np.minimum(at - bins // 2 + bins, over.size), -1)
        return np.asarray(alone | (np.cumsum(spread)[:-1] > 0))

    def _rise(self, over: FloatArray, busy: BoolArray) -> FloatArray:
        """(bins): by what factor the surroundings of each bin, where something wide is usual, stand higher now."""
        size = max(4, round(BLOCK_KHZ / self.air.step_khz))
        blocks = -(-over.size // size)
        padded = np.full(blocks * size, np.nan)
        ratio = np.where(np.isfinite(self.air.over), over / np.maximum(self.air.usual, 1e-3), np.nan)
        padded[: over.size] = np.where(busy, ratio, np.nan)
        rows = padded.reshape(blocks, size)
        enough = np.isfinite(rows).sum(axis=1) >= size // 2
        median = np.ones(blocks)
        if enough.any():
            median[enough] = np.nanmean(rows[enough], axis=1)
            middle = np.nanmedian(rows[enough], axis=1)
            # one that is new lifts the mean and not the middle
            median[enough] = np.minimum(median[enough], 1.5 * middle)
        around = np.maximum.reduce([median, np.append(median[1:], 1.0), np.append(1.0, median[:-1])])
        return np.asarray(np.maximum(np.repeat(around, size)[: over.size], 1.0))

    def signals_in(self, new: BoolArray, over: FloatArray) -> list[FoundSignal]:
        """The signals in the bins that are new, the strongest of each stretch first."""
        signals: list[FoundSignal] = []
        if self.air.passes == 1:
            new = self._closed(new)  # what fades over frequency is one
        edges = np.flatnonzero(np.diff(np.concatenate([[0], new.astype(np.int8), [0]])))
        least = 10.0 ** (self.air.threshold_db(self.chance(over.size)) / 10.0)
        for low, high in edges.reshape(-1, 2):
            rest = over[low:high].copy()
            strongest = 0.0
            for _ in range(8):
                peak = int(np.argmax(rest))
                if rest[peak] <= max(least if strongest else 0.0, strongest * 10.0 ** (-BESIDE_DB / 10.0)):
                    break
                strongest = max(strongest, float(rest[peak]))
                signal, left, right = self.signal(over, low + peak)
                if self.air.passes == 1 and (high - low) * self.air.step_khz > 2.0 * WIDE_KHZ:
                    whole = self.air.frequencies_khz[[low, high - 1]]
                    width = float(whole[1] - whole[0]) + self.air.step_khz
                    signal, left, right = (
                        replace(signal, centre_khz=float(whole.mean()), width_khz=width),
                        low,
                        high,
                    )
                signals.append(signal)
                margin = max(1, round(2.0 * APART_KHZ / self.air.step_khz))
                rest[max(0, left - margin - low) : max(0, right + margin - low)] = 0.0
        return signals

    def _closed(self, new: BoolArray) -> BoolArray:
        """With gaps of less than twice a carrier's closed."""
        at = np.flatnonzero(new)
        closed = new.copy()
        for low, high in pairwise(at.tolist()):
            if 1 < high - low <= 6.0 * APART_KHZ / self.air.step_khz:
                closed[low:high] = True
        return closed

    def signal(self, over: FloatArray, peak: int) -> tuple[FoundSignal, int, int]:
        """The signal about a bin: its centre, width, level; and its bins, from and to."""
        air = self.air
        base = np.maximum(air.usual, 1.0)
        few = min(air.band_bins, over.size, max(1, math.ceil(SMOOTHED / air.averages)))
        excess = over - base
        if few > 1:
            excess = np.convolve(excess, np.ones(few) / few, "same")
            near = slice(max(0, peak - few), peak + few + 1)
            peak = near.start + int(np.argmax(excess[near]))
        least = max(float(excess[peak]) * 10.0 ** (-SKIRT_DB / 10.0), 10.0 ** (air.on_db() / 10.0) - 1.0)
        if excess[peak] <= least:
            least = 0.5 * float(excess[peak])
        gap = max(1, round(APART_KHZ / air.step_khz))
        left = right = peak
        while True:
            more = np.flatnonzero(excess[max(0, left - gap) : left] > least)
            if not more.size:
                break
            left = max(0, left - gap) + int(more[0])
        while True:
            more = np.flatnonzero(excess[right + 1 : right + 1 + gap] > least)
            if not more.size:
                break
            right = right + 1 + int(more[-1])
        trim = min((few - 1) // 2, (right - left) // 2)
        left, right = left + trim, right - trim
        part = slice(left, right + 1)
        power = np.maximum(over[part] - base[part], 1e-12)
        frequency = air.frequencies_khz[part]
        centre = float(np.sum(power * frequency) / np.sum(power))
        floor = 10.0 ** ((air.floor_db[part] + air.shift_db) / 10.0)
        scale = min(1.0, air.step_khz / air.resolution_khz)
        level = 10.0 * math.log10(max(float(np.sum(power * floor)) * scale, 1e-40))
        width = float(frequency[-1] - frequency[0] + air.step_khz)
        over_db = 10.0 * math.log10(max(float(np.mean(over[part])), 1e-3))
        return FoundSignal(centre, width, level, over_db, float(np.median(base[part]))), left, right + 1

    def remember(self, over: FloatArray, band: FloatArray, seconds: float, once: Sequence[FoundSignal]) -> None:
        """The pass belongs to what was heard of late, but for those who are to be seen once more."""
        again = np.zeros(over.size, np.bool_)
        for signal in once:
            again[self.part(signal.centre_khz, signal.width_khz / 2.0 + BLOCK_KHZ)] = True
        forget = 10.0 ** (-FORGET_DB_S * seconds / 10.0)
        self.top = np.where(again, self.top * forget, np.maximum(self.top * forget, over))
        self.top_band = np.where(again, self.top_band * forget, np.maximum(self.top_band * forget, band))

    def forget(self, part: slice, level: FloatArray) -> None:
        """Whoever was in these bins is gone: nothing there was higher than this of late."""
        self.top[part] = np.minimum(self.top[part], level)
        self.top_band[part] = np.minimum(self.top_band[part], level)

    def part(self, centre_khz: float, reach_khz: float) -> slice:
        """The bins within a distance of a frequency."""
        edges = [centre_khz - reach_khz - 1e-6, centre_khz + reach_khz + 1e-6]
        return slice(*np.searchsorted(self.air.frequencies_khz, edges))
