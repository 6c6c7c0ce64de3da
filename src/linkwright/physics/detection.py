"""Telling signals from noise in a sweep: the floor, its spread, and thresholds over it.

The noise power in one bin, averaged over M independent looks, is gamma distributed: mean 1, shape M; the
highest of n looks is the maximum of n exponentials. Both are exact for white Gaussian noise after a Fourier
transform (e.g. S. M. Kay, Fundamentals of Statistical Signal Processing, vol. II, 1998, chapter 5), so the
bias of a low percentile and the threshold at a false-alarm rate are computed as quantiles, not pasted
from a table. Every level here is a *power mean* in decibels: the mean of decibels reads 2.51 dB below the
decibels of the mean for a single look (10 gamma / ln 10, gamma = 0.5772: expectation of a log-exponential),
and such a mean is never taken.

The floor is found as follows: the 25th percentile of short blocks, less the percentile's bias; an opening
(lowest, then highest, in a window of 40 MHz), which removes whatever stands up and is narrower than
that; then the power mean of the idle blocks, weighted by distance, a few times over.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from linkwright.units import BoolArray, FloatArray

#: Share of bins that noise alone lifts over a threshold; the project's choice.
FALSE_ALARM = 1e-3
#: What stands up over less than this is signal, not floor [kHz]: twice a 20 MHz hump, or five TV channels.
OPENING_KHZ = 40_000.0
#: Length of the blocks whose percentile is taken [kHz], and the least number of bins in one.
BLOCK_KHZ = 300.0
BLOCK_BINS = 16
#: Most blocks in one sweep; more would make the distance weights (blocks x blocks) large.
MOST_BLOCKS = 2048
#: Reach of the floor's smoothing between idle blocks [kHz]; wider, fainter reaches bridge busy stretches.
SMOOTHING_KHZ = 6_000.0
#: The percentile of a block that stands for its floor.
LOW_SHARE = 0.25
#: Neighbouring bins are added up until a bin holds about this many averages.
GROUPED_AVERAGES = 8.0
#: A block this little over the floor is idle [dB], where its own scatter is less than that.
IDLE_DB = 0.75
_ITERATIONS = 6


@dataclass(frozen=True, eq=False)
class NoiseFloor:
    """The floor under a trace: `level_db` (n) [dB], `idle` (n) bins in idle blocks, `idle_share` 0..1."""

    level_db: FloatArray
    idle: BoolArray
    idle_share: float


def averaged_quantile_db(averages: float, share: float) -> float:
    """Level [dB over the power mean] under which `share` of bins averaged `averages` times lie (gamma)."""
    from scipy.special import gammaincinv

    return 10.0 * math.log10(float(gammaincinv(averages, share)) / averages)


def detector_bias_db(detector: str, averages: int | None = None) -> float:
    """How far a detector reads over the power mean of noise [dB].

    "log-average": 10 gamma / ln 10 = 2.51 dB low, the expectation of the logarithm of an exponential;
    "voltage-average": 10 log10(pi / 4) = 1.05 dB low, the squared mean of a Rayleigh amplitude over its mean
    square; "peak": 10 log10 H_n high for n = `averages` looks (all three exact for Gaussian noise); others 0.
    A steady carrier far over the noise reads the same by all of them.
    """
    if detector == "log-average":
        return -10.0 * float(np.euler_gamma) / math.log(10.0)
    if detector == "voltage-average":
        return 10.0 * math.log10(math.pi / 4.0)
    if detector == "peak" and averages is not None:
        return held_bias_db(averages)
    return 0.0


def noise_density_dbm_hz(
    level_dbm: float, resolution_khz: float, detector: str = "rms", averages: int | None = None
) -> float:
    """Density [dBm/Hz] of noise that reads `level_dbm` in a noise bandwidth [kHz] by a detector."""
    return level_dbm - detector_bias_db(detector, averages) - 10.0 * math.log10(resolution_khz * 1e3)


#: Noise bandwidth of windows in bins: sum of squares over the square of the sum, of long windows
#: (F. J. Harris, Proc. IEEE 66 (1978) 51, table 1; flat-top from memory).
NOISE_BANDWIDTH_BINS = {
    "rectangular": 1.0,
    "hann": 1.5,
    "hamming": 1.363,
    "blackman-harris": 2.004,
    "flat-top": 3.770,
}


def held_bias_db(looks: float) -> float:
    """How far the mean of the highest of `looks` single looks reads over the noise power [dB].

    10 log10 H_n with the harmonic number H_n = psi(n + 1) + 0.5772, the mean of the maximum of n
    exponentials (exact); n need not be whole.
    """
    from scipy.special import digamma

    return 10.0 * math.log10(float(digamma(looks + 1.0)) + float(np.euler_gamma))


def held_quantile_db(looks: float, share: float) -> float:
    """Level under which `share` of the highest of `looks` looks lie [dB over the mean of such maxima]."""
    highest = -math.log(-math.expm1(math.log(share) / looks))
    return 10.0 * math.log10(highest) - held_bias_db(looks)


def averaged_threshold_db(averages: float, false_alarm: float = FALSE_ALARM, sweeps: int = 1) -> float:
    """Level over the floor [dB] that noise averaged `averages` times passes with `false_alarm`.

    With `sweeps` > 1: that the highest of so many independent sweeps passes.
    """
    from scipy.special import gammainccinv

    per_sweep = -math.expm1(math.log1p(-false_alarm) / sweeps)
    return 10.0 * math.log10(float(gammainccinv(averages, per_sweep)) / averages)


def held_threshold_db(looks: float, false_alarm: float = FALSE_ALARM, sweeps: int = 1) -> float:
    """The same for the highest of `looks` looks, over the mean of such maxima."""
    return held_quantile_db(looks, math.exp(math.log1p(-false_alarm) / sweeps))


def averaged_spread_db(averages: float) -> float:
    """Lower half of the spread of averaged noise [dB]: its median less its 16th percentile."""
    return averaged_quantile_db(averages, 0.5) - averaged_quantile_db(averages, 0.16)


def held_spread_db(looks: float) -> float:
    """Lower half of the spread of the highest of `looks` looks [dB]."""
    return held_quantile_db(looks, 0.5) - held_quantile_db(looks, 0.16)


def averages_from_spread(spread_db: float) -> float:
    """How many averages (1..1e6) give noise this lower half-spread [dB]."""
    low, high = 0.0, 6.0
    for _ in range(40):
        middle = 0.5 * (low + high)
        if averaged_spread_db(10.0**middle) > spread_db:
            low = middle
        else:
            high = middle
    return float(10.0 ** (0.5 * (low + high)))


def looks_from_spread(spread_db: float) -> float:
    """How many looks (1..1e6), the highest of which is kept, give noise this lower half-spread [dB]."""
    low, high = 0.0, 6.0
    for _ in range(40):
        middle = 0.5 * (low + high)
        if held_spread_db(10.0**middle) > spread_db:
            low = middle
        else:
            high = middle
    return float(10.0 ** (0.5 * (low + high)))


def neighbour_spread_db(level_db: FloatArray) -> float:
    """A first spread [dB] (as a standard deviation) from bins three apart: plateaus do not widen it.

    Three, since a window of the transform ties neighbours together; the 25th percentile of the
    differences (0.3186 standard deviations of a normal difference), since signals' edges only add large ones.
    Returns 0 for fewer than eight bins.
    """
    if level_db.size < 8:
        return 0.0
    difference = np.abs(level_db[3:] - level_db[:-3])
    return float(np.quantile(difference, 0.25)) / (0.3186 * math.sqrt(2.0))


def idle_spread_db(level_db: FloatArray, floor: NoiseFloor) -> float:
    """Lower half-spread [dB] of the idle bins about the floor, signals left out.

    Twenty neighbours at a time about their own median, so that a floor that is a little off does not count.
    Returns NaN where fewer than twenty bins are idle.
    """
    rest = (level_db - floor.level_db)[floor.idle]
    if rest.size < 20:
        return math.nan
    rows = np.sort(rest[: rest.size // 20 * 20].reshape(-1, 20), axis=1)
    # The 16th percentile of 20 by Blom's plotting position, (i - 3/8) / (n + 1/4), i from 1: unbiased for
    # a normal scatter (G. Blom, Statistical Estimates and Transformed Beta-Variables, 1958).
    low = _sorted_quantile(rows, (0.16 * 20.25 + 0.375 - 1.0) / 19.0)
    return float(np.median(_sorted_quantile(rows, 0.5) - low))


def noise_floor(frequency_khz: FloatArray, level_db: FloatArray, step_khz: float, averages: float) -> NoiseFloor:
    """The noise floor under a trace of finite levels.

    Parameters
    ----------
    frequency_khz, level_db : (n), n > 0, rising; power means in dB of any reference.
    step_khz : bin width [kHz].
    averages : independent looks in each level (>= 1), stated or from the spread.

    Raises ValueError for an empty trace. What stands up over more than 40 MHz without a gap, or over the
    whole trace, is taken for the floor: no method can know better from the trace alone.
    """
    if level_db.size == 0:
        raise ValueError("a floor needs at least one level")
    group = min(max(1, math.ceil(GROUPED_AVERAGES / averages)), max(1, level_db.size // BLOCK_BINS))
    centre, power, averages_in_group = _grouped(frequency_khz, level_db, group, averages)
    levels = _db(power)
    least = BLOCK_BINS if group == 1 else BLOCK_BINS // 2
    bins = max(least, round(BLOCK_KHZ / (step_khz * group)), math.ceil(levels.size / MOST_BLOCKS))
    bins = min(bins, levels.size)
    blocks = levels.size // bins
    rows = levels[: blocks * bins].reshape(blocks, bins)
    centres = centre[: blocks * bins].reshape(blocks, bins).mean(axis=1)
    low = _sorted_quantile(np.sort(rows, axis=1), LOW_SHARE) - averaged_quantile_db(averages_in_group, LOW_SHARE)
    at_blocks, idle = _refined(centres, rows, low, averages_in_group)
    block_of_bin = np.minimum(np.arange(level_db.size) // (bins * group), blocks - 1)
    return NoiseFloor(
        level_db=np.interp(frequency_khz, centres, at_blocks),
        idle=idle[block_of_bin],
        idle_share=float(np.mean(idle)),
    )


def _refined(
    centres: FloatArray, rows: FloatArray, low: FloatArray, averages: float
) -> tuple[FloatArray, BoolArray]:
    """Floor (blocks) [dB] and which blocks are idle, from the opening of the low percentiles `low`."""
    floor = opening(centres, low, OPENING_KHZ)
    power = 10.0 ** (rows / 10.0)
    limit_db = max(averaged_threshold_db(averages), IDLE_DB)
    scatter_db = _percentile_scatter_db(averages, rows.shape[1])
    weights = _distance_weights(centres)
    idle = np.zeros(low.size, dtype=np.bool_)
    for iteration in range(_ITERATIONS):
        # The opening takes the lowest of many blocks and so starts about two scatters too low.
        now_idle = low < floor + max(IDLE_DB, (4.5 if iteration == 0 else 2.5) * scatter_db)
        quiet = rows < floor[:, None] + limit_db
        count = quiet.sum(axis=1)
        mean = _db(np.where(quiet, power, 0.0).sum(axis=1) / np.maximum(count, 1))
        weight = weights * np.where(now_idle, count, 0)[None, :]
        total = weight.sum(axis=1)
        if not np.all(total > 0.0):
            break
        idle = now_idle
        floor = (weight * mean[None, :]).sum(axis=1) / total
    return floor, idle


def opening(centres_khz: FloatArray, level_db: FloatArray, width_khz: float) -> FloatArray:
    """Morphological opening with a flat window: the lowest, then the highest level within `width_khz`.

    `centres_khz`, `level_db` (n), rising. Towards an end the window of the lowest keeps its width and lies
    inside the trace, so that a plateau at the edge of the band is removed as well.
    """
    first = np.clip(centres_khz - width_khz / 2.0, centres_khz[0], max(centres_khz[0], centres_khz[-1] - width_khz))
    lowest = _windowed(np.minimum, level_db, centres_khz, first, first + width_khz)
    return _windowed(np.maximum, lowest, centres_khz, centres_khz - width_khz / 2.0, centres_khz + width_khz / 2.0)


def _windowed(
    function: np.ufunc, values: FloatArray, centres: FloatArray, start: FloatArray, stop: FloatArray
) -> FloatArray:
    """`function` reduced over the values whose centre lies in each start..stop (both included)."""
    low = np.searchsorted(centres, start, side="left")
    high = np.searchsorted(centres, stop, side="right")
    pairs = np.stack([low, high], axis=1).ravel()
    padded = np.append(values, values[-1])  # reduceat wants every index inside
    return np.asarray(function.reduceat(padded, pairs)[::2], dtype=np.float64)


def _distance_weights(centres: FloatArray) -> FloatArray:
    """(blocks, blocks) weights falling with distance; fainter, wider reaches bridge long busy stretches."""
    squared = ((centres[:, None] - centres[None, :]) / SMOOTHING_KHZ) ** 2
    near = np.exp(-0.5 * squared)
    return np.asarray(near + 1e-3 * np.exp(-squared / 32.0) + 1e-6 * np.exp(-squared / 512.0) + 1e-9)


def _percentile_scatter_db(averages: float, bins: int) -> float:
    """Standard error [dB] of the low percentile of `bins` bins: sqrt(q (1 - q) / n) over the density."""
    slope = averaged_quantile_db(averages, LOW_SHARE + 0.02) - averaged_quantile_db(averages, LOW_SHARE - 0.02)
    return math.sqrt(LOW_SHARE * (1.0 - LOW_SHARE) / bins) * slope / 0.04


def _grouped(
    frequency_khz: FloatArray, level_db: FloatArray, group: int, averages: float
) -> tuple[FloatArray, FloatArray, float]:
    """Centres, mean powers and averages of `group` neighbouring bins each; a rest at the end is left out."""
    power = 10.0 ** (level_db / 10.0)
    if group == 1:
        return frequency_khz, power, averages
    size = level_db.size // group * group
    centres = frequency_khz[:size].reshape(-1, group).mean(axis=1)
    return centres, power[:size].reshape(-1, group).mean(axis=1), averages * group


def _sorted_quantile(rows: FloatArray, share: float) -> FloatArray:
    """Quantile of each row of sorted values, linear between neighbours."""
    place = share * (rows.shape[1] - 1)
    below = int(place)
    above = min(below + 1, rows.shape[1] - 1)
    return np.asarray(rows[:, below] + (place - below) * (rows[:, above] - rows[:, below]))


def _db(power: FloatArray) -> FloatArray:
    """Decibels of powers; no power is -400 dB."""
    return np.asarray(10.0 * np.log10(np.maximum(power, 1e-40)), dtype=np.float64)
