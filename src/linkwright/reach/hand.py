"""In hand: how many decibels all places of a link alike could be weakened until it only just keeps its target.

A link's states are its places and its talent's turns, each for a share of the time. Harm is the seconds an hour
that hold a break (`physics.harm`), averaged over the states; what is not known is not time and is not averaged: in
every case of `reach.doubt` the link has its own T, the largest shift at which the harm keeps to what is wanted.
Everything here is told over x, transmit power less the rise of the noise less what the receiver needs [dB], on
which neither the channel nor the doubt depends.
"""

from __future__ import annotations

import functools
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from linkwright.physics.harm import CURVE_DB, MOST_STEPS, Kinds, harm_curves, read_curves
from linkwright.reach.arriving import Arriving
from linkwright.reach.doubt import CASES, Doubt, case_at, distinct
from linkwright.units import FloatArray, IntArray

#: From so many places on the shifts are found by a compiled loop.
MANY_PLACES: Final = 24
#: How often the shift is halved between its bounds, which lie some decibels apart.
HALVINGS: Final = 11


@dataclass(frozen=True, slots=True)
class Wanted:
    """What a link is to keep to: seconds an hour with a break, how sure that must be; and of its share of time."""

    breaks_per_hour: float = 2.0
    sure: float = 0.9
    target: float | None = None

    @property
    def harm_s(self) -> float:
        """The seconds an hour that may hold a break: the less of both wishes."""
        return (
            self.breaks_per_hour if self.target is None else min(self.breaks_per_hour, 3600.0 * (1.0 - self.target))
        )


#: What a link is to keep to where nothing else is said.
USUAL: Final = Wanted()


@dataclass(frozen=True, eq=False)
class HarmCurves:
    """The places (p,) of some links as curves of their harm, each place over its strongest turn.

    curves (p, margins) : logarithm of the harm of a place over x + over_db + deviation. over_db (p,) : level over
    the noise at its strongest turn [dB over dBm]. share (p,) : of the link's time. first (l,) : where each link
    begins.
    """

    curves: FloatArray
    over_db: FloatArray
    share: FloatArray
    first: IntArray

    @classmethod
    def together(cls, parts: Sequence[HarmCurves]) -> HarmCurves:
        """The courses of several links, in turn, as one."""
        begins = np.cumsum([0, *(part.over_db.size for part in parts)])
        curves, over, share = (
            np.concatenate([getattr(part, name) for part in parts]) for name in ("curves", "over_db", "share")
        )
        first = np.concatenate([part.first + begin for part, begin in zip(parts, begins, strict=False)])
        return cls(curves, over, share, first)

    @property
    def links(self) -> int:
        """How many links."""
        return int(self.first.size)

    @functools.cached_property
    def owner(self) -> IntArray:
        """Whose each place is (p,)."""
        return np.repeat(np.arange(self.links), np.diff([*self.first, self.over_db.size]))

    def harm_s(self, x_db: FloatArray, deviation_db: FloatArray) -> FloatArray:
        """Seconds an hour with a break of each link at x (..., l) [dB] and deviations (..., p) [dB]: (..., l)."""
        return self._harm_s(x_db, self.over_db + deviation_db)

    def _harm_s(self, x_db: FloatArray, level_db: FloatArray) -> FloatArray:
        """The same with levels over the noise (..., p) [dB over dBm]."""
        at = x_db[..., self.owner] + level_db
        harm = np.exp(read_curves(self.curves, np.arange(self.over_db.size), at)) * self.share
        return np.asarray(np.add.reduceat(harm, self.first, axis=-1))

    def margins_db(self, harm_s: FloatArray) -> FloatArray:
        """The margin at which each place alone has so much harm (p,) [dB]."""
        return margins_for(self.curves, np.log(harm_s))

    def shifts_db(self, wanted_s: FloatArray, deviation_db: FloatArray) -> FloatArray:
        """The least x (c, l) [dB] at which each link keeps to `wanted_s` (l,), at deviations (c, p) [dB]."""
        each = wanted_s[self.owner]
        lowest = self.over_db + deviation_db
        high = np.maximum.reduceat(self.margins_db(each) - lowest, self.first, axis=1)
        low = np.maximum.reduceat(self.margins_db(each / self.share) - lowest, self.first, axis=1)
        many = np.flatnonzero(np.diff([*self.first, self.over_db.size]) > 1)
        if many.size:
            part = self.only(many)
            mine = np.isin(self.owner, many)
            high[:, many] = part._between(low[:, many], high[:, many], wanted_s[many], deviation_db[:, mine])
        return np.asarray(high)

    def only(self, which: IntArray) -> HarmCurves:
        """The course of some of the links."""
        mine = np.isin(self.owner, which)
        sizes = np.diff([*self.first, self.over_db.size])[which]
        first = np.concatenate([[0], np.cumsum(sizes)[:-1]]).astype(np.int64)
        return HarmCurves(self.curves[mine], self.over_db[mine], self.share[mine], first)

    def only_place(self, place: int) -> HarmCurves:
        """One place as if its link's talent were there all the time."""
        here = slice(place, place + 1)
        return HarmCurves(self.curves[here], self.over_db[here], np.ones(1), np.zeros(1, dtype=np.int64))

    def _between(
        self, low: FloatArray, high: FloatArray, wanted_s: FloatArray, deviation_db: FloatArray
    ) -> FloatArray:
        """The shift between bounds (c, l), by halving as often for every link as for one."""
        level_db = self.over_db + deviation_db
        if self.over_db.size >= MANY_PLACES:
            from linkwright.physics.harm_compiled import halve

            low, high, level_db = map(np.ascontiguousarray, (low, high, level_db))
            halve(
                self.curves, level_db, self.share, np.append(self.first, self.over_db.size), wanted_s,
                float(CURVE_DB[0]), MOST_STEPS, HALVINGS, low, high,
            )  # fmt: skip
            return high
        for _ in range(HALVINGS):
            middle = (low + high) / 2.0
            keeps = self._harm_s(middle, level_db) <= wanted_s
            low, high = np.where(keeps, low, middle), np.where(keeps, middle, high)
        return high


def margins_for(curves: FloatArray, log_harm: FloatArray) -> FloatArray:
    """The least margin at which each curve (p, margins) has no more than a harm (p,), given as its logarithm
    [dB]."""
    under = curves <= log_harm[:, None]
    at = np.clip(under.argmax(axis=1), 1, CURVE_DB.size - 1)
    at = np.where(under.any(axis=1), at, CURVE_DB.size - 1)
    rows = np.arange(len(curves))
    above, below = curves[rows, at - 1], curves[rows, at]
    part = np.clip((above - log_harm) / np.maximum(above - below, 1e-12), 0.0, 1.0)
    return np.asarray(CURVE_DB[at - 1] + part * (CURVE_DB[at] - CURVE_DB[at - 1]))


@dataclass(frozen=True, eq=False, slots=True)
class States:
    """The states of some links: their places (p,) with turns (t,), and the course that they make.

    curves (p t, margins) : logarithms of the harm of each state. over_db, share (p, t) : level over the noise [dB
    over dBm], and share of the time at the place. place_share (p,) : share of the link's time.
    """

    curves: FloatArray
    over_db: FloatArray
    share: FloatArray
    course: HarmCurves

    @property
    def turns(self) -> int:
        """How many turns a place has."""
        return int(self.over_db.shape[1])


#: So many places are reckoned at once: a map has thousands, whose turns over all margins would leave the
#: processor's cache (0.10 s for 15,000 places of four turns, 0.93 s all at once).
AT_ONCE: Final = 64


def states_of(arrived: Arriving) -> States:
    """The states of links whose places are visited for the same share of the time each."""
    curves, which = curves_of(arrived.kinds())
    over = arrived.over_noise_db
    places, turns = over.shape
    which = which.reshape(places, turns)
    strongest = np.where(arrived.share > 0.0, over, -np.inf).max(axis=1)
    if turns == 1:
        of_place = curves[which[:, 0]]
    else:
        of_place = np.empty((places, CURVE_DB.size))
        for begin in range(0, places, AT_ONCE):
            these = slice(begin, begin + AT_ONCE)
            at = CURVE_DB[None, None, :] + (over[these] - strongest[these, None])[:, :, None]
            harm = np.exp(read_curves(curves, which[these, :, None], at)) * arrived.share[these, :, None]
            of_place[these] = np.log(np.maximum(harm.sum(axis=1), 1e-12))
    edges = np.flatnonzero(np.diff(arrived.stand)) + 1
    first = np.concatenate([[0], edges]).astype(np.int64)
    share = 1.0 / np.bincount(arrived.stand)[arrived.stand]
    return States(curves[which.ravel()], over, arrived.share, HarmCurves(of_place, strongest, share, first))


#: From so many states on, kinds that differ by less than these are taken as one: Rice's factor and difference of
#: branches [dB]. A map has thousands.
MANY: Final = 4000
ROUGHLY_DB: Final = 0.5


def curves_of(kinds: Kinds) -> tuple[FloatArray, IntArray]:
    """The curves of kinds (n,), each once (m, margins), and which of them each has (n,)."""
    columns = [kinds.k_db, kinds.apart, kinds.weaker_db, kinds.doppler_hz, kinds.bridges_ms]
    if kinds.k_db.size > MANY:
        columns[0], columns[2] = (np.round(column / ROUGHLY_DB) * ROUGHLY_DB for column in (columns[0], columns[2]))
    keys, which = distinct(np.stack(columns, axis=1))
    return harm_curves(Kinds(*keys.T)), which


@dataclass(frozen=True, eq=False, slots=True)
class Hand:
    """A link's shifts, told over x [dB]: what holds with nothing deviating, in the median case, at what is wanted.

    shift_db (256,) : the least x that keeps the target in each case, in the order of the cases. plain_db : with
    nothing deviating. course, deviation_db : what the harm at any x comes from.
    """

    wanted: Wanted
    plain_db: float
    shift_db: FloatArray
    course: HarmCurves
    deviation_db: FloatArray

    def in_air(self, share: FloatArray, quieter_db: FloatArray) -> Hand:
        """The same averaged over states of the air, told over the noise of the noisiest (`mixed`)."""
        course = replace(self.course, curves=mixed(self.course.curves, share, quieter_db))
        limit = np.array([self.wanted.harm_s])
        plain = float(course.shifts_db(limit, np.zeros((1, course.over_db.size)))[0, 0])
        shifts = course.shifts_db(limit, self.deviation_db)[:, 0]
        return Hand(self.wanted, plain, shifts, course, self.deviation_db)

    def over_db(self, x_db: float, noisier_db: FloatArray | float = 0.0) -> FloatArray:
        """T (256,) [dB] at x, with the noise so much over its median in each case, from the least to the most."""
        return np.sort(x_db - self.shift_db - noisier_db)

    def in_hand_db(self, x_db: float, noisier_db: FloatArray | float = 0.0) -> float:
        """What is in hand at x [dB]."""
        return float(self.over_db(x_db, noisier_db)[case_at(1.0 - self.wanted.sure)])

    @property
    def wanted_db(self) -> float:
        """The least x at which nothing is short [dB]."""
        return float(np.sort(self.shift_db)[CASES - 1 - case_at(1.0 - self.wanted.sure)])

    @property
    def doubt_db(self) -> float:
        """How much more than in the median case is wanted [dB]."""
        return self.wanted_db - float(np.sort(self.shift_db)[CASES - 1 - case_at(0.5)])

    def told(self, x_db: float, noisier_db: FloatArray | float = 0.0) -> HandFigures:
        """Everything that is told of the link at x."""
        return told_of([self], [x_db], [noisier_db])[0]


@dataclass(frozen=True, slots=True)
class HandFigures:
    """T with nothing deviating, in the median case and at what is wanted [dB]; how sure; seconds an hour with a
    break in the median case and at what is wanted."""

    plain_db: float
    median_db: float
    in_hand_db: float
    sure: float
    breaks_per_hour: float
    breaks_per_hour_at_wanted: float


def mixed(curves: FloatArray, share: FloatArray, quieter_db: FloatArray) -> FloatArray:
    """Curves (p, margins) averaged over states of the air: their shares of time (s,), and how much more margin each
    leaves [dB]."""
    at = CURVE_DB[None, :] + quieter_db[:, None]
    which = np.arange(len(curves))[:, None, None]
    harm = (np.exp(read_curves(curves, which, at[None])) * share[None, :, None]).sum(axis=1)
    return np.asarray(np.log(np.maximum(harm, 1e-12)))


def told_of(
    hands: Sequence[Hand], x_db: Sequence[float], noisier_db: Sequence[FloatArray | float]
) -> list[HandFigures]:
    """Everything that is told of links (l,), each at its x [dB] and with its noise so much over its median in each
    case."""
    if not hands:
        return []
    x = np.array(x_db)
    noisier = np.stack([np.broadcast_to(np.asarray(noise), (CASES,)) for noise in noisier_db])
    over = x[:, None] - np.stack([hand.shift_db for hand in hands]) - noisier
    at = np.array([(case_at(0.5), case_at(1.0 - hand.wanted.sure)) for hand in hands])
    which = np.take_along_axis(np.argsort(over, axis=1, kind="stable"), at, axis=1)
    deviation = np.concatenate([hand.deviation_db[mine] for hand, mine in zip(hands, which, strict=True)], axis=1)
    course = HarmCurves.together([hand.course for hand in hands])
    harm = course.harm_s((x[:, None] - np.take_along_axis(noisier, which, axis=1)).T, deviation)
    told = np.take_along_axis(over, which, axis=1)
    return [
        HandFigures(
            plain_db=x_db[n] - hand.plain_db,
            median_db=float(told[n, 0]),
            in_hand_db=float(told[n, 1]),
            sure=sure / CASES,
            breaks_per_hour=float(harm[0, n]),
            breaks_per_hour_at_wanted=float(harm[:, n].max()),
        )
        for n, (hand, sure) in enumerate(zip(hands, np.count_nonzero(over >= 0.0, axis=1).tolist(), strict=True))
    ]


def hands_of(states: States, doubt: Doubt, wanted: Sequence[Wanted]) -> list[Hand]:
    """The shifts of links, with what each is to keep to."""
    course = states.course
    limit = np.array([wish.harm_s for wish in wanted])
    plain = course.shifts_db(limit, np.zeros((1, course.over_db.size)))[0]
    shifts = course.shifts_db(limit, doubt.deviation_db)
    ends = np.array([*course.first[1:], course.over_db.size])
    return [
        Hand(
            wish,
            float(plain[n]),
            shifts[:, n],
            HarmCurves(course.curves[a:b], course.over_db[a:b], course.share[a:b], np.zeros(1, dtype=np.int64)),
            doubt.deviation_db[:, a:b],
        )
        for n, (wish, a, b) in enumerate(zip(wanted, course.first, ends, strict=True))
    ]
