"""What the sweeps of a site say about every slot that a receiver could be tuned to."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Literal, TypeAlias

import numpy as np

from linkwright.air.judgement import COARSE_KHZ, DEPENDENT_BINS, FLOOR_DOUBT_DB, JudgedSweep, judge
from linkwright.air.sweep import Sweep
from linkwright.physics.detection import averaged_threshold_db
from linkwright.units import NOTHING_DBM, BoolArray, FloatArray, IntArray

Evidence: TypeAlias = Literal["measured", "assumed", "none"]

#: A slot whose whole band stands this far over the floor is busy [dB]: as much again as the noise.
WIDE_BUSY_DB = 3.0
#: What is raised in a band besides what was detected is told to be always there, from this share of it on.
ALWAYS_THERE = 0.1


@dataclass(frozen=True, eq=False)
class SlotLevels:
    """What the sweeps say in the bandwidth around each carrier. All arrays are (carriers).

    Attributes
    ----------
    carriers_khz, bandwidth_khz : the slots.
    covered : the whole band was looked at, in bins no wider than the band (or 200 kHz) and without holes
        between them; elsewhere levels are NaN and nothing is known.
    busy : something was detected in the band or within half a bin of it, or the whole band is raised.
    raised : the band's mean stands over the floor by more than chance and doubt allow.
    excess_db : floor and signals over the floor [dB], at least 0; NaN where not covered.
    floor_dbm, level_dbm : floor, and floor with signals, in the band [dBm]; NaN where not calibrated.
    calibrated : whether the sweep that decides here is.
    duty : share of the sweeps (0..1) in which what was detected in the band was on, one more than was seen taken:
        1 for what is always there or shows in the mean only, 0 where nothing was detected.
    from_sweep : index into `sources` of the sweep that decides (the highest excess); -1 where none covers.
    sources : "sweep quay-0830.csv", one for each sweep.
    """

    carriers_khz: IntArray
    bandwidth_khz: int
    covered: BoolArray
    busy: BoolArray
    raised: BoolArray
    excess_db: FloatArray
    floor_dbm: FloatArray
    level_dbm: FloatArray
    calibrated: BoolArray
    duty: FloatArray
    from_sweep: IntArray
    sources: tuple[str, ...]

    def interference_dbm(self, noise_dbm: float) -> FloatArray:
        """Interference [dBm] in the band of a receiver whose own noise in it is `noise_dbm` [dBm].

        Where the sweep is calibrated: what stands on the floor, as measured at the sweep's antenna. Where
        it is relative: the floor is taken for the receiver's own noise ("assumed"). `NOTHING_DBM` where
        nothing stands on the floor, NaN where the slot is not covered.
        """
        excess = np.where(self.covered, self.excess_db, 0.0)
        over = 10.0 ** (excess / 10.0) - 1.0
        base = np.where(self.calibrated, self.floor_dbm, noise_dbm)
        heard = over > 0.0
        level = np.where(heard, base + 10.0 * np.log10(np.where(heard, over, 1.0)), NOTHING_DBM)
        return np.asarray(np.where(self.covered, level, np.nan), dtype=np.float64)

    def evidence(self, index: int) -> Evidence:
        """How well the interference of one slot is known."""
        if not self.covered[index]:
            return "none"
        return "measured" if self.calibrated[index] else "assumed"

    def source(self, index: int) -> str:
        """Where the level of one slot comes from, and on what it rests, in words."""
        if not self.covered[index]:
            return "no sweep looked at all of this band"
        source = self.sources[int(self.from_sweep[index])]
        if self.calibrated[index]:
            return source
        return f"{source}; levels are relative: floor taken as the receiver's own noise"

    def says(self, index: int) -> str:
        """What one slot holds, in words."""
        if not self.covered[index]:
            return "not looked at"
        if not self.raised[index] and not self.busy[index]:
            return "nothing over the floor"
        word = "busy" if self.busy[index] else "raised"
        return f"{word}, {self.excess_db[index]:.1f} dB over the floor"


@dataclass(frozen=True, eq=False)
class MeasuredAir:
    """The judged sweeps of one site."""

    judged: tuple[JudgedSweep, ...]

    @classmethod
    def of(cls, sweeps: Sequence[Sweep]) -> MeasuredAir:
        """The air that these sweeps, all of one site, show. No sweep at all is allowed and covers nothing."""
        return cls(tuple(judge(sweep) for sweep in sweeps))

    @cached_property
    def _sums(self) -> tuple[_Sums, ...]:
        return tuple(_Sums.of(judged) for judged in self.judged)

    def slot_levels(self, carriers_khz: IntArray, bandwidth_khz: int) -> SlotLevels:
        """Levels of slots of one bandwidth [kHz] around `carriers_khz` (carriers), in any order.

        Of several sweeps that cover a slot the one with the highest excess decides; it is busy if any says
        so. Raises ValueError for a bandwidth that is not positive.
        """
        carriers = np.asarray(carriers_khz, dtype=np.int64)
        if bandwidth_khz <= 0:
            raise ValueError(f"a receiver's bandwidth must be positive: {bandwidth_khz} kHz")
        none = np.zeros(carriers.shape, dtype=np.bool_)
        unknown = np.full(carriers.shape, np.nan)
        best = SlotLevels(
            carriers, bandwidth_khz, none, none, none, unknown, unknown, unknown, none, np.zeros(carriers.shape),
            np.full(carriers.shape, -1, dtype=np.int64),
            tuple(f"sweep {judged.sweep.path}" for judged in self.judged),
        )  # fmt: skip
        for index, (judged, sums) in enumerate(zip(self.judged, self._sums, strict=True)):
            best = _higher(best, _levels_of(judged, sums, best, index))
        return best


def slot_levels(sweep: Sweep, carriers_khz: IntArray, bandwidth_khz: int) -> SlotLevels:
    """`MeasuredAir.slot_levels` for one sweep."""
    return MeasuredAir.of([sweep]).slot_levels(carriers_khz, bandwidth_khz)


@dataclass(frozen=True, eq=False)
class _Sums:
    """Running sums over the bins' edges, so that any band is two look-ups."""

    edges_khz: FloatArray  # left, right, left, right...
    width_khz: FloatArray
    floor: FloatArray
    mean_over: FloatArray  # mean less floor, in all bins
    quiet_over: FloatArray  # the same, in bins that are not detected
    signal: FloatArray  # what stands on the floor in detected bins
    detections: IntArray  # (bins + 1) by bin, from zero
    duty: FloatArray  # (bins + 1) of each bin, with one of nothing behind

    @classmethod
    def of(cls, judged: JudgedSweep) -> _Sums:
        over = judged.mean_power - judged.floor_power
        edges = np.stack([judged.left_khz, judged.right_khz], axis=1).ravel()
        return cls(
            edges,
            _along_edges(judged.right_khz - judged.left_khz),
            _along_edges(judged.floor_power),
            _along_edges(over),
            _along_edges(np.where(judged.detected, 0.0, over)),
            _along_edges(judged.signal_power),
            np.concatenate([[0], np.cumsum(judged.detected)]).astype(np.int64),
            np.append(_duty(judged), 0.0),
        )

    def within(self, sums: FloatArray, low: FloatArray, high: FloatArray) -> FloatArray:
        """Integral between two frequencies; a bin that is cut counts by the part inside."""
        upper = np.interp(high, self.edges_khz, sums)
        return np.asarray(upper - np.interp(low, self.edges_khz, sums), dtype=np.float64)


def _duty(judged: JudgedSweep) -> FloatArray:
    """The share of sweeps in which each detected bin was on (bins,), as if it had been on in one more: few looks
    say little. 1 for what shows in the mean only, which something steady does."""
    on, looked = judged.on_count, judged.sweep.looked[judged.column]
    share = np.where(on > 0, np.minimum((on + 1.0) / (looked + 1.0), 1.0), 1.0)
    return np.where(judged.detected, share, 0.0)


def _along_edges(values: FloatArray) -> FloatArray:
    total = np.cumsum(values)
    return np.stack([total - values, total], axis=1).ravel()


def _levels_of(judged: JudgedSweep, sums: _Sums, slots: SlotLevels, index: int) -> SlotLevels:
    """The slots as one sweep sees them."""
    sweep = judged.sweep
    centre = slots.carriers_khz.astype(np.float64)
    low, high = centre - slots.bandwidth_khz / 2.0, centre + slots.bandwidth_khz / 2.0
    looked = sums.within(sums.width_khz, low, high)
    covered = looked >= slots.bandwidth_khz - 0.01 * sweep.step_khz
    too_wide = sweep.step_khz > max(COARSE_KHZ, float(slots.bandwidth_khz))
    if too_wide or sweep.under_sampled:
        covered = np.zeros_like(covered)
    floor = np.where(covered, sums.within(sums.floor, low, high), 1.0)
    band_over = sums.within(sums.mean_over, low, high) / floor
    first = np.searchsorted(judged.right_khz, low - 1e-6, side="left")
    last = np.searchsorted(judged.left_khz, high + 1e-6, side="right")
    any_detected = sums.detections[last] > sums.detections[first]
    # A carrier at the edge of a bin shows in both neighbours: the band may lie half a bin to either side.
    half = sweep.step_khz / 2.0
    signal = np.maximum.reduce([sums.within(sums.signal, low + by, high + by) for by in (-half, 0.0, half)]) / floor
    bins = max(1.0, slots.bandwidth_khz / sweep.step_khz / DEPENDENT_BINS)
    least_db = max(FLOOR_DOUBT_DB, averaged_threshold_db(judged.averages * bins))
    raised = covered & (band_over > 10.0 ** (least_db / 10.0) - 1.0)
    busy = covered & (any_detected | (raised & (band_over > 10.0 ** (WIDE_BUSY_DB / 10.0) - 1.0)))
    quiet = np.maximum(sums.within(sums.quiet_over, low, high) / floor, 0.0)
    over = np.where(any_detected, np.maximum(signal, 0.0), 0.0) + np.where(raised, quiet, 0.0)
    excess = np.where(covered, 10.0 * np.log10(1.0 + over), np.nan)
    bins_of = np.stack([np.minimum(first, judged.left_khz.size), last], axis=-1).ravel()
    duty = np.where(covered & any_detected, np.maximum.reduceat(sums.duty, bins_of)[::2], 0.0)
    duty = np.where(raised & (quiet > ALWAYS_THERE * signal), 1.0, duty)
    scale_db = 10.0 * np.log10(sweep.step_khz / sweep.resolution_khz) + sweep.dbm_offset + sweep.to_power_mean_db
    floor_dbm = np.where(covered, 10.0 * np.log10(floor) + scale_db, np.nan)
    return SlotLevels(
        slots.carriers_khz, slots.bandwidth_khz, covered, busy, raised, excess,
        floor_dbm, floor_dbm + excess, covered & sweep.calibrated, duty,
        np.where(covered, index, -1), slots.sources,
    )  # fmt: skip


def _higher(levels: SlotLevels, other: SlotLevels) -> SlotLevels:
    """Of two views of the same slots, slot by slot the one with the higher excess."""
    take = other.covered & (~levels.covered | (other.excess_db > levels.excess_db))

    def pick(ours: np.ndarray, theirs: np.ndarray) -> np.ndarray:
        return np.where(take, theirs, ours)

    return SlotLevels(
        levels.carriers_khz,
        levels.bandwidth_khz,
        levels.covered | other.covered,
        levels.busy | other.busy,
        levels.raised | other.raised,
        pick(levels.excess_db, other.excess_db),
        pick(levels.floor_dbm, other.floor_dbm),
        pick(levels.level_dbm, other.level_dbm),
        pick(levels.calibrated, other.calibrated),
        np.maximum(levels.duty, other.duty),
        pick(levels.from_sweep, other.from_sweep),
        levels.sources,
    )
