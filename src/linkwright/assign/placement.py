"""Carriers and powers of a problem's links, and what they come to: the objective.

The objective, in this order: everybody placed; the worst link's shortfall from holding; how many hold; least total
power; quietest air. What a link has beyond holding counts for nothing: it would only buy power.
"""

from __future__ import annotations

import functools
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final, TypeVar

import numpy as np

from linkwright.assign.levels import OnCarriers, Radio, excess_db
from linkwright.assign.problem import Problem
from linkwright.units import BoolArray, FloatArray, IntArray

T = TypeVar("T")

#: Differences of what is in hand that are rounding [dB].
SAME_DB: Final = 1e-9


@dataclass(frozen=True, eq=False)
class PowerWishes:
    """What the links (n,) of a call wish of their powers: the reserve beyond holding [dB], and who wants the
    most."""

    names: tuple[str, ...]
    reserve_db: FloatArray
    most: BoolArray

    @functools.cached_property
    def place(self) -> IntArray:
        """The place of each link (n,) in the order of the names."""
        return np.argsort(np.argsort(self.names))

    def only(self, mine: IntArray) -> PowerWishes:
        """The same for some of the links."""
        return PowerWishes(tuple(self.names[int(i)] for i in mine), self.reserve_db[mine], self.most[mine])


@dataclass(frozen=True, eq=False)
class CallLevels:
    """One call of a problem: who is live (indices of wishes), their radio, and their allowed power steps.

    `air_mw[v]` is what the air brings the v-th receiver on each slot of its link; `steps_mw[m]` are the steps of
    the m-th live link, ascending, and `most_mw[m]` the most that is allowed on each of its slots. `others_khz` and
    `others_mw` are the narrow transmitters of others, in the order in which the radio has them after the links;
    `wishes` are of powers; `doubt_db` (n,) is what not knowing takes of each link's margin: short by more than
    that, it fails [dB].
    """

    members: IntArray
    radio: Radio
    air_mw: tuple[FloatArray, ...]
    steps_mw: tuple[FloatArray, ...]
    most_mw: tuple[FloatArray, ...]
    others_khz: IntArray
    others_mw: FloatArray
    wishes: PowerWishes
    doubt_db: FloatArray

    @functools.cached_property
    def highest(self) -> tuple[IntArray, ...]:
        """Which is the highest step that is allowed on each slot, of each link."""
        steps = zip(self.steps_mw, self.most_mw, strict=True)
        return tuple(np.searchsorted(mw, most, side="right") - 1 for mw, most in steps)

    @functools.cached_property
    def padded_mw(self) -> FloatArray:
        """The steps of all links (n, k), the highest repeated."""
        most = max((mw.size for mw in self.steps_mw), default=0)
        return np.array([np.pad(mw, (0, most - mw.size), "edge") for mw in self.steps_mw]).reshape(-1, most)

    @functools.cached_property
    def settled(self) -> dict[tuple[tuple[int, ...], bytes], Outcome]:
        """What was worked out: a search by products and one by levels look at the same places."""
        return {}

    def compiled(self) -> CallLevels:
        """The same call, reckoned by compiled loops."""
        return replace(self, radio=replace(self.radio, compiled=True))

    def only(self, keep: Sequence[bool]) -> CallLevels:
        """The same call for some of its links: `keep` (n,)."""
        if all(keep):
            return self
        mine = np.flatnonzero(keep)
        every = np.concatenate([mine, np.arange(self.radio.own, self.radio.transmitters)])

        def part(values: tuple[T, ...]) -> tuple[T, ...]:
            return tuple(values[int(i)] for i in mine)

        live = CallLevels(
            self.members[mine],
            self.radio.only(every, mine.size),
            tuple(self.air_mw[int(v)] for v in self.radio.receivers_of(mine)),
            part(self.steps_mw),
            part(self.most_mw),
            self.others_khz,
            self.others_mw,
            self.wishes.only(mine),
            self.doubt_db[mine],
        )
        # What was worked out of each link goes along: a search asks for some of them with every look.
        vars(live).update(highest=part(self.highest), padded_mw=self.padded_mw[mine])
        return live


@dataclass(frozen=True, slots=True)
class Outcome:
    """What carriers come to in one call: powers (n,) [mW], what is in hand (n,) [dB], and how much interference and
    air raise the noise (n,) [dB], of each link at the worst of its receivers."""

    powers_mw: FloatArray
    excess_db: FloatArray
    rise_db: FloatArray


@dataclass(frozen=True, order=True, slots=True)
class Objective:
    """The objective, larger is better: compared field by field."""

    placed: int
    worst_db: float
    holding: int
    less_power_db: float
    quiet_db: float


def settle_powers(call: CallLevels, slots: Sequence[int], carriers_khz: IntArray) -> Outcome:
    """The powers of a call, for carriers (n,) on each link's slot index; independent of the links' order.

    From the least steps powers only rise, each to the least step that has its reserve in hand against what the
    others now do, to its highest where the reserve is not to be had, until nobody is helped: the least fixed point
    (the argument of Yates 1995). Whoever would not hold at the highest step waits at the least one, and is raised
    last, the worst first, as far as nobody who holds is lost. Then those who wish for the most are raised, the
    worst first, as far as nobody falls under the reserve.
    """
    key = tuple(slots), carriers_khz.tobytes()
    if key not in call.settled:
        powers = _Powers(call, slots, carriers_khz)
        if call.radio.compiled and powers.here.listed is not None:
            powers.settle_at_once(*powers.here.listed)
        else:
            powers.settle()
        call.settled[key] = powers.outcome()
    return call.settled[key]


class _Powers:
    """The steps of a call's links while they are settled: `at` (n,) is each one's step, `last` (n,) its highest."""

    def __init__(self, call: CallLevels, slots: Sequence[int], carriers_khz: IntArray) -> None:
        self.call, n = call, call.radio.own
        self.air = np.array([air[slots[m]] for air, m in zip(call.air_mw, call.radio.of.tolist(), strict=True)])
        self.last = np.array([of[slot] for of, slot in zip(call.highest, slots, strict=True)], dtype=np.int64)
        self.here = OnCarriers(call.radio, np.concatenate([carriers_khz, call.others_khz]))
        self.at = np.zeros(n, dtype=np.int64)
        self._known: dict[bytes, tuple[FloatArray, FloatArray]] = {}

    @functools.cached_property
    def steps_mw(self) -> FloatArray:
        """The powers of the steps (n, k) [mW], the highest that is allowed repeated."""
        each = np.minimum(np.arange(self.call.padded_mw.shape[1]), self.last[:, None])
        return np.take_along_axis(self.call.padded_mw, each, axis=1)

    def mw(self, at: IntArray) -> FloatArray:
        """Powers at steps (n,) [mW]."""
        return np.asarray(self.call.padded_mw[np.arange(at.size), at])

    def excess_db(self, at: IntArray) -> FloatArray:
        """What every link has in hand at steps (n,) [dB]."""
        return self._at(at)[0]

    def _at(self, at: IntArray) -> tuple[FloatArray, FloatArray]:
        """What every link (n,) and every receiver (r,) has in hand at steps (n,) [dB]."""
        key = at.tobytes()
        if key not in self._known:
            radio, every_mw = self.call.radio, np.concatenate([self.mw(at), self.call.others_mw])
            each = excess_db(radio, every_mw, self.air, self.here.unwanted(every_mw))
            self._known[key] = radio.least(each), each
        return self._known[key]

    def outcome(self) -> Outcome:
        """What the steps come to as they stand."""
        radio, powers = self.call.radio, self.mw(self.at)
        excess, each = self._at(self.at)
        alone = radio.wanted * powers[radio.of] / (radio.noise_mw * radio.need * radio.to_hold)
        return Outcome(powers, excess, -radio.least(each - 10.0 * np.log10(alone)))

    def settle(self) -> None:
        """Raise everybody as far as it helps."""
        self.rise()
        excess, wishes = self.excess_db(self.at), self.call.wishes
        for m in self.order(np.flatnonzero(excess < 0.0)):
            self.raise_one(m, np.zeros(excess.size))
        for m in self.order(np.flatnonzero(wishes.most)):
            self.raise_one(m, wishes.reserve_db)

    def settle_at_once(self, who: IntArray, share: FloatArray) -> None:
        """The same in one compiled loop, with the products in filters as they were listed."""
        from linkwright.assign.powers_compiled import Hearing, PowerSteps, settle

        radio, wishes, here = self.call.radio, self.call.wishes, self.here
        powers_mw = np.empty(radio.transmitters)
        powers_mw[self.at.size :] = self.call.others_mw
        gain, sent, through, off = map(
            np.ascontiguousarray, (radio.gain, radio.sent, here.through, radio.from_others)
        )
        steps = PowerSteps(self.last, self.call.padded_mw, wishes.reserve_db, wishes.most, wishes.place)
        noise_mw = radio.noise_mw + self.air
        heard = Hearing(who, share, gain, sent, through, off, noise_mw, radio.receivers, radio.of)
        excess, each = np.empty(self.at.size), np.empty(radio.of.size)
        settle(self.at, steps, heard, SAME_DB, powers_mw, excess, each)
        self._known[self.at.tobytes()] = excess, each

    def rise(self) -> None:
        """The least fixed point of those who can hold."""
        reserve = self.call.wishes.reserve_db
        raised = True
        while raised:
            excess, powers = self.excess_db(self.at), self.mw(self.at)
            short = np.flatnonzero(excess < reserve)
            would = 10.0 * np.log10(self.steps_mw[short] / powers[short, None]) + excess[short, None]
            enough = would >= reserve[short, None]
            highest = np.where(would[:, -1] >= 0.0, self.last[short], 0)
            wanted = np.where(enough.any(axis=1), enough.argmax(axis=1), highest)
            up = wanted > self.at[short]
            self.at[short[up]], raised = wanted[up], bool(up.any())

    def order(self, which: IntArray) -> list[int]:
        """Links, the one with the least in hand first, alike ones by name."""
        excess, names = np.round(self.excess_db(self.at), 6), self.call.wishes.names
        return sorted((int(m) for m in which), key=lambda m: (excess[m], names[m]))

    def raise_one(self, m: int, keep_db: FloatArray) -> None:
        """Raise a link to its highest step at which nobody else who has it now has less than `keep_db` (n,)."""
        others = np.arange(self.at.size) != m
        before = self.excess_db(self.at)
        least = np.where(before >= 0.0, np.minimum(before, keep_db), -np.inf)
        for step in range(int(self.last[m]), int(self.at[m]), -1):
            trial = self.at.copy()
            trial[m] = step
            if bool((self.excess_db(trial) >= least - SAME_DB)[others].all()):
                self.at = trial
                return


def score(outcomes: Sequence[Outcome], quiet_db: float, placed: int) -> Objective:
    """The objective of a placement from the outcomes of its calls; `quiet_db` is less the rise of the air."""
    excess = np.concatenate([outcome.excess_db for outcome in outcomes]) if outcomes else np.zeros(0)
    power = sum(float(outcome.powers_mw.sum()) for outcome in outcomes)
    worst = round(float(np.minimum(excess, 0.0).min(initial=0.0)), 3)
    return Objective(
        placed,
        worst,
        int(np.count_nonzero(excess >= 0.0)),
        round(-10.0 * np.log10(max(power, 1e-9)), 3),
        round(quiet_db, 3),
    )


class Placement:
    """Carriers of a problem's links as indices of their slots, with what they come to in every call.

    `slots` (links,) are -1 for a link that has none; such a link is left out of its calls.
    """

    def __init__(self, problem: Problem, calls: Sequence[CallLevels], slots: IntArray) -> None:
        self.problem, self.calls = problem, calls
        self.slots = slots.copy()
        rises = zip(problem.wishes, slots.tolist(), strict=True)
        self._rise_db = np.array([wish.rise_db[slot] if slot >= 0 else 0.0 for wish, slot in rises])
        self.outcomes = [self._outcome(call, self.slots) for call in calls]

    def carrier_khz(self, link: int, slot: int) -> int:
        """The carrier of a link's slot [kHz]."""
        return int(self.problem.wishes[link].slots_khz[slot])

    def _outcome(self, call: CallLevels, slots: IntArray) -> Outcome:
        mine = [int(slots[link]) for link in call.members]
        carriers = np.array(
            [self.carrier_khz(i, s) for i, s in zip(call.members, mine, strict=True)], dtype=np.int64
        )
        return settle_powers(call, mine, carriers)

    def score(self) -> Objective:
        """The objective as it stands."""
        return score(self.outcomes, -float(self._rise_db.sum()), self._placed)

    @property
    def _placed(self) -> int:
        return int(np.count_nonzero(self.slots >= 0))

    def worst(self) -> list[int]:
        """The links, the one with the least excess first."""
        least: dict[int, float] = {}
        for call, outcome in zip(self.calls, self.outcomes, strict=True):
            for link, excess in zip(call.members, outcome.excess_db, strict=True):
                least[int(link)] = min(least.get(int(link), np.inf), float(excess))
        return sorted(least, key=lambda link: (least[link], link))

    def try_slot(self, link: int, slot: int) -> tuple[Objective, list[Outcome]]:
        """What the placement would come to with one link on another slot."""
        slots = self.slots.copy()
        slots[link] = slot
        outcomes = [
            self._outcome(call, slots) if link in call.members else outcome
            for call, outcome in zip(self.calls, self.outcomes, strict=True)
        ]
        rise_db = self._rise_db.sum() - self._rise_db[link] + self.problem.wishes[link].rise_db[slot]
        return score(outcomes, -float(rise_db), self._placed + int(self.slots[link] < 0)), outcomes

    def move(self, link: int, slot: int, outcomes: list[Outcome]) -> None:
        """Put a link on another slot, with the outcomes that `try_slot` found."""
        self.slots[link], self._rise_db[link] = slot, self.problem.wishes[link].rise_db[slot]
        self.outcomes = outcomes

    def could_gain(self, least_db: float) -> bool:
        """Whether anybody is short who would be less so by so much on a quieter carrier; distance no carrier
        mends."""
        return any(bool(((o.excess_db < 0.0) & (o.rise_db > least_db)).any()) for o in self.outcomes)

    def weakest(self) -> float:
        """The least excess of any link [dB]; infinite where nobody is live."""
        return min((float(outcome.excess_db.min(initial=np.inf)) for outcome in self.outcomes), default=np.inf)

    def open_slots(self, link: int) -> IntArray:
        """The slots of a link that keep the spacing to everybody whom it meets."""
        wish = self.problem.wishes[link]
        free = np.ones(wish.slots_khz.size, dtype=np.bool_)
        for call in self.problem.calls:
            if link not in call:
                continue
            for other in call:
                if other != link and self.slots[other] >= 0:
                    at = self.carrier_khz(other, int(self.slots[other]))
                    spacing = self.problem.spacing_khz(link, other)
                    first = np.searchsorted(wish.slots_khz, at - spacing, side="right")
                    free[first : np.searchsorted(wish.slots_khz, at + spacing, side="left")] = False
        return np.flatnonzero(free)
