"""Levels that were read condition what is not known: there they outrank the model, elsewhere they inform it.

A reading is the level at its place with errors of its own: 2 dB of the meter, common to all readings of it; 5.6 dB
over the root of the independent looks of the fast fading; 3.6 dB where the talent's turn is not known. What is not
known (`reach.doubt`: body, kit, a normal score for each place, alike by distance) stays jointly normal; each
place's score goes into its law, which is taken straight about where the readings have moved it, some times over (a
Kalman filter's update, iterated; A. Gelb, Applied Optimal Estimation, 1974, section 6.1). Covers C. E. Rasmussen
and C. K. I. Williams, Gaussian Processes for Machine Learning, 2006, section 2.2.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from linkwright.reach.arriving import Arriving, arriving, stand_at
from linkwright.reach.body import shown_by
from linkwright.reach.doubt import CASES, PLACES, Own, alike_between, body_db_of, cases, kit_db_of, own_of
from linkwright.reach.ends import Ends
from linkwright.reach.path import xyz
from linkwright.shoot.learnt import WalkedLevel
from linkwright.shoot.place import MeasuredLevel, Site
from linkwright.units import FloatArray, IntArray, dbm_from_mw

#: Errors of a reading, standard deviations [dB]: the meter, common to all of its readings; fast fading of one look;
#: a turn that is not known.
METER_DB: Final = 2.0
FADING_DB: Final = 5.6
TURN_DB: Final = 3.6
#: Slow moving gives an independent look in so many seconds (assumed).
LOOK_S: Final = 10.0
#: How often the laws are taken straight anew.
ROUNDS: Final = 4
STEP: Final = 1e-3
#: A law is no flatter than this [dB], and no score farther out.
LEAST_SLOPE: Final = 1.0
#: How much wider than stated the models' spreads may be, and the standard deviation of that's logarithm (assumed).
WIDER: Final = (1.0, 1.3, 1.7, 2.2, 3.0, 4.0)
WIDER_AS: Final = 0.5
MOST_SCORE: Final = 4.0


@dataclass(frozen=True, eq=False, slots=True)
class Readings:
    """Readings (n,) on a site: how much over the model they are [dB], where talents (n, 3) and receivers (n, 3)
    were, their variances without the meter's, the laws of their places; whose each is: number of the link, of the
    meter and of the kit."""

    over_db: FloatArray
    talents: FloatArray
    receivers: FloatArray
    variance: FloatArray
    own: Own
    link: tuple[str, ...]
    meter: tuple[str, ...]
    kit: tuple[tuple[str, str], ...]
    kit_db: FloatArray
    body_db: FloatArray

    @property
    def count(self) -> int:
        """How many."""
        return self.over_db.size


def looks_of(seconds: float) -> float:
    """How many independent looks of the fast fading a reading is made of."""
    return 1.0 + seconds / LOOK_S


@dataclass(frozen=True, eq=False, slots=True)
class MeasuredLevels:
    """Levels of one link that were taken on a site: gains from transmit power [dB] at talents (n, 3) [m], looks
    (n,), how much of the transmitter's side was shown (n,), nan where that is not known, on a frequency [MHz]."""

    ends: Ends
    mhz: float
    gain_db: FloatArray
    talents: FloatArray
    looks: FloatArray
    shown: FloatArray


def taken_of(site: Site, ends: Ends, mhz: float, levels: Sequence[MeasuredLevel]) -> MeasuredLevels:
    """The levels of one link that a site's entries say; the power is the highest step where an entry says none."""
    spots = {spot.name: spot for spot in site.spots}
    highest = max(ends.transmitter.powers_mw)
    return MeasuredLevels(
        ends,
        mhz,
        np.array([level.dbm - dbm_from_mw(level.power_mw or highest) for level in levels]),
        xyz(tuple(spots[level.spot] for level in levels)),
        np.array([looks_of(level.seconds) for level in levels]),
        np.array([_shown(ends, level) for level in levels]),
    )


def _shown(ends: Ends, level: MeasuredLevel) -> float:
    """How much of the transmitter's side was shown; nan where that is not said."""
    return float("nan") if level.facing is None else float(shown_by(ends.worn, level.facing, None)[0])


def walked_levels(ends: Ends, mhz: float, levels: Sequence[WalkedLevel]) -> MeasuredLevels:
    """The levels of a walk."""
    return MeasuredLevels(
        ends,
        mhz,
        np.array([level.gain_db for level in levels]),
        np.array([(level.x_m, level.y_m, level.z_m) for level in levels]).reshape(-1, 3),
        np.array([level.looks for level in levels]),
        np.array([np.nan if level.shown is None else level.shown for level in levels]),
    )


def readings_of(site: Site, several: Sequence[MeasuredLevels]) -> Readings | None:
    """All levels that were taken on a site, against what the models say there; None without any."""
    some = [taken for taken in several if taken.gain_db.size]
    if not some:
        return None
    stands, owner, known = [], [], []
    for n, taken in enumerate(some):
        ends = taken.ends
        for says in (True, False):
            mine = np.flatnonzero(np.isfinite(taken.shown) == says)
            if mine.size:
                speeds = np.full(mine.size, ends.usual_m_s)
                shown = taken.shown[mine] if says else None
                stands.append(stand_at(ends, taken.mhz, taken.talents[mine], speeds, shown=shown))
                owner += [(n, int(i)) for i in mine]
                known += [says] * mine.size
    arrived = arriving(stands)
    model = (arrived.share * arrived.gain_db).sum(axis=1)
    column = np.array(known)
    kinds = [some[n].ends for n, _ in owner]
    return Readings(
        np.array([some[n].gain_db[i] for n, i in owner]) - model,
        arrived.places,
        arrived.heard_at,
        FADING_DB**2 / np.array([some[n].looks[i] for n, i in owner]) + np.where(column, 0.0, TURN_DB**2),
        own_of(site, arrived),
        tuple(e.name for e in kinds),
        tuple(e.name for e in kinds),
        tuple(kit_of(e) for e in kinds),
        np.array([kit_db_of(e) for e in kinds]),
        np.array([body_db_of(e) for e in kinds]),
    )


def kit_of(ends: Ends) -> tuple[str, str]:
    """What is the same kit: both ends' figures."""
    return ends.transmitter.model_dump_json(), ends.receiver.model_dump_json()


@dataclass(frozen=True, eq=False, slots=True)
class Conditioned:
    """What readings leave of the doubt at places (p,) of one link: shift_db (p,) of the median, deviation_db (256,
    p) about it in every case, and standard deviations of place, body and kit (p, 3) [dB]."""

    shift_db: FloatArray
    deviation_db: FloatArray
    parts: FloatArray


@dataclass(frozen=True, eq=False, slots=True)
class Learned:
    """Readings weighed against each other: each one's slope of its law (n,), the inverse of their covariance (n,
    n), and that times what they say beyond what was expected (n,)."""

    site: Site
    readings: Readings
    slope: FloatArray
    inverse: FloatArray
    weight: FloatArray

    def places(self, ends: Ends, own: Own, talents: FloatArray, receivers: FloatArray) -> Conditioned:
        """The doubt at places (p,) of a link after the readings, as cases of all of them together."""
        count = len(talents)
        cross = self._cross(ends, talents, receivers)
        mean, left = cross @ self.weight, self._prior(talents, receivers) - cross @ self.inverse @ cross.T
        root = np.linalg.cholesky((left + left.T) / 2.0 + 1e-9 * np.eye(2 + count))
        first = cases(PLACES + count)
        drawn = mean + np.concatenate([first[:, :2], first[:, PLACES:]], axis=1) @ root.T
        kit_db, body_db, own = kit_db_of(ends), body_db_of(ends), replace(own, wider=self.readings.own.wider)
        law = own.deviation_db(drawn[:, 2:])
        deviation = body_db * drawn[:, :1] + kit_db * drawn[:, 1:2] + law
        shift = np.sort(deviation, axis=0)[CASES // 2]
        known = np.sqrt(np.maximum(np.diagonal(left)[:2], 0.0)) * np.array([body_db, kit_db])
        parts = np.concatenate([law.std(axis=0)[:, None], np.broadcast_to(known, (count, 2))], axis=1)
        return Conditioned(np.asarray(shift), np.asarray(deviation - shift), parts)

    def each(self, ends: Ends, own: Own, arrived: Arriving) -> tuple[FloatArray, FloatArray]:
        """Shift of the median and standard deviation of thousands of places (p,), each by itself [dB]."""
        cross = self._cross(ends, arrived.places, arrived.heard_at)
        mean, own = cross @ self.weight, replace(own, wider=self.readings.own.wider)
        common, score = cross[:2], cross[2:]
        by_common, by_score = common @ self.inverse, score @ self.inverse
        own_slope = slope_of(own, mean[2:])
        total = np.array([body_db_of(ends), kit_db_of(ends)])
        known = total @ (np.eye(2) - by_common @ common.T) @ total
        variance = known + own_slope**2 * (1.0 - (by_score * score).sum(axis=1))
        variance -= 2.0 * own_slope * (by_score @ common.T @ total)
        shift = total @ mean[:2] + own.deviation_db(mean[2:])
        return np.asarray(shift), np.sqrt(np.maximum(variance, 0.01))

    def _cross(self, ends: Ends, talents: FloatArray, receivers: FloatArray) -> FloatArray:
        """Covariance of body, kit and the places' scores with the readings (2 + p, n)."""
        readings = self.readings
        same = np.array([who == ends.name for who in readings.link], dtype=np.float64)
        mine = kit_of(ends)
        kit = np.array([what == mine for what in readings.kit], dtype=np.float64)
        score = alike_between(self.site, talents, receivers, readings.talents, readings.receivers)
        return np.concatenate([[readings.body_db * same, readings.kit_db * kit], score * self.slope])

    def _prior(self, talents: FloatArray, receivers: FloatArray) -> FloatArray:
        prior = np.eye(2 + len(talents))
        prior[2:, 2:] = alike_between(self.site, talents, receivers, talents, receivers)
        return prior


def slope_of(own: Own, score: FloatArray) -> FloatArray:
    """How steep each place's law is at a score (p,) [dB]; never flat, so that a reading can always move it."""
    rise = own.deviation_db(score + STEP) - own.deviation_db(score - STEP)
    return np.asarray(np.maximum(rise / (2.0 * STEP), LEAST_SLOPE))


def learned(site: Site, readings: Readings) -> Learned:
    """The readings of a site weighed against each other, their laws taken straight where they lead.

    Readings that the models' spreads cannot explain make these wider, as far as it makes them likelier: a corner
    that nobody drew is then believed.
    """
    several = [_weighed(site, readings, wider) for wider in WIDER]
    return max(several, key=lambda pair: pair[0])[1]


def _weighed(site: Site, readings: Readings, wider: float) -> tuple[float, Learned]:
    """How likely the readings are where places scatter so much wider than their models state, and them weighed."""
    readings = replace(readings, own=replace(readings.own, wider=wider))
    scores = alike_between(site, readings.talents, readings.receivers, readings.talents, readings.receivers)
    common = np.outer(readings.body_db, readings.body_db) * _same(readings.link) + np.outer(
        readings.kit_db, readings.kit_db
    ) * _same(readings.kit)
    noise = np.diag(readings.variance) + METER_DB**2 * _same(readings.meter)
    at = np.zeros(readings.count)
    for _ in range(ROUNDS):
        slope = slope_of(readings.own, at)
        expected = readings.own.deviation_db(at) - slope * at
        inverse = np.asarray(np.linalg.inv(slope[:, None] * scores * slope + common + noise), dtype=np.float64)
        weight = inverse @ (readings.over_db - expected)
        at = np.clip((scores * slope) @ weight, -MOST_SCORE, MOST_SCORE)
    beyond = readings.over_db - expected
    likely = float(np.linalg.slogdet(inverse)[1] - beyond @ weight) / 2.0 - (np.log(wider) / WIDER_AS) ** 2 / 2.0
    return likely, Learned(site, readings, slope, inverse, weight)


def _same(names: Sequence[object]) -> FloatArray:
    """1 where two are the same (n, n), else 0."""
    number = {name: n for n, name in enumerate(dict.fromkeys(names))}
    which: IntArray = np.array([number[name] for name in names], dtype=np.int64)
    return np.asarray(which[:, None] == which[None, :], dtype=np.float64)


def shifted(arrived: Arriving, shift_db: FloatArray) -> Arriving:
    """What arrives with the medians of places moved (r,) [dB]."""
    return replace(
        arrived,
        gain_db=arrived.gain_db + shift_db[:, None],
        branch_gain_db=arrived.branch_gain_db + shift_db[:, None, None],
        shift_db=shift_db,
    )
