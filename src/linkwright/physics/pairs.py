"""Two branches of a diversity receiver in correlated fading with a steady wave: the share of time below.

Each branch's amplitude is a steady wave and scattered ones, z = s exp(j phi) + g. The scattered parts come from all
around and are complex Gaussian, correlated by a = J0(2 pi d / lambda) (Clarke); the steady wave meets the second
branch later by phi = 2 pi d / lambda cos(theta), theta from anywhere. Given the first amplitude the second is
Gaussian, so its share below a threshold is a noncentral chi-square; what is left are two averages, over the first
amplitude's angle and over theta. Exact up to that quadrature: `tests/reach/test_reach_simulated.py` counts the same
in seeded draws.

The result is a curve over the threshold, kept for each Rice factor, spacing and difference of the branches' means.
"""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike

from linkwright.units import FloatArray

#: Thresholds of a curve over the better branch's mean [dB]: below, the share falls with the square; above, it is
#: all.
FROM_DB: Final = -36.0
TO_DB: Final = 18.0
STEP_DB: Final = 1.0
#: Angles of the first amplitude over which is averaged; directions of the steady wave: so many, and more a
#: wavelength.
ANGLES: Final = 48
DIRECTIONS: Final = 5
DIRECTIONS_A_CYCLE: Final = 4.0
#: Decibels of a ratio of e.
NEPER_DB: Final = 10.0 / math.log(10.0)


@dataclass(frozen=True, eq=False)
class PairCurve:
    """Over the threshold x (better branch's mean = 1): log_outage, ln of the share with both below."""

    log_outage: Any

    def outage(self, x: ArrayLike) -> FloatArray:
        """Share of time with both branches below, at thresholds x of any shape."""
        return np.minimum(np.exp(_extended(self.log_outage, x, 2.0)), 1.0)


def _extended(curve: Any, x: ArrayLike, power: float) -> FloatArray:
    """A curve of logarithms over ln x; below its first point it falls with a power of x."""
    at = np.log(np.maximum(np.asarray(x, dtype=np.float64), 1e-300))
    low, high = FROM_DB / NEPER_DB, TO_DB / NEPER_DB
    inside = np.asarray(curve(np.clip(at, low, high)), dtype=np.float64)
    return np.asarray(inside + power * np.minimum(at - low, 0.0))


@functools.lru_cache(maxsize=512)
def pair_curve(k: float, apart: float, weaker_db: float = 0.0) -> PairCurve:
    """The curve of two branches `apart` wavelengths from each other, with Rice factor `k` (ratio), the second's
    mean `weaker_db` below the first's [dB]. Raises ValueError for branches that are not apart.
    """
    from scipy.interpolate import CubicSpline, PchipInterpolator

    if not apart > 0.0:
        raise ValueError(f"two branches stand apart: {apart} wavelengths")
    log_x = np.arange(FROM_DB, TO_DB + STEP_DB / 2.0, STEP_DB) / NEPER_DB
    x, ratio = np.exp(log_x), 10.0 ** (weaker_db / 10.0)
    other = _given_one(x, ratio * x, k, apart)
    first = other if ratio == 1.0 else _given_one(ratio * x, x, k, apart)
    density = rice_density(x, k) * other + ratio * rice_density(ratio * x, k) * first
    # The share below x is the integral of the density; in ln x it is smooth, and below the first point it goes as
    # x^2.
    grown = CubicSpline(log_x, density * x).antiderivative()
    share = density[0] * x[0] / 2.0 + grown(log_x) - grown(log_x[0])
    share = np.maximum.accumulate(np.clip(share, 1e-300, 1.0))
    # A share rises with the threshold, and so must what lies between its points.
    return PairCurve(PchipInterpolator(log_x, np.log(share)))


def rice_density(x: ArrayLike, k: float) -> FloatArray:
    """Density of a branch's power at x over its mean, Rice: (K+1) exp(-K-(K+1)x) I0(2 sqrt(K(K+1)x))."""
    from scipy.special import i0e

    power = np.asarray(x, dtype=np.float64)
    steady = 2.0 * np.sqrt(k * (k + 1.0) * power)
    return np.asarray((k + 1.0) * np.exp(steady - k - (k + 1.0) * power) * i0e(steady))


def _given_one(at: FloatArray, below: FloatArray, k: float, apart: float) -> FloatArray:
    """Share of one branch's power below `below` (m,) while the other's is `at` (m,), each over its own mean."""
    from scipy.special import chndtr, j0

    steady, scattered = math.sqrt(k / (k + 1.0)), 1.0 / (k + 1.0)
    alike = float(j0(2.0 * math.pi * apart))
    radius = np.sqrt(at)[:, None]
    angle = 2.0 * math.pi * np.arange(ANGLES if k > 0.0 else 1) / ANGLES
    weight = np.exp(2.0 * radius * steady / scattered * (np.cos(angle) - 1.0))
    weight /= weight.sum(axis=1, keepdims=True)
    amplitude = radius * np.exp(1j * angle)
    left = scattered * (1.0 - alike * alike)
    share = np.zeros(at.size)
    later = _steady_angles(apart) if k > 0.0 else np.zeros(1)
    for phi in later:
        mean = steady * np.exp(1j * phi) + alike * (amplitude - steady)
        inside = chndtr(2.0 * below[:, None] / left, 2.0, 2.0 * np.abs(mean) ** 2 / left)
        share += (weight * np.nan_to_num(inside, nan=1.0)).sum(axis=1) / later.size
    return np.clip(share, 0.0, 1.0)


def _steady_angles(apart: float) -> FloatArray:
    """How much later the steady wave meets the second branch [rad], for directions evenly all around.

    Those of half a circle would do twice, and the signs of the angles are alike by symmetry: a quarter is taken.
    """
    count = DIRECTIONS + round(DIRECTIONS_A_CYCLE * apart)
    quarter = (np.arange(count) + 0.5) * math.pi / (2.0 * count)
    return np.asarray(2.0 * math.pi * apart * np.cos(quarter))
