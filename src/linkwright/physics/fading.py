"""Fast fading, two-branch diversity and level crossings.

`x` is the threshold over the local mean as a ratio of powers (0.1 is 10 dB of margin); `k` is Rice's factor as
a ratio of powers (0 is Rayleigh); `rho` is the correlation of the two branches' powers. Arrays broadcast.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from linkwright.physics.pairs import pair_curve
from linkwright.units import SPEED_OF_LIGHT_M_S, FloatArray

#: Branches that are correlated more than this are taken as one [ratio].
ALIKE_RHO = 0.9999
#: Angles on the circle of the threshold, and directions of the steady wave, over which is averaged.
ANGLES = 96
DIRECTIONS = 12


def marcum_q1(a: ArrayLike, b: ArrayLike) -> FloatArray:
    """Marcum's Q1(a, b), as the complement of the noncentral chi-square distribution of two degrees."""
    from scipy.special import chndtr

    return np.asarray(1.0 - chndtr(np.square(b), 2.0, np.square(a)))


def rayleigh_outage(x: ArrayLike) -> FloatArray:
    """Share of time below the threshold, one branch, Rayleigh: 1 - exp(-x). Goldsmith, chapter 3."""
    return np.asarray(-np.expm1(-np.asarray(x, dtype=np.float64)))


def rice_outage(x: ArrayLike, k: float) -> FloatArray:
    """Share of time below the threshold, one branch, Rice: 1 - Q1(sqrt(2K), sqrt(2(K+1)x))."""
    from scipy.special import chndtr

    scaled = 2.0 * (k + 1.0) * np.asarray(x, dtype=np.float64)
    return np.asarray(np.clip(chndtr(scaled, 2.0, 2.0 * k), 0.0, 1.0))


def selection_outage(x: ArrayLike, rho: float) -> FloatArray:
    """Share of time with both of two Rayleigh branches below the threshold, their powers correlated by `rho`.

    1 - exp(-x) [1 - Q1(b, a) + Q1(a, b)] with a = sqrt(2x/(1-rho)), b = sqrt(2 rho x/(1-rho)); Schwartz,
    Bennett and Stein, Communication Systems and Techniques, chapter 10. Raises ValueError outside 0..1.
    """
    if not 0.0 <= rho <= 1.0:
        raise ValueError(f"a correlation of powers lies in 0..1: {rho}")
    x = np.asarray(x, dtype=np.float64)
    if rho > ALIKE_RHO:
        return rayleigh_outage(x)
    # Beyond this the share is 1 to all digits, and Q1's series would lose its way.
    near = np.minimum(x, 50.0)
    a, b = np.sqrt(2.0 * near / (1.0 - rho)), np.sqrt(2.0 * rho * near / (1.0 - rho))
    return np.asarray(np.clip(1.0 - np.exp(-near) * (1.0 - marcum_q1(b, a) + marcum_q1(a, b)), 0.0, 1.0))


def diversity_outage(x: ArrayLike, k: float, apart: float | None, weaker_db: float = 0.0) -> FloatArray:
    """Share of time below the threshold: one branch (`apart` None) or the better of two, Rayleigh or Rice.

    apart : distance of the branches in wavelengths. weaker_db : how far the second branch's mean lies below the
    first's, to which x refers [dB]. Two Rayleigh branches alike by their closed form, others by `pairs`.
    """
    single = rice_outage(x, k) if k > 0.0 else rayleigh_outage(x)
    if apart is None or correlation_of(apart) > ALIKE_RHO:
        return single
    if k == 0.0 and weaker_db == 0.0:
        return np.minimum(selection_outage(x, correlation_of(apart)), single)
    return np.minimum(pair_curve(k, apart, weaker_db).outage(x), single)


def correlation_of(apart: float) -> float:
    """Correlation of the powers of two branches `apart` wavelengths, waves from all around (Clarke)."""
    from scipy.special import j0

    return float(j0(2.0 * math.pi * apart) ** 2)


def branch_correlation(frequency_mhz: float, spacing_m: float) -> float:
    """Correlation of the powers of two branches, waves from all around: J0(2 pi d / lambda)^2 (Clarke)."""
    return correlation_of(cycles(frequency_mhz, spacing_m))


def cycles(frequency_mhz: float, distance_m: float) -> float:
    """A distance [m] in wavelengths."""
    return distance_m * frequency_mhz * 1e6 / SPEED_OF_LIGHT_M_S


def doppler_hz(frequency_mhz: float, speed_m_s: float) -> float:
    """Largest Doppler shift [Hz] at a walking speed [m/s]: v f / c."""
    return speed_m_s * frequency_mhz * 1e6 / SPEED_OF_LIGHT_M_S


def crossing_rate_hz(x: ArrayLike, k: float, doppler: float, towards: float | None = None) -> FloatArray:
    """How often one branch falls through the threshold [1/s]; waves from all around plus a steady one.

    towards : cosine between the way walked and the steady wave's, whose Doppler shift is that share of `doppler`
    [Hz]; None: the mean over all ways. The density of the amplitude on the circle of the threshold, and the mean
    speed inwards through it; S. O. Rice, Bell System Technical Journal 27 (1948), section 3. K = 0 is Rayleigh's
    sqrt(2 pi) fd r exp(-r^2), towards = 0 the form sqrt(2 pi (K+1)) fd r exp(-K-(K+1)r^2) I0(2 r sqrt(K(K+1)))
    (Stuber, Principles of Mobile Communication, chapter 2).
    """
    from scipy.special import ndtr

    r = np.sqrt(np.asarray(x, dtype=np.float64))[..., None, None]
    steady, scattered = math.sqrt(k / (k + 1.0)), 1.0 / (k + 1.0)
    angle = 2.0 * math.pi * (np.arange(ANGLES) + 0.5) / ANGLES
    quarter = (np.arange(DIRECTIONS) + 0.5) * math.pi / (2.0 * DIRECTIONS)
    ways = np.cos(quarter) if towards is None else np.array([towards])
    near = (r * np.cos(angle) - steady) ** 2 + (r * np.sin(angle)) ** 2
    density = np.exp(-near / scattered) / (math.pi * scattered)
    spread = math.pi * math.sqrt(scattered)
    mean = 2.0 * math.pi * steady * ways[:, None] * np.sin(angle)
    inwards = spread * np.exp(-((mean / spread) ** 2) / 2.0) / math.sqrt(2.0 * math.pi) + mean * ndtr(mean / spread)
    return np.asarray(doppler * 2.0 * math.pi * r[..., 0, 0] * (density * inwards).mean(axis=(-2, -1)))


def mean_fade_s(r: float, doppler: float) -> float:
    """Mean length [s] of a Rayleigh fade below `r` (ratio of amplitudes): (exp(r^2)-1)/(r fd sqrt(2 pi))."""
    return math.expm1(r * r) / (r * doppler * math.sqrt(2.0 * math.pi))
