"""Robust Bayesian regression along a way: linear terms, correlated shadowing, and what is left at each place.

y = X b + g + e. g: Gaussian, cov(g_i, g_j) = (1 - q) s^2 exp(-|way_i - way_j| / D). e: Student's t as a normal of
variance q s^2 / w_i with w_i from a gamma distribution. b has a normal prior, s^2 an inverse gamma, D, q and the
degrees of freedom are on grids, all equally likely. Drawn by Gibbs sampling (A. Gelman et al., Bayesian Data
Analysis, 3rd edition, chapters 11 and 17); the draw of g is Matheron's rule. Pure: the seed comes in.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from linkwright.units import FloatArray

#: Distances over which shadowing is alike [m], shares of the variance that is not, degrees of freedom.
ALIKE_M: Final = (1.0, 2.0, 4.0, 8.0, 15.0)
APART: Final = (0.1, 0.25, 0.45, 0.7, 0.9)
FREEDOM: Final = (3.0, 6.0, 12.0, 40.0)
#: Draws, and how many at the beginning are thrown away.
DRAWS: Final = 1600
BURN_IN: Final = 400
#: Weight of the prior of the variance: as of so many places.
SIGMA_PLACES: Final = 5.0
#: Keeps a matrix of places that nearly coincide positive.
JITTER: Final = 1e-6


@dataclass(frozen=True, eq=False, slots=True)
class WalkSamples:
    """What was seen along a way: metres gone (n,), values (n,) [dB], and the terms' columns (n, t)."""

    way_m: FloatArray
    y_db: FloatArray
    columns: FloatArray


@dataclass(frozen=True, eq=False, slots=True)
class Prior:
    """Means and standard deviations of the terms (t,), and the standard deviation of the shadowing [dB]."""

    mean: FloatArray
    spread: FloatArray
    sigma_db: float


@dataclass(frozen=True, eq=False, slots=True)
class Drawn:
    """Draws from the posterior: terms (m, t); standard deviation of the shadowing (m,) [dB]."""

    terms: FloatArray
    shadow_db: FloatArray


@dataclass(slots=True)
class _State:
    """Where the chain stands: variance, degrees of freedom, weights, and the grids' indices of D and q."""

    variance: float
    freedom: float
    weight: FloatArray
    alike: int
    apart: int


def posterior(
    seen: WalkSamples,
    prior: Prior,
    seed: int,
    tell: Callable[[str, float], None] | None = None,
    draws: int = DRAWS,
) -> Drawn:
    """Draws from the posterior of the terms and of the shadowing's standard deviation."""
    rng = np.random.default_rng(seed)
    n = seen.y_db.size
    gap = np.abs(seen.way_m[:, None] - seen.way_m[None, :])
    kernels: list[FloatArray] = [np.exp(-gap / reach) + JITTER * np.eye(n) for reach in ALIKE_M]
    roots: list[FloatArray] = [np.asarray(np.linalg.cholesky(kernel)) for kernel in kernels]
    state = _State(prior.sigma_db**2, 6.0, np.ones(n), 2, 1)
    terms = np.empty((draws, prior.mean.size))
    shadow = np.empty(draws)
    for m in range(draws + BURN_IN):
        b, g, e = _drawn(seen, prior, kernels[state.alike], roots[state.alike], state, rng)
        if _moved(seen.y_db - seen.columns @ b, kernels, state, rng):
            b, g, e = _drawn(seen, prior, kernels[state.alike], roots[state.alike], state, rng)
        _update(state, prior, roots, g, e, rng)
        if m >= BURN_IN:
            terms[m - BURN_IN] = b
            shadow[m - BURN_IN] = np.sqrt((1.0 - APART[state.apart]) * state.variance)
        if tell is not None and m % 100 == 0:
            tell("learning from the walk", m / (draws + BURN_IN))
    return Drawn(terms, shadow)


def _drawn(
    seen: WalkSamples, prior: Prior, kernel: FloatArray, root: FloatArray, state: _State, rng: np.random.Generator
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """The terms with g and e integrated out; then g given them, and e, which is the rest."""
    from scipy.linalg import cho_factor, cho_solve

    slow, quick = (1.0 - APART[state.apart]) * state.variance, APART[state.apart] * state.variance / state.weight
    covariance = slow * kernel
    covariance[np.diag_indices_from(covariance)] += quick
    factor: Any = cho_factor(covariance, lower=True, check_finite=False)
    solved = cho_solve(factor, np.column_stack([seen.columns, seen.y_db]), check_finite=False)
    precision = np.diag(prior.spread**-2.0) + seen.columns.T @ solved[:, :-1]
    towards = prior.mean / prior.spread**2 + seen.columns.T @ solved[:, -1]
    lower = np.linalg.cholesky(precision)
    mean = np.linalg.solve(precision, towards)
    b = mean + np.linalg.solve(lower.T, rng.standard_normal(mean.size))
    rest = seen.y_db - seen.columns @ b
    g0 = np.sqrt(slow) * (root @ rng.standard_normal(rest.size))
    e0 = np.sqrt(quick) * rng.standard_normal(rest.size)
    g = g0 + slow * (kernel @ cho_solve(factor, rest - g0 - e0, check_finite=False))
    return b, g, rest - g


def _moved(rest: FloatArray, kernels: list[FloatArray], state: _State, rng: np.random.Generator) -> bool:
    """One step of D or q with g integrated out, so that they do not stick to the last g (Metropolis)."""
    alike, apart = state.alike, state.apart
    if rng.random() < 0.5:
        alike += 1 if rng.random() < 0.5 else -1
    else:
        apart += 1 if rng.random() < 0.5 else -1
    if not (0 <= alike < len(ALIKE_M) and 0 <= apart < len(APART)):
        return False
    now = _log_likelihood(rest, kernels[state.alike], state.apart, state)
    then = _log_likelihood(rest, kernels[alike], apart, state)
    if np.log(rng.random()) >= then - now:
        return False
    state.alike, state.apart = alike, apart
    return True


def _log_likelihood(rest: FloatArray, kernel: FloatArray, apart: int, state: _State) -> float:
    """Of what is left of the terms, with g integrated out."""
    from scipy.linalg import solve_triangular

    covariance = (1.0 - APART[apart]) * state.variance * kernel
    covariance[np.diag_indices_from(covariance)] += APART[apart] * state.variance / state.weight
    root = np.linalg.cholesky(covariance)
    white = solve_triangular(root, rest, lower=True, check_finite=False)
    return float(-np.log(np.diag(root)).sum() - 0.5 * white @ white)


def _update(
    state: _State, prior: Prior, roots: list[FloatArray], g: FloatArray, e: FloatArray, rng: np.random.Generator
) -> None:
    """Weights, degrees of freedom, variance, and the grids, each given the rest."""
    from scipy.linalg import solve_triangular
    from scipy.special import gammaln

    n, q = g.size, APART[state.apart]
    square = e**2 / (q * state.variance)
    state.weight = rng.gamma((state.freedom + 1.0) / 2.0, 2.0 / (state.freedom + square))
    half = np.array(FREEDOM) / 2.0
    sums = np.log(state.weight).sum(), state.weight.sum()
    chance = n * (half * np.log(half) - gammaln(half)) + (half - 1.0) * sums[0] - half * sums[1]
    state.freedom = FREEDOM[_pick(chance, rng)]
    whitened = [solve_triangular(root, g, lower=True, check_finite=False) for root in roots]
    quadratic = np.array([float(z @ z) for z in whitened])
    log_det = np.array([2.0 * float(np.log(np.diag(root)).sum()) for root in roots])
    left = float((state.weight * e**2).sum())
    share = np.array(APART)
    # All pairs of D and q at once, with the variance integrated out: it has an inverse gamma prior.
    about = SIGMA_PLACES * prior.sigma_db**2 + quadratic[:, None] / (1.0 - share) + left / share
    chance = -0.5 * log_det[:, None] - 0.5 * n * np.log(1.0 - share) - 0.5 * n * np.log(share)
    chance = chance - 0.5 * (2 * n + SIGMA_PLACES) * np.log(about)
    picked = _pick(chance.ravel(), rng)
    state.alike, state.apart = divmod(picked, share.size)
    scale = about[state.alike, state.apart] / 2.0
    state.variance = float(scale / rng.gamma((2 * n + SIGMA_PLACES) / 2.0))


def _pick(log_chance: FloatArray, rng: np.random.Generator) -> int:
    """One of several, by the logarithms of their chances."""
    chance = np.exp(log_chance - log_chance.max())
    return int(np.searchsorted(np.cumsum(chance), rng.random() * chance.sum()))
