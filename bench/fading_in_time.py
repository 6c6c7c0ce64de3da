"""A talent who goes through waves from all around and a steady one: two branches in time, sums of sinusoids.

It knows none of the formulas. Every run has directions of its own: of each wave, of the steady one and of the pair.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from linkwright.units import FloatArray

WAVES = 32
#: Samples for each wavelength that is gone, and into how many each is parted where it may matter.
A_CYCLE, FINER = 16, 64
#: So far above the threshold nothing falls below it between two samples [ratio of powers].
NEAR = 10.0
ComplexArray = np.ndarray[tuple[int, ...], np.dtype[np.complex128]]


@dataclass(frozen=True, eq=False)
class Counted:
    """What was counted in each run (runs,): share of time below what is needed, breaks a second that are not
    bridged, share of the seconds that hold one."""

    outage: FloatArray
    breaks_hz: FloatArray
    seconds: FloatArray

    @staticmethod
    def told(found: FloatArray) -> tuple[float, float]:
        """The mean of the runs, and its standard deviation."""
        return float(found.mean()), float(found.std(ddof=1) / math.sqrt(found.size))


def amplitudes(seed: int, k: float, apart: float, cycles: float) -> ComplexArray:
    """Amplitudes of two branches over their mean (2, n) along a way of so many wavelengths."""
    rng = np.random.default_rng(seed)
    way = 2.0 * math.pi * (np.arange(WAVES) + rng.random(WAVES)) / WAVES
    pair, steady_way = rng.uniform(0.0, 2.0 * math.pi, 2)
    gone = np.arange(round(cycles * A_CYCLE) + 1) / A_CYCLE
    # Complex Gaussian weights: each run is a draw of the whole field, not of one of a fixed power.
    weight = (rng.normal(size=WAVES) + 1j * rng.normal(size=WAVES)) / math.sqrt(2.0 * WAVES)
    moving = _turning(2.0 * math.pi / A_CYCLE * np.cos(way), gone.size)
    scattered = np.stack([moving @ weight, moving @ (weight * np.exp(2j * math.pi * apart * np.cos(way - pair)))])
    straight = np.exp(2j * math.pi * gone * math.cos(steady_way))
    steady = np.stack([straight, straight * np.exp(2j * math.pi * apart * math.cos(steady_way - pair))])
    return np.asarray(math.sqrt(k / (k + 1.0)) * steady + scattered / math.sqrt(k + 1.0))


def _turning(step: FloatArray, many: int) -> ComplexArray:
    """Unit vectors that each turn by a step [radians] from sample to sample (many, steps): a block, turned on as a
    whole, as to take each by itself is most of the work."""
    block = math.isqrt(many) + 1
    within, begins = (np.exp(1j * np.outer(at, step)) for at in (np.arange(block), np.arange(0, many, block)))
    return np.asarray((begins[:, None] * within).reshape(-1, step.size)[:many])


def counted(
    margin_db: float, k: float, apart: float | None, weaker_db: float, doppler_hz: float, bridges_ms: float,
    runs: int, seed: int, seconds: int = 60,
) -> Counted:  # fmt: skip
    """Count over seeded runs of so many seconds, the better branch (`apart` None: one) against a margin."""
    found = np.empty((3, runs))
    a_second = doppler_hz * A_CYCLE * FINER
    need = np.array([1.0, 10.0 ** (weaker_db / 10.0)])[: 1 if apart is None else 2] * 10.0 ** (-margin_db / 10.0)
    for run in range(runs):
        z = amplitudes(seed + run, k, apart or 0.0, seconds * doppler_hz)[: need.size]
        begin, end = _episodes(z, need)
        kept = (end - begin) / a_second > bridges_ms / 1000.0
        first, last = (begin[kept] / a_second).astype(int), (end[kept] / a_second).astype(int)
        held = {n for a, b in zip(first, last, strict=True) for n in range(a, b + 1) if n < seconds}
        found[:, run] = (end - begin).sum() / a_second / seconds, kept.sum() / seconds, len(held) / seconds
    return Counted(*found)


def _episodes(z: ComplexArray, need: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Begins and ends of stretches with all branches (b, n) below their need (b,), in fine samples."""
    from scipy.interpolate import CubicSpline

    near = np.asarray((np.abs(z) ** 2 < NEAR * need[:, None]).all(axis=0))
    steps = np.flatnonzero(near[:-1] | near[1:])
    if not steps.size:
        return np.zeros(0), np.zeros(0)
    curve = CubicSpline(np.arange(z.shape[1]), z, axis=1)
    fine = (steps[:, None] + (np.arange(FINER) + 0.5) / FINER).ravel()
    bad = (np.abs(curve(fine)) ** 2 < need[:, None]).all(axis=0)
    number = (steps[:, None] * FINER + np.arange(FINER)).ravel()
    low = number[bad]
    if not low.size:
        return np.zeros(0), np.zeros(0)
    gap = np.flatnonzero(np.diff(low) > 1)
    return low[np.concatenate([[0], gap + 1])].astype(float), low[np.concatenate([gap, [low.size - 1]])] + 1.0
