"""What is observed of an episode of the signal: numbers that the causes are weighed by, NaN where not known.

Each says something that physics or habit ties to some causes and not to others: how fast and how far the level
fell, whether the branches or other links fell along, what the audio, the gauge and the quality did.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np

from linkwright.units import BoolArray, FloatArray
from linkwright.watch.diagnose.company import NOTHING_DBM
from linkwright.watch.diagnose.episode_figures import Figures

#: Seconds of the levels that are looked at before an episode and after it: what took several links may break
#: one of them much later.
BEFORE_S: Final = 60
AFTER_S: Final = 8
#: A link falls along with another where it loses so much within two seconds [dB] (assumed).
ALONG_DB: Final = 7.0
#: So long an episode is looked at for who else broke [s]; whoever broke in more of the seconds before was not whole
#: (assumed).
ALONG_S: Final = 30
WHOLE_BEFORE: Final = 0.03
#: A meter that has not shown this much yet has shown neither its top nor its floor [dB] (assumed).
RANGE_DB: Final = 30.0
#: A level that lost less than this has not fallen [dB] (assumed).
FELL_DB: Final = 6.0


@dataclass(frozen=True, eq=False, slots=True)
class ObservedParts:
    """What observables are made of.

    f : the figures. own (BEFORE_S + length + AFTER_S,) : the better branch by the second [dBm]; falls (n,) :
    how steeply each of the other links that were on fell then [dB]; left (n,) : where each was then left [dBm];
    rises (m,) : how steeply each rose as it ended. nearest (BEFORE_S + 11,) :
    the strongest of the others by the second [dBm]. joined (k,) : of each of the others that were on and
    whole, whether its audio broke along.
    """

    f: Figures
    own: FloatArray
    falls: FloatArray
    left: FloatArray
    rises: FloatArray
    nearest: FloatArray
    joined: BoolArray

    @property
    def along(self) -> BoolArray:
        """Which of the others fell along, (n,)."""
        return np.asarray(self.falls >= ALONG_DB)

    def span(self, first: int, last: int) -> FloatArray:
        """Seconds of the own level, from the begin."""
        return self.own[max(0, BEFORE_S + first) : max(0, BEFORE_S + last)]

    def ranged(self, value: float) -> float:
        """A level against the meter's lowest or highest, where it has shown enough of its range to know them."""
        return value if self.f.top_dbm - self.f.floor_dbm > RANGE_DB else math.nan

    def near(self, first: int, last: int) -> float:
        """How strong the strongest of the others was, in these seconds from the begin [dBm]."""
        return mean(self.nearest[max(0, BEFORE_S + first) : max(0, BEFORE_S + last)])

    @property
    def end(self) -> int:
        """The second in which it ended, from the begin."""
        return len(self.own) - BEFORE_S - AFTER_S - 1


def mean(levels: FloatArray) -> float:
    """The mean of what is known."""
    known = levels[~np.isnan(levels)]
    return float(known.mean()) if known.size else math.nan


def falls_db(levels: FloatArray) -> FloatArray:
    """How much each row (n, m) fell from one pair of seconds to the next but one [dB]; (n, m - 4)."""
    known, level = ~np.isnan(levels), np.nan_to_num(levels)
    count = known[:, :-1] * 1.0 + known[:, 1:]
    pair = np.where(count > 0, (level[:, :-1] + level[:, 1:]) / np.maximum(count, 1.0), np.nan)
    return np.asarray(pair[:, :-3] - pair[:, 3:])


def fall_db(levels: FloatArray) -> float:
    """The steepest fall of one line [dB]; NaN where it is not known."""
    fall = falls_db(levels[None, :])[0] if levels.size > 4 else np.zeros(0)
    return float(np.nanmax(fall)) if (fall == fall).any() else math.nan


def fell_then(own: FloatArray, others: FloatArray, on_dbm: float) -> tuple[FloatArray, FloatArray]:
    """How much each of the others (n, m) fell when the own line (m,) fell most, within a second [dB], and where
    that left it [dBm]; those only that were on a while before, (k,) each."""
    fall = falls_db(own[None, :])[0]
    if not (fall == fall).any():
        return np.zeros(0), np.zeros(0)
    when = int(np.nanargmax(fall))
    before = others[:, max(0, when - 4) : when + 2]
    there = others[np.where(np.isnan(before), -np.inf, before).max(axis=1, initial=-np.inf) > on_dbm]
    then = falls_db(there)[:, max(0, when - 1) : when + 2]
    known = (then == then).any(axis=1)
    fell = np.where(np.isnan(then[known]), -np.inf, then[known]).max(axis=1, initial=-np.inf)
    return fell, np.nan_to_num(there[known, when + 3 : when + 6], nan=NOTHING_DBM).mean(axis=1)


def broke_along(broke: BoolArray, levels: FloatArray, on_dbm: float) -> BoolArray:
    """Whether the audio of each of the others that were on and whole before broke while the episode lasted, (k,).

    broke, levels : their seconds from `BEFORE_S` ahead, (n, m) and (n, k) [dBm].
    """
    before = slice(0, BEFORE_S - 5)
    on = (np.nan_to_num(levels[:, before], nan=NOTHING_DBM) > on_dbm).any(axis=1)
    whole = broke[:, before].mean(axis=1) < WHOLE_BEFORE
    return np.asarray(broke[on & whole, BEFORE_S - 3 :].any(axis=1))


def slope_db(levels: FloatArray) -> float:
    """How much a straight line through a level falls in ten seconds [dB]; NaN where too little is known."""
    known = np.flatnonzero(~np.isnan(levels))
    if known.size < 6:
        return math.nan
    when = known - known.mean()
    return float(-10.0 * (when @ levels[known]) / (when @ when))


def fall_s(levels: FloatArray) -> float:
    """How long a level took from a fifth under its highest to a quarter over where it ended [s]; NaN where it lost
    too little, or too little is known."""
    known = np.flatnonzero(~np.isnan(levels))
    if known.size < 6:
        return math.nan
    level = np.interp(np.arange(levels.size), known, levels[known])
    usual = np.convolve(np.pad(level, 1, mode="edge"), np.ones(3) / 3.0, "valid")
    low = level[-3:].min()
    lost = usual[:-3].max() - low
    if not lost > FELL_DB:
        return math.nan
    high = np.flatnonzero(level >= low + 0.8 * lost)
    begin = int(high[-1]) if high.size else 0
    down = np.flatnonzero(level[begin + 1 :] <= low + 0.25 * lost)
    return float(down[0] + 1 if down.size else level.size - 1 - begin)


def rough_db(levels: FloatArray) -> float:
    """How much a level changes from second to second [dB]; NaN where that is not known."""
    steps = np.diff(levels)
    steps = steps[~np.isnan(steps)]
    return float(steps.std()) if steps.size > 2 else math.nan


#: Every observable: its knots, between which the weight of evidence runs straight, and how it is found.
OBSERVED: Final[dict[str, tuple[tuple[float, ...], Callable[[ObservedParts], float]]]] = {
    # the way the level fell and came back
    "step_db": ((2, 4, 6, 8, 11, 15, 20, 28), lambda s: fall_db(s.span(-7, 6))),
    "back_db": ((2, 4, 6, 8, 11, 15, 20, 28), lambda s: fall_db(-s.span(s.end - 4, s.end + 7))),
    "trend_db": ((-2, 1, 4, 8, 14), lambda s: mean(s.span(-32, -12)) - mean(s.span(-6, -1))),
    "slow_trend_db": ((-6, -2, 1, 4, 8, 14), lambda s: mean(s.span(-60, -35)) - mean(s.span(-10, -2))),
    # a wall or a body comes at once, somebody who walks away takes longer
    "slope_db": ((-5, -2, 0, 2, 5, 9), lambda s: slope_db(s.span(-25, -2))),
    "fall_s": ((1, 2, 3, 5, 9, 16, 30), lambda s: fall_s(s.span(-BEFORE_S, 4))),
    "after_db": ((-12, -6, -3, 0, 3, 6, 12), lambda s: mean(s.span(s.end + 2, s.end + 7)) - mean(s.span(-6, -1))),
    "drop_db": ((-3, 0, 3, 6, 10, 15, 20, 28, 38), lambda s: s.f.drop_db),
    "first_db": ((-2, 1, 4, 7, 10, 15, 22, 30), lambda s: s.f.first_db),
    "dip_db": ((-2, 0, 2, 4, 7, 11), lambda s: s.f.bad_dip_db),
    "spread_db": ((0.3, 1, 2, 3, 4.5, 6.5, 9), lambda s: s.f.spread_db),
    "rough_db": ((0.3, 1, 2, 3.5, 5, 8), lambda s: rough_db(s.span(0, s.end + 1))),
    "usually_rough_db": ((0.5, 1.2, 2, 3, 5), lambda s: rough_db(s.span(-BEFORE_S, -1))),
    "earlier_step_db": ((2, 4, 6, 8, 11, 15, 20), lambda s: fall_db(s.span(-35, -5))),
    "stays_down_db": ((-3, 0, 3, 6, 10, 15, 22), lambda s: s.f.base_dbm - s.f.fine_dbm),
    "flutter_db": ((0.2, 0.6, 1.2, 2, 3, 4.5, 6), lambda s: s.f.flutter_db),
    "more_flutter_db": ((-3, -1, 0, 1, 2, 3.5), lambda s: s.f.flutter_db - s.f.fluttered_db),
    "over_bottom_db": ((0, 1.5, 4, 8, 15, 30), lambda s: s.f.level_dbm - s.f.bottom_dbm),
    # where the level stood
    "over_need_db": ((-12, -4, 0, 4, 8, 12, 18, 28, 40, 55), lambda s: s.f.over_need_db),
    "fine_over_need_db": ((-6, 0, 4, 8, 14, 22, 32), lambda s: s.f.fine_dbm - s.f.need_dbm),
    "over_held_db": ((-12, -6, -3, 0, 3, 6, 10, 16, 25), lambda s: s.f.bad_dbm - s.f.held_dbm),
    "over_floor_db": ((2, 6, 12, 20, 35, 50), lambda s: s.ranged(s.f.level_dbm - s.f.floor_dbm)),
    "under_top_db": ((0.3, 1, 3, 8, 15, 25, 40), lambda s: s.ranged(s.f.top_dbm - s.f.level_dbm)),
    "under_ceiling_db": ((-3, 2, 7, 12, 20, 30, 45), lambda s: s.f.under_ceiling_db),
    "before_over_need_db": (
        (-10, 0, 6, 12, 20, 30, 45, 60),
        lambda s: s.f.base_dbm - s.f.bad_dbm + s.f.over_need_db,
    ),
    "before_over_held_db": ((-10, -3, 0, 3, 8, 15, 25, 40), lambda s: s.f.base_dbm - s.f.held_dbm),
    "gone": ((0.02, 0.3, 0.7, 0.97), lambda s: s.f.gone),
    "gone_spread_db": ((0.5, 1.5, 3, 5, 8), lambda s: s.f.gone_spread_db),
    "untold": ((0, 0.5, 1), lambda s: s.f.untold),
    "over": ((0.02, 0.2, 0.5, 0.8), lambda s: s.f.over),
    # the branches
    "alike": ((-0.2, 0.1, 0.3, 0.5, 0.7, 0.85), lambda s: s.f.alike),
    "apart_db": ((1.5, 4, 8, 13, 20), lambda s: abs(s.f.a_dbm - s.f.b_dbm)),
    "more_apart_db": (
        (1.5, 4, 8, 13, 20),
        lambda s: abs(s.f.a_dbm - s.f.b_dbm - s.f.base_a_dbm + s.f.base_b_dbm),
    ),
    "apart_before_db": ((1.5, 4, 8, 13, 20), lambda s: abs(s.f.uneven_db)),
    "weaker_over_floor_db": (
        (2, 5, 10, 20),
        lambda s: s.ranged(min(s.f.a_dbm, s.f.b_dbm) - s.f.floor_dbm),
    ),
    # on a meter of few steps the means differ little, and one branch leads all the same
    "leads": ((0, 0.3, 0.6, 0.8, 0.95, 1), lambda s: s.f.leads),
    "unevenly": ((0, 0.5, 1, 2, 3.5), lambda s: s.f.unevenly),
    "one_branch": ((0, 1), lambda s: s.f.branch),
    # the audio, the quality, the gauge, and how long it took
    "bad": ((0.05, 0.2, 0.4, 0.6, 0.8, 0.95), lambda s: s.f.bad),
    "longest_s": ((0.15, 0.35, 0.7, 1.5, 3, 6, 15, 40), lambda s: s.f.longest_s),
    "length_s": ((1, 2.5, 5, 10, 20, 40, 90), lambda s: s.f.length_s),
    "breaks_per_s": ((0.03, 0.08, 0.2, 0.5, 1), lambda s: s.f.runs / max(1.0, s.f.length_s)),
    "quality": ((0.02, 0.1, 0.25, 0.4, 0.6, 0.8), lambda s: s.f.quality),
    "quality_before": ((0.5, 0.7, 0.85, 0.95, 1), lambda s: s.f.quality_before),
    "lately_s": ((0, 0.3, 1, 3, 8, 20), lambda s: s.f.lately_s),
    "gauge": ((0.02, 0.045, 0.1, 0.3, 0.6), lambda s: s.f.gauge),
    "gauge_after": ((-0.02, 0.01, 0.1, 0.3), lambda s: s.f.gauge_after - s.f.gauge),
    # the other links
    "fell_along": ((0, 1, 2, 4), lambda s: float(s.along.sum())),
    "fell_most_db": (
        (3, 5, 8, 12, 18),
        lambda s: float(s.falls.max()) if s.falls.size else math.nan,
    ),
    "fell_usually_db": ((1, 3, 5, 8, 12), lambda s: float(np.median(s.falls)) if s.falls.size else math.nan),
    # without power nobody is left over the meters' lowest, whatever he had; a fallen mast takes as much of each
    "along_left_db": (
        (0, 2, 6, 12, 20),
        lambda s: float(s.left[s.along].max()) - s.f.bottom_dbm if s.along.any() else math.nan,
    ),
    "along_apart_db": (
        (1, 3, 6, 10, 16),
        lambda s: (
            float(np.abs(s.falls[s.along] - fall_db(s.own[: BEFORE_S + 6])).mean()) if s.along.any() else math.nan
        ),
    ),
    # what takes a rack breaks the audio of several at once, what takes a talent that of one
    "broke_along": ((0, 1, 2, 4), lambda s: float(s.joined.sum())),
    # somebody who stands at the antennas deafens the receivers of the others
    "near_under_ceiling_db": (
        (-3, 3, 8, 14, 20, 28, 38, 50),
        lambda s: s.f.under_ceiling_db + s.f.level_dbm - s.near(-1, min(s.end + 1, 10)),
    ),
    "came_near_db": ((-3, 0, 3, 7, 12, 20, 30), lambda s: s.near(-1, min(s.end + 1, 10)) - s.near(-50, -15)),
    "rose_along": (
        (0, 1, 2, 4),
        lambda s: float((s.rises >= ALONG_DB).sum()) if s.rises.size else math.nan,
    ),
    "rose_most_db": ((3, 5, 8, 12, 18), lambda s: float(s.rises.max()) if s.rises.size else math.nan),
}


def observe(seen: ObservedParts) -> FloatArray:
    """All observables, in the order of the table."""
    return np.array([how(seen) for _, how in OBSERVED.values()], dtype=np.float64)


def along(seen: FloatArray) -> bool:
    """Whether another link fell along, of what was observed."""
    return bool(seen[list(OBSERVED).index("fell_along")] >= 1.0)
