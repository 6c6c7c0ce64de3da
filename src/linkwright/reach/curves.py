"""Outage and breaks over the margin as tables, so that thousands of places cost what a few did.

For one spread and one pair of branches outage depends on the margin alone. The tables are of its logarithm,
straight between their points, over margins and over the branches' spacing: as far as the scattered waves' first
zero over -log(1 - correlation), in which the logarithm of a small outage is straight itself, beyond it in even
steps. More margin never holds worse, nor more branches than one. `exactly` works out the same by itself, and is
what the tables are tested against.
"""

from __future__ import annotations

import bisect
import functools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from linkwright.physics.fading import ALIKE_RHO, correlation_of, diversity_crossing_rate_hz, diversity_outage
from linkwright.physics.pathloss import p1411_sight_variability_db
from linkwright.reach.path import Spread, SpreadKind
from linkwright.units import FloatArray, IntArray

#: The margins of a table [dB]; beyond its ends the last value holds.
MARGIN_FROM_DB: Final = -40.0
MARGIN_STEP_DB: Final = 0.25
MARGINS: Final = 601
#: The finer steps of the outage at one place, before it is averaged over the spread [dB].
FINE_STEP_DB: Final = 0.05
#: Steps of -log(1 - rho) from one table to the next, for branches nearer than `CLOSE` [wavelengths].
ALIKE_STEP: Final = 0.2
CLOSE: Final = 0.1
#: Beyond it steps of the spacing [wavelengths], finer as far as `MIDDLE`; `FAR_APART` branches are as good as
#: independent: the scattered waves of those `FIRST_ZERO` of J0 apart are.
NEAR_STEP: Final = 0.02
MIDDLE: Final = 0.5
APART_STEP: Final = 0.05
FAR_APART: Final = 6.0
FIRST_ZERO: Final = 2.404825557695773 / (2.0 * math.pi)
#: By how much a second branch is weaker than the first in the tables [dB]: the next of these counts, so that it
#: helps no more than it does; beyond the last it is no help at all. From `PLAIN_DB` on its spacing is not told so
#: finely.
WEAKER_DB: Final = (0.0, 0.5, 1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0, 12.0, 15.0, 20.0, 25.0, 30.0, 40.0)
PLAIN_DB: Final = 3.0
#: Shares below this are as good as none; it keeps logarithms finite.
NONE: Final = 1e-300


@dataclass(frozen=True, slots=True)
class Pair:
    """Two branches of a receiver: how far apart [wavelengths], and how much weaker the second is [dB]."""

    apart: float
    weaker_db: float = 0.0


def exactly(margin_db: float, spread: Spread, pair: Pair | None) -> tuple[float, float]:
    """Outage (0..1), and breaks a second for a Doppler shift of 1 Hz, at one place: no tables, one by one."""
    offset_db, weight = spread_nodes(spread.kind, spread.sigma_db)
    x = 10.0 ** (-(margin_db + offset_db) / 10.0)
    apart, weaker_db = (None, 0.0) if pair is None else (pair.apart, pair.weaker_db)
    outage = float(weight @ diversity_outage(x, spread.rice_k, apart, weaker_db))
    return outage, float(weight @ diversity_crossing_rate_hz(x, spread.rice_k, apart, 1.0, weaker_db))


def next_weaker_db(weaker_db: float) -> float:
    """The tabled difference of two branches [dB] that counts for one: the next one up."""
    return WEAKER_DB[min(bisect.bisect_left(WEAKER_DB, weaker_db - 1e-9), len(WEAKER_DB) - 1)]


@functools.cache
def _close_nodes() -> tuple[float, ...]:
    """Spacings [wavelengths] at even steps of -log(1 - rho), from `CLOSE` down to branches that are one."""
    from scipy.optimize import brentq

    first = -math.log1p(-correlation_of(CLOSE))
    steps = math.ceil((-math.log1p(-ALIKE_RHO) - first) / ALIKE_STEP)
    rhos = [-math.expm1(-first - ALIKE_STEP * n) for n in range(1, steps + 1)]
    return (CLOSE, *(float(brentq(lambda c, r=rho: correlation_of(c) - r, 0.0, CLOSE)) for rho in rhos))


@functools.lru_cache(maxsize=4096)
def _nodes(apart: float) -> tuple[float | None, float | None, float]:
    """The two tabled spacings about one [wavelengths] (None: one branch), and the share of the second."""
    rho = correlation_of(apart)
    if rho > ALIKE_RHO:
        return None, None, 0.0
    if apart > FAR_APART:
        return FIRST_ZERO, FIRST_ZERO, 0.0
    if apart < CLOSE:
        tabled = _close_nodes()
        steps = (math.log1p(-correlation_of(CLOSE)) - math.log1p(-rho)) / ALIKE_STEP
        first = min(int(steps), len(tabled) - 2)
        return tabled[first], tabled[first + 1], steps - first
    start, step = (CLOSE, NEAR_STEP) if apart < MIDDLE else (MIDDLE, APART_STEP)
    steps = (apart - start) / step
    first = int(steps)
    return start + step * first, start + step * (first + 1), steps - first


@functools.cache
def spread_nodes(kind: SpreadKind, sigma_db: float) -> tuple[FloatArray, FloatArray]:
    """Offsets of the local mean from the median [dB] and their probabilities, each shape (n,).

    Cells of probability, narrower towards the bad end where the outage is made, each at its middle.
    """
    from scipy.special import ndtri

    tail = 10.0 ** -np.linspace(1.0, 6.0, 51)
    edges = np.unique(np.concatenate([[0.0], tail, np.linspace(0.1, 0.9, 33), 1.0 - tail[:21], [1.0]]))
    worse, weight = (edges[1:] + edges[:-1]) / 2.0, np.diff(edges)
    if kind == "normal":
        return np.asarray(sigma_db * ndtri(worse)), weight
    return -p1411_sight_variability_db(1.0 - worse), weight


@functools.lru_cache(maxsize=1024)
def _table(kind: SpreadKind, sigma_db: float, rice_k: float, apart: float | None, weaker_db: float) -> FloatArray:
    """Logarithms of outage and of breaks at 1 Hz over the margins, shape (2, MARGINS); `apart` None: one branch."""
    offset_db, weight = spread_nodes(kind, sigma_db)
    margins = MARGIN_FROM_DB + MARGIN_STEP_DB * np.arange(MARGINS)
    low, high = margins[0] + float(offset_db.min()), margins[-1] + float(offset_db.max())
    fine = np.arange(low, high + FINE_STEP_DB, FINE_STEP_DB)
    x = 10.0 ** (-fine / 10.0)
    at = (margins[:, None] + offset_db[None, :] - low) / FINE_STEP_DB
    first = np.minimum(at.astype(np.int64), fine.size - 2)
    part = at - first
    table = np.empty((2, MARGINS))
    for row, curve in enumerate(
        (
            diversity_outage(x, rice_k, apart, weaker_db),
            diversity_crossing_rate_hz(x, rice_k, apart, 1.0, weaker_db),
        )
    ):
        here = curve[first]
        table[row] = np.log(np.maximum((here + part * (curve[first + 1] - here)) @ weight, NONE))
    return table


@dataclass(frozen=True, eq=False, slots=True)
class Curves:
    """How outage and breaks depend on the margin at each of some places (p,): tables, and which two are theirs."""

    tables: FloatArray  # (tables, 2, MARGINS)
    low: IntArray
    high: IntArray
    part: FloatArray

    @classmethod
    def of(cls, places: Sequence[tuple[Spread, Pair | None]]) -> Curves:
        """The curves of places, each with its spread and its pair of branches (None: one branch)."""
        index: dict[tuple[SpreadKind, float, float, float | None, float], int] = {}
        low: list[int] = []
        high: list[int] = []
        part: list[float] = []
        for spread, pair in places:
            near, far, share = None, None, 0.0
            weaker_db = 0.0 if pair is None else next_weaker_db(pair.weaker_db)
            if pair is not None and weaker_db < WEAKER_DB[-1]:
                near, far, share = _nodes(pair.apart)
                if weaker_db >= PLAIN_DB:
                    near, share = (far, 0.0) if share > 0.5 else (near, 0.0)
            for apart, side in ((near, low), (far if share > 0.0 else near, high)):
                key = (spread.kind, spread.sigma_db, spread.rice_k, apart, 0.0 if apart is None else weaker_db)
                side.append(index.setdefault(key, len(index)))
            part.append(share)
        tables = np.array([_table(*key) for key in index]).reshape(-1, 2, MARGINS)
        return cls(tables, np.array(low, dtype=np.int64), np.array(high, dtype=np.int64), np.array(part))

    def at(self, which: IntArray) -> Curves:
        """The curves of the places `which` (m,), in that order and as often as they stand there."""
        return Curves(self.tables, self.low[which], self.high[which], self.part[which])

    def outage(self, margin_db: FloatArray) -> FloatArray:
        """Share of time (0..1) without what the receiver needs, shape as `margin_db`: (..., p) [dB]."""
        return np.minimum(self._look_up(0, margin_db), 1.0)

    def breaks_hz(self, margin_db: FloatArray) -> FloatArray:
        """How often the audio breaks [1/s] for a Doppler shift of 1 Hz, shape as `margin_db`: (..., p) [dB]."""
        return self._look_up(1, margin_db)

    def _look_up(self, row: int, margin_db: FloatArray) -> FloatArray:
        at = np.clip((margin_db - MARGIN_FROM_DB) / MARGIN_STEP_DB, 0.0, MARGINS - 1.0)
        first = np.minimum(at.astype(np.int64), MARGINS - 2)
        along = at - first
        table = self.tables[:, row]
        low = table[self.low, first] * (1.0 - along) + table[self.low, first + 1] * along
        high = table[self.high, first] * (1.0 - along) + table[self.high, first + 1] * along
        return np.asarray(np.exp(low * (1.0 - self.part) + high * self.part))
