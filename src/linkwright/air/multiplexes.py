"""TV multiplexes in a sweep: which channels of a raster hold one, and what only looks like one.

A multiplex fills its channel evenly and leaves the guards at both edges free; a hump of noise fills the guards
too, and packed microphones leave valleys between them. Bins of 25 kHz tell these apart. The pilot of one
standard shows in bins of up to 100 kHz. With anything coarser, or with too few averages to weigh the guards,
no more can be said than "wideband or packed".
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, Protocol, TypeAlias

import numpy as np

from linkwright.air.judgement import COARSE_KHZ, DEPENDENT_BINS, FLOOR_DOUBT_DB, FLOOR_DOUBT_UNKNOWN_DB, JudgedSweep
from linkwright.physics.detection import (
    averaged_spread_db,
    averaged_threshold_db,
    held_quantile_db,
    looks_from_spread,
)
from linkwright.units import BoolArray, FloatArray, IntArray

Kind: TypeAlias = Literal["multiplex", "wideband or packed"]

#: Bins up to this wide tell a multiplex from packed carriers, and up to this wide show a pilot [kHz].
FINE_KHZ = 25.0
PILOT_KHZ = 100.0
#: Share of a channel that must have been looked at, and of its windows that must stand over the floor.
LEAST_LOOKED = 0.75
LEAST_RAISED = 0.95
#: Least points of a channel where bins are wider than a microphone; of so many one may be missing.
LEAST_POINTS = 3
MISSED_ONE_IN = 5
#: By how many standard errors the mean of all points must be raised.
ON_AVERAGE = 2.0
#: A window that is this far under the channel's middle level is a valley [ratio], and so many more of them
#: than noise makes are too many [share].
VALLEY = 0.25
MOST_VALLEYS = 0.2
#: A guard must hold no more than this part of the density inside [ratio]; the chance that noise decides it.
GUARD = 0.5
GUARD_DOUBT = 0.01
#: A pilot must stand out by this part of the decibels that it should.
PILOT_PART = 0.5
#: Chance that noise alone lifts a bin as far.
FALSE_PILOT = 1e-4
#: Chance that one empty channel of few points passes for a wide signal, and what its floor is known to [dB].
FALSE_CHANNEL = 3e-5
POINTS_DOUBT_DB = 0.5
LEAST_IDLE_POINTS = 20
#: Strips beside an edge that are compared [kHz from the edge]: past the guards of both channels.
STRIP_KHZ = (400.0, 1400.0)
#: The floor under points is the middle of what is around them [kHz]: several multiplexes do not bend it.
AROUND_KHZ = 60_000.0
#: Width over which valleys are looked for, and over which a window must stand out [kHz].
VALLEY_WINDOW_KHZ = 50.0
WINDOW_KHZ = 200.0


class Channel(Protocol):
    """A channel of a raster: what people call it, and its edges [kHz]."""

    @property
    def number(self) -> str: ...
    @property
    def from_khz(self) -> int: ...
    @property
    def to_khz(self) -> int: ...


@dataclass(frozen=True)
class Signature:
    """What a standard's multiplex looks like: channel and occupied width, pilot over the lower edge [kHz].

    `pilot_share` is the pilot's power over that of all the rest.
    """

    standard: str
    channel_khz: int
    occupied_khz: float
    pilot_khz: float | None = None
    pilot_share: float = 0.0

    def pilot_over_density_db(self, bin_khz: float) -> float:
        """How far a bin [kHz] with the pilot stands over its neighbours [dB]: the pilot adds to their density."""
        return 10.0 * math.log10(1.0 + self.pilot_share * self.occupied_khz / bin_khz)


#: Occupied widths and the pilot; the 7 MHz variant is 7/8 of the 8 MHz one
#: (same transform, slower clock). The pilot is an offset of 1.25 on levels of 1, 3, 5 and 7 either side of zero,
#: whose mean square is 21 (ATSC A/53 part 2, from memory): 11.3 dB under the data.
SIGNATURES = (
    Signature("ATSC", 6000, 5380.0, 309.441, 1.25**2 / 21.0),
    Signature("ATSC 3.0", 6000, 5832.0),
    Signature("ISDB-T", 6000, 5572.0),
    Signature("DVB-T", 7000, 7607.0 * 7.0 / 8.0),
    Signature("DVB-T", 8000, 7607.0),
    Signature("DVB-T2 extended", 8000, 7768.0),
)
#: Stations may be moved off the raster's centre by a sixth of a megahertz (common practice, no source).
OFFSETS_KHZ = (0.0, 1000.0 / 6.0, -1000.0 / 6.0)


@dataclass(frozen=True)
class Multiplex:
    """A channel that is taken: its edges [kHz], the power in it in the sweep's unit, the density over the floor.

    `kind` says how much the sweep allows to say; `standard` is named where a pilot at `pilot_khz` tells it.
    """

    channel: str
    from_khz: int
    to_khz: int
    level_db: float
    excess_db: float
    kind: Kind
    standard: str | None = None
    pilot_khz: float | None = None


def multiplexes(judged: JudgedSweep, raster: Sequence[Channel]) -> tuple[Multiplex, ...]:
    """The channels of a raster that hold a multiplex, or something that cannot be told from one."""
    view = _View.of(judged)
    if view.few_points:
        points = points_of(judged)
        looks = [(channel, _look_at_points(view, points, channel)) for channel in raster]
    else:
        looks = [(channel, _look(view, channel)) for channel in raster]
    taken = {channel.number: multiplex for channel, multiplex in looks if multiplex is not None}
    while not view.few_points and (spilling := _spilling(view, raster, taken)):
        for number in spilling:
            del taken[number]
    return tuple(taken.values())


def _spilling(view: _View, raster: Sequence[Channel], taken: dict[str, Multiplex]) -> list[str]:
    """Channels whose signal goes on behind an edge, into a neighbour that is no multiplex: a hump, no TV.

    Asked only where the guards were not looked at: there a free guard has not answered it yet.
    """
    numbers = []
    for channel in raster:
        multiplex = taken.get(channel.number)
        if multiplex is None or multiplex.kind == "multiplex":
            continue
        width = channel.to_khz - channel.from_khz
        for edge, side in ((channel.from_khz, -1), (channel.to_khz, 1)):
            middle = edge + side * width / 2.0
            if any(other.from_khz < middle < other.to_khz for other in taken.values()):
                continue
            inside, behind = _strip(view, edge, -side), _strip(view, edge, side)
            if behind > GUARD * inside:
                numbers.append(channel.number)
                break
    return numbers


def _strip(view: _View, edge_khz: float, side: int) -> float:
    """Density over the floor [ratio] in a strip beside an edge; NaN where it was not looked at."""
    low, high = sorted((edge_khz + side * STRIP_KHZ[0], edge_khz + side * STRIP_KHZ[1]))
    bins = view.between(low, high)
    return float(np.median(view.over[bins])) if bins.size > 1 else math.nan


@dataclass(frozen=True, eq=False)
class Points:
    """Every bin on its own, over what is around it: mean and highest over all sweeps [dB], and the scatter.

    `mean_scatter_db` is that of the means of idle bins, `scatter_db` that of one sweep. Each sweep counts from
    its own floor, so that a receiver or an antenna that was turned does not hide the rest.
    """

    mean_db: FloatArray
    highest_db: FloatArray
    scatter_db: float
    mean_scatter_db: float


def points_of(judged: JudgedSweep) -> Points:
    """The bins of a sweep as points."""
    idle = ~judged.detected
    over = judged.sweep.levels_db[:, judged.column] - judged.floor_db
    if int(idle.sum()) < LEAST_IDLE_POINTS:
        scatter = averaged_spread_db(judged.averages)
        return Points(judged.mean_db - judged.floor_db, judged.maximum_db - judged.floor_db, scatter, scatter)
    over = over - _medians_around(judged.frequencies_khz, over, idle)
    mean = np.nanmean(over, axis=0)
    each = np.nanquantile(over[:, idle], [0.16, 0.5])
    means = np.quantile(mean[idle], [0.16, 0.5])
    return Points(mean, np.nanmax(over, axis=0), float(each[1] - each[0]), float(means[1] - means[0]))


def _medians_around(frequency: FloatArray, levels: FloatArray, idle: BoolArray) -> FloatArray:
    """(sweeps, n) the median of the idle levels within half of `AROUND_KHZ` of each; of all where few are idle."""
    around = np.empty(levels.shape)
    masks, which = np.unique(idle & np.isfinite(levels), axis=0, return_inverse=True)
    for n, known in enumerate(masks):  # sweeps that know the same bins go together: mostly all of them
        rows = np.flatnonzero(which.reshape(-1) == n)
        at, there = frequency[known], levels[np.ix_(rows, known)]
        low = np.searchsorted(at, frequency - AROUND_KHZ / 2.0)
        high = np.searchsorted(at, frequency + AROUND_KHZ / 2.0, side="right")
        typical = np.median(there, axis=1) if at.size else np.zeros(rows.size)
        for column, (a, b) in enumerate(zip(low.tolist(), high.tolist(), strict=True)):
            around[rows, column] = np.median(there[:, a:b], axis=1) if b - a >= LEAST_POINTS else typical
    return around


@dataclass(frozen=True, eq=False)
class _View:
    """A judged sweep with what every channel needs: density over the floor as a ratio, and its least."""

    judged: JudgedSweep
    over: FloatArray
    least: float

    @classmethod
    def of(cls, judged: JudgedSweep) -> _View:
        over = judged.mean_power / judged.floor_power - 1.0
        stated = judged.sweep.averages is not None and judged.sweep.detector in ("rms", "unknown")
        doubt = FLOOR_DOUBT_DB if stated else FLOOR_DOUBT_UNKNOWN_DB
        bins = max(1.0, WINDOW_KHZ / judged.sweep.step_khz / DEPENDENT_BINS)
        least_db = max(doubt, averaged_threshold_db(judged.averages * bins))
        return cls(judged, over, 10.0 ** (least_db / 10.0) - 1.0)

    @property
    def few_points(self) -> bool:
        """Whether a channel has but a few points: bins wider than a microphone, or holes between them."""
        return self.judged.sweep.under_sampled or self.step_khz > COARSE_KHZ

    @property
    def step_khz(self) -> float:
        """Distance of the bins [kHz]."""
        return self.judged.sweep.step_khz

    def between(self, low: float, high: float) -> IntArray:
        """Bins that lie wholly between two frequencies [kHz], or centred there where hardly any was looked at."""
        if self.few_points:
            inside = (self.judged.frequencies_khz >= low) & (self.judged.frequencies_khz <= high)
        else:
            inside = (self.judged.left_khz >= low - 1e-6) & (self.judged.right_khz <= high + 1e-6)
        return np.flatnonzero(inside)


def _look(view: _View, channel: Channel) -> Multiplex | None:
    """What one channel holds."""
    signatures = [
        signature for signature in SIGNATURES if signature.channel_khz == channel.to_khz - channel.from_khz
    ]
    narrowest = min(
        (signature.occupied_khz for signature in signatures), default=0.9 * (channel.to_khz - channel.from_khz)
    )
    widest = max((signature.occupied_khz for signature in signatures), default=narrowest)
    unknown: Multiplex | None = None
    for offset in OFFSETS_KHZ:
        centre = (channel.from_khz + channel.to_khz) / 2.0 + offset
        bins = view.between(centre - 0.48 * narrowest, centre + 0.48 * narrowest)
        if not _is_filled(view, bins, 0.96 * narrowest):
            continue
        pilot = _pilot(view, channel, signatures, bins, offset)
        if pilot is not None:
            return _named(view, channel, bins, "multiplex", *pilot)
        width = channel.to_khz - channel.from_khz
        guard = (width - widest) / 2.0
        edges = [_guard_is_free(view, centre + side * width / 2.0, guard, bins) for side in (-1, 1)]
        if edges == [True, True]:
            return _named(view, channel, bins, "multiplex")
        if None in edges and offset == 0.0 and False not in edges:
            unknown = _named(view, channel, bins, "wideband or packed")
    return unknown


def _is_filled(view: _View, bins: IntArray, width_khz: float) -> bool:
    """Whether nearly all of a band stands over the floor, without the valleys between packed carriers."""
    if bins.size < 2 or bins.size * view.step_khz < LEAST_LOOKED * width_khz:
        return False
    over = view.over[bins]
    middle = float(np.median(over))
    if middle < view.least or _share(_moving(over, view.step_khz, WINDOW_KHZ) > view.least) < LEAST_RAISED:
        return False
    if view.step_khz > PILOT_KHZ:
        return True
    smooth = _moving(over, view.step_khz, VALLEY_WINDOW_KHZ)
    width = max(1, round(VALLEY_WINDOW_KHZ / view.step_khz))
    expected = _valleys_of_noise(view.judged.averages * width, middle)
    return _share(smooth < VALLEY * middle) <= expected + MOST_VALLEYS


def _valleys_of_noise(averages: float, middle: float) -> float:
    """Share of windows of an even plateau that chance alone makes valleys (gamma)."""
    from scipy.special import gammainc

    return float(gammainc(averages, averages * (1.0 + VALLEY * middle) / (1.0 + middle)))


def _guard_is_free(view: _View, edge_khz: float, guard_khz: float, bins: IntArray) -> bool | None:
    """Whether the guard about a channel's edge is free; None where it cannot be known."""
    if view.step_khz > FINE_KHZ or view.judged.sweep.resolution_khz > 2.0 * FINE_KHZ:
        return None
    guard = view.between(edge_khz - guard_khz, edge_khz + guard_khz)
    if guard.size < 2:
        return None
    from scipy.special import gammaincinv

    most = GUARD * float(np.median(view.over[bins]))
    within = 1.0 + float(np.mean(view.over[guard]))
    shape = max(1.0, view.judged.averages * guard.size / DEPENDENT_BINS)
    low, high = (float(gammaincinv(shape, chance)) / shape for chance in (GUARD_DOUBT, 1.0 - GUARD_DOUBT))
    if within / low - 1.0 <= most:
        return True
    return False if within / high - 1.0 > most else None


def _pilot(
    view: _View, channel: Channel, signatures: Sequence[Signature], bins: IntArray, offset_khz: float
) -> tuple[str, float] | None:
    """The standard whose pilot stands where it should, and where [kHz]; None where none does."""
    sweep = view.judged.sweep
    if max(view.step_khz, sweep.resolution_khz) > PILOT_KHZ:
        return None
    middle = float(np.median(view.over[bins]))
    bin_khz = max(view.step_khz, sweep.resolution_khz)
    for signature in signatures:
        if signature.pilot_khz is None:
            continue
        pilot_khz = channel.from_khz + offset_khz + signature.pilot_khz
        chance_db = averaged_threshold_db(view.judged.averages, FALSE_PILOT)
        out_db = max(chance_db, PILOT_PART * signature.pilot_over_density_db(bin_khz))
        near = np.flatnonzero(np.abs(view.judged.frequencies_khz - pilot_khz) <= view.step_khz)
        if near.size and view.over[near].max() + 1.0 > (middle + 1.0) * 10.0 ** (out_db / 10.0):
            return signature.standard, pilot_khz
    return None


def _look_at_points(view: _View, points: Points, channel: Channel) -> Multiplex | None:
    """A channel of which each point stood out in some sweep, and all of them on average, more than by chance."""
    from scipy.special import ndtri

    bins = view.between(channel.from_khz, channel.to_khz)
    if bins.size < LEAST_POINTS:
        return None
    needed = bins.size - bins.size // MISSED_ONE_IN
    chance = (FALSE_CHANNEL / math.comb(bins.size, needed)) ** (1.0 / needed)
    each = -math.expm1(math.log1p(-chance) / view.judged.sweep.sweeps)
    alone = max(float(-ndtri(each)) * points.scatter_db, POINTS_DOUBT_DB)
    if view.judged.sweep.averages is None:  # peaks may be held, which reach farther up than down
        looks = looks_from_spread(points.scatter_db)
        alone = max(alone, held_quantile_db(looks, 1.0 - each) - held_quantile_db(looks, 0.5))
    together = ON_AVERAGE * points.mean_scatter_db / math.sqrt(bins.size)
    if int(np.sum(points.highest_db[bins] > alone)) < needed or float(np.mean(points.mean_db[bins])) < together:
        return None
    return _named(view, channel, bins, "wideband or packed")


def _named(
    view: _View,
    channel: Channel,
    bins: IntArray,
    kind: Kind,
    standard: str | None = None,
    pilot_khz: float | None = None,
) -> Multiplex:
    judged, sweep = view.judged, view.judged.sweep
    signal = np.maximum(view.over[bins], 0.0) * judged.floor_power[bins]
    width = channel.to_khz - channel.from_khz
    power = float(np.mean(signal)) * width / sweep.resolution_khz
    return Multiplex(
        channel.number,
        channel.from_khz,
        channel.to_khz,
        10.0 * math.log10(max(power, 1e-40)) + sweep.to_power_mean_db,
        10.0 * math.log10(1.0 + max(0.0, float(np.median(view.over[bins])))),
        kind,
        standard,
        pilot_khz,
    )


def _share(marked: BoolArray) -> float:
    return float(np.mean(marked))


def _moving(values: FloatArray, step_khz: float, width_khz: float) -> FloatArray:
    """Moving mean over about `width_khz`; as many values fewer as the window has more than one."""
    size = min(values.size, max(1, round(width_khz / step_khz)))
    total = np.concatenate([[0.0], np.cumsum(values)])
    return np.asarray((total[size:] - total[:-size]) / size)
