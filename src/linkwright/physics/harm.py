"""Seconds an hour that hold a break, for one branch or two in Rice fading: shipped tables, and how they are read.

r(m) = 3600 [1 - (1 - o) exp(-b / (1 - o))] with o the share of time below what is needed at a local mean m decibels
over it, and b how often a break begins that is not bridged [1/s]: one break an hour while they are rare, 3600 on a
dead link, 3600 o for who stands still. Every curve is made to rise as the margin falls, and two branches are never
worse than the first alone. The tables are `scripts/make_fading_tables.py`'s.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass
from importlib import resources
from typing import Final

import numpy as np

from linkwright.units import FloatArray, IntArray

#: The tables are constants of the package, as its code is.
TABLES: Final = "data/fading.npz"
#: What the tables stand over: Rice factor [dB] (the first is Rayleigh), spacing of the branches [wavelengths], how
#: much weaker the second is [dB], margin [dB]; and how long a break lasts, times the root of mean over need and the
#: largest Doppler shift.
K_DB: Final = np.array([-12.0, -9.0, -6.0, -3.0, 0.0, 3.0, 6.0, 9.0, 12.0, 15.0])
APART: Final = np.array(
    [0.005, 0.01, 0.02, 0.04, 0.07, 0.11, 0.16, 0.22, 0.29, 0.38, 0.5, 0.62, 0.75, 0.9, 1.2, 2.2, 6.0]
)
WEAKER_DB: Final = np.array([0.0, 1.0, 2.0, 3.5, 5.0, 7.0, 10.0, 14.0, 19.0, 25.0, 32.0])
MARGINS_DB: Final = np.arange(-12.0, 41.0, 1.0)
WHILES: Final = np.array(
    [0.0, 0.03, 0.06, 0.1, 0.15, 0.2, 0.27, 0.35, 0.45, 0.6, 0.8, 1.1, 1.5, 2.0, 3.0, 4.5, 7.0]
)
#: What one unit of the tables' whole numbers stands for: of a natural logarithm.
LOG_STEP: Final = 1.0 / 600.0
#: Margins of a curve [dB]; and no share or rate counts that is less than this.
CURVE_DB: Final = np.arange(-20.0, 101.0, 1.0)
NONE: Final = 1e-12
#: How far into a curve, in steps of 1 dB, it is read at most.
MOST_STEPS: Final = CURVE_DB.size - 1.000001
SECONDS: Final = 3600.0
#: Nearer than this branches are one [wavelengths]; weaker than this a second one is none [dB].
ONE_BRANCH: Final = 0.002
NO_HELP_DB: Final = 40.0
#: What the tables are of beyond their ends: these slopes of the share of long breaks over their length.
TAIL_ONE: Final = -3.0
TAIL_TWO: Final = -5.0

_SPACINGS: Final = np.array([ONE_BRANCH, *APART])
_WEAKER: Final = np.array([*WEAKER_DB, NO_HELP_DB])
#: The root of the mean over the need at each margin of a curve.
_GROWING: Final = 10.0 ** (CURVE_DB / 20.0)
#: From so many kinds of place on a loop is compiled: loading compiled code takes longer than a few dozen do (4 ms).
MANY: Final = 40


@dataclass(frozen=True, eq=False, slots=True)
class Kinds:
    """Kinds of place, each (n,): Rice factor [dB], spacing of the branches [wavelengths] (0: one branch), how much
    weaker the second is [dB], largest Doppler shift [Hz], and what the receiver bridges [ms]."""

    k_db: FloatArray
    apart: FloatArray
    weaker_db: FloatArray
    doppler_hz: FloatArray
    bridges_ms: FloatArray

    @classmethod
    def of(
        cls,
        k_db: FloatArray | float,
        apart: FloatArray | float,
        weaker_db: FloatArray | float,
        doppler_hz: FloatArray | float,
        bridges_ms: FloatArray | float,
    ) -> Kinds:
        """Kinds of anything that broadcasts."""
        every = (k_db, apart, weaker_db, doppler_hz, bridges_ms)
        if not any(isinstance(x, np.ndarray) for x in every):
            return cls(*(np.array([x], dtype=np.float64) for x in every))
        return cls(*np.broadcast_arrays(*(np.atleast_1d(np.asarray(x, dtype=np.float64)) for x in every)))

    def alone(self) -> Kinds:
        """The same with one branch."""
        return Kinds(self.k_db, np.zeros(self.k_db.size), self.weaker_db, self.doppler_hz, self.bridges_ms)


@dataclass(frozen=True, eq=False, slots=True)
class Tables:
    """The shipped tables as logarithms (k, spacing, weaker, ...), with one branch at both ends that mean it."""

    outage: FloatArray
    often: FloatArray
    longer: FloatArray

    def at(self, kinds: Kinds, which: FloatArray) -> FloatArray:
        """One of the tables at kinds (n,), straight between its points: (n, last axis)."""
        (k, k_part), (a, a_part), (w, w_part) = _points(kinds)
        mixed = np.zeros((kinds.k_db.size, which.shape[-1]))
        for i, part_k in ((0, 1.0 - k_part), (1, k_part)):
            for j, part_a in ((0, 1.0 - a_part), (1, a_part)):
                for m, part_w in ((0, 1.0 - w_part), (1, w_part)):
                    part = part_k * part_a * part_w
                    if part.any():
                        mixed += part[:, None] * which[k + i, a + j, w + m]
        return mixed


def _points(kinds: Kinds) -> tuple[tuple[IntArray, FloatArray], ...]:
    """Where kinds lie in the tables, axis by axis: the point below each (n,), and the share of the next."""
    return (
        _between(K_DB, kinds.k_db),
        _between(np.log(_SPACINGS), np.log(np.maximum(kinds.apart, ONE_BRANCH))),
        _between(_WEAKER, kinds.weaker_db),
    )


def _between(nodes: FloatArray, at: FloatArray) -> tuple[IntArray, FloatArray]:
    """Index of the node below each of `at` (n,), and the share of the next."""
    inside = np.clip(at, nodes[0], nodes[-1])
    low = np.clip(np.searchsorted(nodes, inside, side="right") - 1, 0, nodes.size - 2)
    return low.astype(np.int64), (inside - nodes[low]) / (nodes[low + 1] - nodes[low])


@functools.cache
def tables() -> Tables:
    """The shipped tables, read once."""
    with resources.files("linkwright.physics").joinpath(TABLES).open("rb") as file, np.load(file) as stored:
        parts = [_padded(stored[name]) for name in ("outage", "often", "longer")]
    return Tables(*parts)


def _padded(stored: IntArray) -> FloatArray:
    """(k, pairs and one branch, x) as (k, spacing, weaker, x), with one branch at no spacing and at no help."""
    logs = stored * LOG_STEP
    shape = (len(logs), _SPACINGS.size, _WEAKER.size, logs.shape[-1])
    whole = np.broadcast_to(logs[:, -1][:, None, None], shape).copy()
    whole[:, 1:, :-1] = logs[:, :-1].reshape(shape[0], APART.size, WEAKER_DB.size, shape[-1])
    return whole


def outage_curves(kinds: Kinds) -> FloatArray:
    """Logarithms of the share of time below what is needed over `CURVE_DB`, (n, margins)."""
    stored = tables()
    outage = _over_margins(stored.at(kinds, stored.outage), 0.0)
    alone = _over_margins(stored.at(kinds.alone(), stored.outage), 0.0)
    return np.minimum(_rising(outage), _rising(alone))


def harm_curves(kinds: Kinds) -> FloatArray:
    """Logarithms of the seconds an hour that hold a break over `CURVE_DB`, (n, margins); they never rise with
    it."""
    if kinds.k_db.size >= MANY:
        return _compiled(kinds)
    return np.minimum(_rising(_harm(kinds)), _rising(_harm(kinds.alone())))


def _compiled(kinds: Kinds) -> FloatArray:
    """The same by a compiled loop."""
    from linkwright.physics.harm_compiled import harm

    stored, curves = tables(), np.full((kinds.k_db.size, CURVE_DB.size), np.inf)
    low, part = _between(MARGINS_DB, CURVE_DB)
    for these in (kinds, kinds.alone()):
        at, share = zip(*_points(these), strict=True)
        harm(
            stored.outage, stored.often, stored.longer, np.stack(at, axis=1), np.stack(share, axis=1),
            np.ascontiguousarray(these.doppler_hz), these.doppler_hz * these.bridges_ms / 1000.0, _tail(these),
            low, part,
            CURVE_DB - MARGINS_DB[-1], int(np.count_nonzero(MARGINS_DB[0] > CURVE_DB)),
            float(MARGINS_DB[-1] - MARGINS_DB[-5]), WHILES, _GROWING, NONE, SECONDS, curves,
        )  # fmt: skip
    return curves


def _harm(kinds: Kinds) -> FloatArray:
    stored = tables()
    outage = np.exp(_over_margins(stored.at(kinds, stored.outage), 0.0))
    often = stored.at(kinds, stored.often)
    log_rate = _over_margins(often, often[:, :1])
    scaled = (kinds.doppler_hz * kinds.bridges_ms / 1000.0)[:, None] * _GROWING
    log_rate = log_rate + _longer(stored.at(kinds, stored.longer), scaled, kinds)
    rate = kinds.doppler_hz[:, None] * np.exp(log_rate)
    whole = np.maximum(1.0 - outage, NONE)
    share = np.where(outage >= 1.0 - NONE, 1.0, outage - whole * np.expm1(-rate / whole))
    return np.asarray(np.log(np.maximum(SECONDS * share, NONE)))


def _over_margins(logs: FloatArray, before: FloatArray | float) -> FloatArray:
    """Curves (n, tabled margins) over `CURVE_DB`: straight between, `before` below, the last slope above."""
    low, part = _between(MARGINS_DB, CURVE_DB)
    inside = logs[:, low] * (1.0 - part) + logs[:, low + 1] * part
    slope = (logs[:, -1] - logs[:, -5]) / (MARGINS_DB[-1] - MARGINS_DB[-5])
    beyond = logs[:, -1:] + slope[:, None] * (CURVE_DB - MARGINS_DB[-1])
    curve = np.where(MARGINS_DB[-1] < CURVE_DB, beyond, inside)
    return np.where(MARGINS_DB[0] > CURVE_DB, before, curve)


def _longer(logs: FloatArray, scaled: FloatArray, kinds: Kinds) -> FloatArray:
    """Logarithm of the share of breaks that last longer (n, margins), `scaled` as `WHILES` are."""
    low, part = _between(WHILES, scaled)
    rows = np.arange(len(logs))[:, None]
    inside = logs[rows, low] * (1.0 - part) + logs[rows, low + 1] * part
    return np.asarray(inside + _tail(kinds)[:, None] * np.log(np.maximum(scaled / WHILES[-1], 1.0)))


def _tail(kinds: Kinds) -> FloatArray:
    """The slope of the share of long breaks beyond the tables (n,)."""
    return np.where((kinds.apart > ONE_BRANCH) & (kinds.weaker_db < NO_HELP_DB), TAIL_TWO, TAIL_ONE)


def _rising(logs: FloatArray) -> FloatArray:
    """The same made to rise as the margin falls."""
    return np.asarray(np.maximum.accumulate(logs[:, ::-1], axis=1)[:, ::-1])


def read_curves(curves: FloatArray, which: IntArray | np.int64, margin_db: FloatArray) -> FloatArray:
    """Curves (n, margins) read at margins of any shape, `which` curve each is on (broadcasts): the logarithms."""
    at = np.minimum(np.maximum(margin_db - CURVE_DB[0], 0.0), MOST_STEPS)  # steps of 1 dB
    low = at.astype(np.int64)
    part = at - low
    flat, entry = curves.reshape(-1), which * CURVE_DB.size + low
    return np.asarray(flat.take(entry) * (1.0 - part) + flat.take(entry + 1) * part)
