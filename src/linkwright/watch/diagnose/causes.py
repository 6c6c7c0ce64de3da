"""What an episode's figures say about its cause: each cause has conditions, each condition a fit from 0 to 1.

A cause's weight is the product of its fits; "unknown" has a weight of its own, so that it wins where nothing fits.
Probability is a weight over the sum of all. The middles of the conditions are those of PHYSICS where it has one;
the others, and all widths, are assumed (docs/watch.md).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from linkwright.units import FloatArray
from linkwright.watch.diagnose import states as at
from linkwright.watch.diagnose.expected import Expected

#: The weight of "unknown", and the least fit of one condition: no single figure rules a cause out for good.
UNKNOWN: Final = 0.04
LEAST_FIT: Final = 0.01
#: How much likelier somebody else on the carrier is where a sweep showed him, strong enough to break the link and
#: weaker; and the share of those who were not there yet at the time of the sweep (all assumed).
SHOWN, SHOWN_WEAK, CAME_LATER = 2.0, 1.3, 0.5
#: In a shorter time the correlation of two branches says nothing [s] (assumed).
ALIKE_S: Final = 1.5
#: A cause that is less probable than this is not named: the episode's cause is "unknown".
NAMED: Final = 0.5


@dataclass(frozen=True, slots=True)
class Figures:
    """An episode in figures.

    length_s; share of its readings with broken audio, with nothing received, over the ceiling, in a sag. level_dbm
    : mean of the better branch; base_dbm before it; drop_db from the highest usual level of the last half minute;
    first_db : how much of it had fallen within the first second. over_need_db : level over the need as the audio
    breaks; mean_over_db : at all times. bad_dip_db : how much weaker it is as the audio breaks than while it holds.
    spread_db : scatter of the level. alike : correlation of the branches. gauge; uneven_db : A over B before it.
    NaN: not known.
    """

    length_s: float
    bad: float
    gone: float
    over: float
    sag: float
    level_dbm: float
    a_dbm: float
    b_dbm: float
    base_a_dbm: float
    base_b_dbm: float
    base_dbm: float
    drop_db: float
    first_db: float
    over_need_db: float
    mean_over_db: float
    bad_dip_db: float
    spread_db: float
    gone_spread_db: float
    alike: float
    longest_s: float
    runs: int
    bad_s: float
    quality: float
    gauge: float
    uneven_db: float
    heard: bool


def figures_of(f: FloatArray, expected: Expected | None, need_dbm: float) -> Figures:
    """The figures of what was gathered of an episode."""

    def mean(total: int, count: int) -> float:
        return float(f[total] / f[count]) if f[count] > 0 else math.nan

    n, level = max(1.0, float(f[at.N])), mean(at.SUM_L, at.N_L)
    bases = [float(f[at.BASE_A]), float(f[at.BASE_B])]
    base = _highest(bases)
    usual = _highest([base, float(f[at.PRE_10]), float(f[at.PRE_30])])
    first = mean(at.FIRST_L, at.FIRST_N)
    n_bad_l, n_fine_l = float(f[at.N_BAD_L]), float(f[at.N_FINE_L])
    fine_level = f[at.FINE_L] / n_fine_l if n_fine_l else base
    dip = fine_level - f[at.BAD_L] / n_bad_l if n_bad_l else math.nan
    bad_level = mean(at.BAD_L, at.N_BAD_L) if n_bad_l else level
    need = need_dbm if expected is None else expected.need_dbm
    gauges = [float(g) for g in (f[at.GAUGE_BEFORE], f[at.LOW_GAUGE]) if g == g]
    return Figures(
        length_s=float(f[at.LAST_T] - f[at.ON_T]),
        bad=float(f[at.N_BAD]) / n,
        gone=float(f[at.N_GONE]) / n,
        over=float(f[at.N_OVER]) / n,
        sag=float(f[at.N_SAG]) / n,
        level_dbm=level,
        a_dbm=mean(at.SUM_LA, at.N_LA),
        b_dbm=mean(at.SUM_LB, at.N_LB),
        base_a_dbm=bases[0],
        base_b_dbm=bases[1],
        base_dbm=base,
        drop_db=usual - bad_level,
        first_db=base - first,
        over_need_db=bad_level - need,
        mean_over_db=level - need,
        bad_dip_db=float(dip),
        spread_db=_spread(f, at.SUM_L, at.SQ_L, at.N_L),
        gone_spread_db=_spread(f, at.SUM_GONE, at.SQ_GONE, at.N_GONE),
        alike=_alike(f),
        longest_s=float(f[at.LONGEST]),
        runs=int(f[at.RUNS]),
        bad_s=float(f[at.BAD_S]),
        quality=mean(at.SUM_Q, at.N_Q),
        gauge=min(gauges, default=math.nan),
        uneven_db=float(f[at.DIFF_BEFORE]),
        heard=bool(f[at.N_BAD] > 0 or f[at.N_DEAD] > 0),
    )


def _highest(levels: list[float]) -> float:
    known = [one for one in levels if one == one]
    return max(known) if known else math.nan


def _spread(f: FloatArray, total: int, squares: int, count: int) -> float:
    if f[count] < 2:
        return math.nan
    mean = f[total] / f[count]
    return math.sqrt(max(0.0, float(f[squares] / f[count] - mean * mean)))


def _alike(f: FloatArray) -> float:
    """The correlation of the branches' levels; NaN where one does not vary."""
    n = float(f[at.N_AB])
    if n < 3 or f[at.LAST_T] - f[at.ON_T] < ALIKE_S:
        return math.nan
    a, b = f[at.SUM_AB_A] / n, f[at.SUM_AB_B] / n
    over = (f[at.SQ_A] / n - a * a) * (f[at.SQ_B] / n - b * b)
    return float((f[at.AB] / n - a * b) / math.sqrt(over)) if over > 1e-9 else math.nan


def up(value: float, middle: float, width: float, unknown: float = 0.5) -> float:
    """How well "at least `middle`" fits: 0.5 there, 0.88 two widths above; `unknown` for NaN."""
    if value != value:
        return unknown
    return max(LEAST_FIT, 1.0 / (1.0 + math.exp(-min(60.0, max(-60.0, (value - middle) / width)))))


def down(value: float, middle: float, width: float, unknown: float = 0.5) -> float:
    """How well "at most `middle`" fits."""
    return up(-value, -middle, width, unknown)


def _share(part: float, whole: float) -> float:
    """A part of a whole; a half where the whole is next to nothing, NaN where it is not known."""
    if whole != whole:
        return math.nan
    return part / whole if whole > 1.0 else 0.5


def air_factor(f: Figures, expected: Expected | None) -> float:
    """How much likelier, or less so, the sweep of the site makes somebody else on the carrier; 1 without one.

    An empty sweep speaks against him as far as he was there then, and it would not have missed him (Bayes).
    """
    swept = None if expected is None else expected.swept
    if expected is None or swept is None:
        return 1.0
    if swept.heard_dbm is None:
        return CAME_LATER + (1.0 - CAME_LATER) * swept.missed
    return SHOWN if not f.level_dbm - swept.heard_dbm > expected.required_cnr_db else SHOWN_WEAK


def signal_weights(f: Figures, products: float, ceiling_dbm: float, air: float = 1.0) -> dict[str, float]:
    """Weights of the causes that break the signal; `products` is how well intermodulation fits the others, `air`
    how much likelier the sweep makes somebody else."""
    drop = f.drop_db
    fell = f.base_dbm - f.level_dbm
    first = _share(f.first_db, fell)
    at_once, slowly = up(first, 0.55, 0.1), down(_share(f.first_db, drop), 0.55, 0.1)
    nothing = up(f.gone, 0.45, 0.1)
    something = down(f.gone, 0.45, 0.1)
    flat = down(f.gone_spread_db, 4.0, 0.7)
    vanishes = nothing * up(f.first_db, 12.0, 3.0) * up(first, 0.7, 0.07) * flat
    low_gauge, fine_gauge = down(f.gauge, 0.045, 0.01, 0.35), up(f.gauge, 0.045, 0.01, 0.65)
    below = down(f.over, 0.15, 0.04)
    broken = up(f.bad, 0.25, 0.08)
    # far over the need only another transmitter breaks the audio; nearer to it the level must not have fallen
    near = down(drop, 7.0, 1.0) * down(f.bad_dip_db, 4.0, 1.0, 0.7) * up(f.over_need_db, 8.0, 2.0)
    others = max(near, up(f.over_need_db, 14.0, 1.5)) * something * below * broken
    weak = down(f.over_need_db, 10.0, 1.5) if f.bad > 0.0 else 1.0
    # where the mean is under the need most readings are broken and for long; in echoes few, and each for short
    lasting = max(up(f.bad, 0.6, 0.06), up(f.longest_s, 4.0, 0.7)) * up(f.longest_s, 1.4, 0.2)
    few = max(down(f.bad, 0.62, 0.06), down(f.length_s, 1.3, 0.2))
    weights = {
        "battery": vanishes * low_gauge,
        "switched-off": vanishes * fine_gauge,
        "range": slowly * max(up(drop, 7.0, 1.5), 0.8 * down(f.mean_over_db, -1.0, 0.7))
        * down(f.over_need_db, 6.0, 1.5) * below * lasting,
        "body": weak * at_once * up(fell, 8.0, 1.0) * down(fell, 28.0, 1.5) * something * below
        * down(f.length_s, 22.0, 3.0) * up(max(f.sag * f.length_s, f.longest_s), 0.5, 0.1)
        * max(0.3, up(f.alike, 0.3, 0.08, 0.8)),
        "multipath": down(f.longest_s, 3.0, 0.6) * up(f.bad_dip_db, 2.0, 0.7) * up(float(f.runs), 0.7, 0.15)
        * max(0.3, down(f.alike, 0.5, 0.1, 0.8)) * few
        * something * below * down(f.over_need_db, 9.0, 1.5)
        * (max(0.4, up(f.spread_db, 2.6, 0.3)) if f.length_s > 3.0 else 1.0),
        "interference": others * (1.0 - products) * air,
        "intermodulation": others * products,
        "overload": up(f.over, 0.15, 0.04) * up(f.level_dbm - ceiling_dbm, -at.TOP_UNDER_DB, 1.0),
    }  # fmt: skip
    if abs(f.uneven_db) > at.UNEVEN_DB:
        weights["multipath"] *= 0.5
    return weights


def shares(weights: Mapping[str, float]) -> tuple[tuple[str, float], ...]:
    """Probabilities of the causes and of "unknown", the greatest first."""
    total = sum(weights.values()) + UNKNOWN
    found = [*((cause, weight / total) for cause, weight in weights.items()), ("unknown", UNKNOWN / total)]
    return tuple(sorted(found, key=lambda one: -one[1]))


def branch_weights(f: Figures) -> dict[str, float]:
    """Weights where one branch lies under the other."""
    apart = abs(f.a_dbm - f.b_dbm)
    return {"antenna": up(apart, 8.0, 1.0) * up(f.length_s, 3.0, 1.0)}


def sound_weights(f: Figures) -> dict[str, float]:
    """Weights where the audio is dead while the radio is good."""
    return {"audio-path": up(f.length_s, 0.3, 0.1) * down(f.bad, 0.3, 0.1)}


def cause_of(found: tuple[tuple[str, float], ...]) -> tuple[str, float]:
    """The cause that is named, with its probability: "unknown" where none reaches `NAMED`."""
    cause, share = found[0]
    if cause == "unknown" or share >= NAMED:
        return cause, share
    return "unknown", float(np.clip(1.0 - share, 0.0, 1.0))
