"""An episode in figures: what its causes are judged by, out of what the loop gathered of it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from linkwright.units import FloatArray
from linkwright.watch.diagnose import states as at
from linkwright.watch.diagnose.expected import Expected

#: In a shorter time the correlation of two branches says nothing [s] (assumed).
ALIKE_S: Final = 1.5
#: In fewer readings in which the branches differ it says nothing which of them leads (assumed).
LEADS_LEAST: Final = 3
#: A flutter of less power than this is none [dB squared] (assumed).
STILL_DB2: Final = 0.02


@dataclass(frozen=True, slots=True)
class Figures:
    """An episode in figures.

    length_s; share of its readings with broken audio, with nothing received, over the ceiling, in a sag. level_dbm
    : mean of the better branch; base_dbm before it; drop_db from the highest usual level of the last half minute;
    first_db : how much of it had fallen within the first second. over_need_db : level over the need as the audio
    breaks; mean_over_db : at all times. bad_dip_db : how much weaker it is as the audio breaks than while it holds.
    spread_db : scatter of the level. alike : correlation of the branches. gauge; uneven_db : A over B before it.
    bad_dbm : level as the audio breaks; held_dbm : one at which it usually held before; floor_dbm, top_dbm : lowest
    and highest that the meter ever showed; gauge_after : the gauge as it ended; branch : share of its readings with
    one branch told to be amiss; under_ceiling_db : how far the level lies under the one that overloads. fine_dbm :
    level between its breaks. flutter_db : how far a branch is from its own short mean; fluttered_db : usually.
    bottom_dbm : the lowest that was shown ever, this episode included; step_db : the meter's least step. lately_s :
    broken audio of the minute before. quality_before : the usual one. leads : how much one branch leads more often
    than the other, 0..1, whatever by; unevenly : the logarithm to 2 of how much more power one branch's flutter
    has; untold : share of its readings without a level. NaN: not known.
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
    bad_dbm: float
    held_dbm: float
    floor_dbm: float
    top_dbm: float
    gauge_after: float
    branch: float
    under_ceiling_db: float
    fine_dbm: float
    flutter_db: float
    fluttered_db: float
    bottom_dbm: float
    step_db: float
    lately_s: float
    quality_before: float
    leads: float
    unevenly: float
    untold: float

    @property
    def need_dbm(self) -> float:
        """What the receiver needs."""
        return self.bad_dbm - self.over_need_db


# long: a line for every figure
def figures_of(f: FloatArray, expected: Expected | None, need_dbm: float, ceiling_dbm: float) -> Figures:
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
    ceiling_dbm = ceiling_dbm if expected is None else expected.ceiling_dbm
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
        bad_dbm=bad_level,
        held_dbm=float(f[at.HELD_L]),
        floor_dbm=float(f[at.FLOOR_L]),
        top_dbm=float(f[at.TOP_L]) or math.nan,
        gauge_after=float(f[at.LAST_GAUGE]),
        branch=float(f[at.N_BRANCH]) / n,
        under_ceiling_db=ceiling_dbm - level,
        fine_dbm=float(f[at.FINE_L] / n_fine_l) if n_fine_l else math.nan,
        flutter_db=mean(at.SUM_FLUTTER, at.N_FLUTTER),
        fluttered_db=float(f[at.FLUTTERED]),
        bottom_dbm=min((v for v in (float(f[at.FLOOR_L]), float(f[at.LOW_L])) if v == v), default=math.nan),
        step_db=float(f[at.STEP_L]),
        lately_s=float(f[at.LATELY_BEFORE]),
        quality_before=float(f[at.QUAL_BEFORE]),
        leads=_leads(float(f[at.N_A_LEADS]), float(f[at.N_B_LEADS])),
        unevenly=_unevenly(float(f[at.SQ_BY_A] / n), float(f[at.SQ_BY_B] / n)) if f[at.N_AB] > 0 else math.nan,
        untold=1.0 - float(f[at.N_L]) / n,
    )


def _highest(levels: list[float]) -> float:
    known = [level for level in levels if level == level]
    return max(known) if known else math.nan


def _leads(a: float, b: float) -> float:
    return abs(a - b) / (a + b) if a + b >= LEADS_LEAST else math.nan


def _unevenly(a_db2: float, b_db2: float) -> float:
    return abs(math.log2((a_db2 + STILL_DB2) / (b_db2 + STILL_DB2)))


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
