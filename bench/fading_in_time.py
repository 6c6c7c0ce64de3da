"""A talent who walks through waves from all around and a steady one: two branches in time, sums of sinusoids."""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass

import numpy as np

from linkwright.units import FloatArray

WAVES, A_CYCLE, CYCLES = 32, 64, 400
ComplexArray = np.ndarray[tuple[int, ...], np.dtype[np.complex128]]


@dataclass(frozen=True)
class Counted:
    """What was counted: share of time without what is needed, breaks a second at 1 Hz, mean length of one [s]."""

    outage: float
    breaks_hz: float
    break_s: float


@functools.lru_cache(maxsize=400)
def scattered(seed: int, apart: float) -> ComplexArray:
    """Amplitudes of two branches in scattered waves (2, n), `A_CYCLE` samples for each of `CYCLES` wavelengths.

    Each of the waves has a direction and a phase of its own; the branches stand `apart` wavelengths from each other
    across the way.
    """
    rng = np.random.default_rng(seed)
    way = 2.0 * math.pi * (np.arange(WAVES) + rng.random(WAVES)) / WAVES
    phase = rng.uniform(0.0, 2.0 * math.pi, WAVES)
    gone = np.arange(CYCLES * A_CYCLE) / A_CYCLE
    moving = np.exp(2j * math.pi * np.outer(gone, np.cos(way)) + 1j * phase)
    aside = np.exp(2j * math.pi * apart * np.sin(way))
    return np.asarray(np.stack([moving.sum(axis=1), moving @ aside]) / math.sqrt(WAVES))


def powers(seed: int, k: float, apart: float) -> FloatArray:
    """Powers of two branches over their mean (2, n).

    The steady wave comes from a side drawn for each seed and stands still in time: its Doppler shift is taken out,
    as the formulas have it.
    """
    side = np.random.default_rng([seed, 1]).uniform(0.0, 2.0 * math.pi)
    steady = np.array([[1.0], [np.exp(2j * math.pi * apart * math.cos(side))]])
    amplitude = math.sqrt(k / (k + 1.0)) * steady + scattered(seed, apart) / math.sqrt(k + 1.0)
    return np.asarray(np.abs(amplitude) ** 2)


def counted(margin_db: float, k: float, apart: float | None, weaker_db: float, runs: int, seed: int) -> Counted:
    """Count over seeded runs, the better branch (`apart` None: one branch) against a margin."""
    below = falls = samples = 0
    for run in range(runs):
        pair = powers(seed + run, k, apart or 0.0)
        best = pair[0] if apart is None else np.maximum(pair[0], pair[1] * 10.0 ** (-weaker_db / 10.0))
        bad = best < 10.0 ** (-margin_db / 10.0)
        below += int(bad.sum())
        falls += int((bad[1:] & ~bad[:-1]).sum())
        samples += bad.size
    seconds = samples / A_CYCLE  # at a Doppler shift of 1 Hz a wavelength takes a second
    return Counted(below / samples, falls / seconds, below / A_CYCLE / falls if falls else 0.0)
