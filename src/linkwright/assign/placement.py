"""Carriers and powers of a problem's links, and what they come to: the objective.

The objective, in this order: everybody placed; the worst link's shortfall from holding; how many hold; least total
power; quietest air. What a link has beyond holding counts for nothing: it would only buy power.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from linkwright.assign.levels import Radio, excess_db, unwanted
from linkwright.assign.problem import Problem
from linkwright.units import FloatArray, IntArray


@dataclass(frozen=True, eq=False)
class CallLevels:
    """One call of a problem: who is live (indices of wishes), their radio, and their allowed power steps.

    `air_mw[m]` is what the air brings on each slot of the m-th live link; `steps_mw[m]` its steps, ascending, and
    `most_mw[m]` the most that is allowed on each of its slots. `others_khz` and `others_mw` are the narrow
    transmitters of others, in the order in which the radio has them after the links.
    """

    members: IntArray
    radio: Radio
    air_mw: tuple[FloatArray, ...]
    steps_mw: tuple[FloatArray, ...]
    most_mw: tuple[FloatArray, ...]
    others_khz: IntArray
    others_mw: FloatArray

    def only(self, keep: Sequence[bool]) -> CallLevels:
        """The same call for some of its links: `keep` (n,)."""
        if all(keep):
            return self
        mine = np.flatnonzero(keep)
        every = np.concatenate([mine, np.arange(self.radio.own, self.radio.transmitters)])

        def part(values: tuple[FloatArray, ...]) -> tuple[FloatArray, ...]:
            return tuple(values[int(i)] for i in mine)

        return CallLevels(
            self.members[mine],
            self.radio.only(every, mine.size),
            part(self.air_mw),
            part(self.steps_mw),
            part(self.most_mw),
            self.others_khz,
            self.others_mw,
        )


@dataclass(frozen=True, slots=True)
class Outcome:
    """What carriers come to in one call: powers (n,) [mW] and excess over holding (n,) [dB]."""

    powers_mw: FloatArray
    excess_db: FloatArray


@dataclass(frozen=True, order=True, slots=True)
class Score:
    """The objective, larger is better: compared field by field."""

    placed: int
    worst_db: float
    holding: int
    less_power_db: float
    quiet_db: float


def settle_powers(call: CallLevels, slots: Sequence[int], carriers_khz: IntArray) -> Outcome:
    """The least powers at which everybody holds who can, for carriers (n,) on each link's slot index.

    Powers start at the least step and only rise, each to the least step that holds against what the others
    now do, until nobody is helped: the least fixed point (the argument of Yates 1995). One that cannot hold
    at its highest step has that step.
    """
    n = call.radio.own
    air = np.array([call.air_mw[m][slots[m]] for m in range(n)])
    steps = [s[s <= call.most_mw[m][slots[m]]] for m, s in enumerate(call.steps_mw)]
    every_khz = np.concatenate([carriers_khz, call.others_khz])
    at = np.zeros(n, dtype=np.int64)
    while True:
        powers = np.array([steps[m][at[m]] for m in range(n)])
        every_mw = np.concatenate([powers, call.others_mw])
        excess = excess_db(call.radio, every_mw, air, unwanted(call.radio, every_khz, every_mw))
        raised = False
        for m in np.flatnonzero(excess < 0.0):
            enough = np.flatnonzero(10.0 * np.log10(steps[m] / powers[m]) + excess[m] >= 0.0)
            wanted = int(enough[0]) if enough.size else steps[m].size - 1
            if wanted > at[m]:
                at[m], raised = wanted, True
        if not raised:
            return Outcome(powers, excess)


def score(outcomes: Sequence[Outcome], quiet_db: float, placed: int) -> Score:
    """The objective of a placement from the outcomes of its calls; `quiet_db` is less the rise of the air."""
    excess = np.concatenate([outcome.excess_db for outcome in outcomes]) if outcomes else np.zeros(0)
    power = sum(float(outcome.powers_mw.sum()) for outcome in outcomes)
    worst = round(float(np.minimum(excess, 0.0).min(initial=0.0)), 3)
    return Score(
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

    def score(self) -> Score:
        """The objective as it stands."""
        return self._score(self.outcomes, self.slots)

    def _score(self, outcomes: Sequence[Outcome], slots: IntArray) -> Score:
        placed = np.flatnonzero(slots >= 0)
        quiet = -sum(float(self.problem.wishes[i].rise_db[slots[i]]) for i in placed)
        return score(outcomes, quiet, placed.size)

    def worst(self) -> list[int]:
        """The links, the one with the least excess first."""
        least: dict[int, float] = {}
        for call, outcome in zip(self.calls, self.outcomes, strict=True):
            for link, excess in zip(call.members, outcome.excess_db, strict=True):
                least[int(link)] = min(least.get(int(link), np.inf), float(excess))
        return sorted(least, key=lambda link: (least[link], link))

    def try_slot(self, link: int, slot: int) -> tuple[Score, list[Outcome]]:
        """What the placement would come to with one link on another slot."""
        slots = self.slots.copy()
        slots[link] = slot
        outcomes = [
            self._outcome(call, slots) if link in call.members else outcome
            for call, outcome in zip(self.calls, self.outcomes, strict=True)
        ]
        return self._score(outcomes, slots), outcomes

    def move(self, link: int, slot: int, outcomes: list[Outcome]) -> None:
        """Put a link on another slot, with the outcomes that `try_slot` found."""
        self.slots[link] = slot
        self.outcomes = outcomes

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
