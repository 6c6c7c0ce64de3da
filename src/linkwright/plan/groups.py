"""One group of the display for all links of a kit, where that costs nobody anything."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from linkwright.assign.calls import CallAnswer, Kept, SiteTask, least_over_db
from linkwright.plan.chain import Scene
from linkwright.plan.site import ROOMY_UP_TO, SiteProblem, Slots, site_problem, site_task
from linkwright.shoot.equipment import DisplayCarrier
from linkwright.units import khz_from_mhz

#: So many groups of a list are tried, those with most carriers that may be used first.
TRIED: Final = 3

List = tuple[DisplayCarrier, ...]
Solve = Callable[[SiteTask], list[CallAnswer]]


@dataclass(frozen=True, eq=False, slots=True)
class Way:
    """A way of solving a site."""

    problem: SiteProblem
    task: SiteTask
    answers: list[CallAnswer]

    def costs_nothing_against(self, other: Way) -> bool:
        """Whether as many are placed as clean with as many spares, and nobody is short who was not."""
        mine, theirs = self._counts(), other._counts()
        return all(a >= b for a, b in zip(mine, theirs, strict=True)) and (
            least_over_db(self.task, self.answers) >= least_over_db(other.task, other.answers)
        )

    def _counts(self) -> tuple[int, int, int]:
        answers = self.answers
        return (
            sum(khz is not None for answer in answers for khz in answer.carriers_khz.values()),
            sum(answer.criterion == "clean" for answer in answers),
            sum(len(spares) for answer in answers for spares in answer.spares_khz.values()),
        )


def in_groups(scene: Scene, slots: Slots, plain: Way, kept: Mapping[str, Kept], effort: float, solve: Solve) -> Way:
    """The site solved with one group for each kit whose display has several, as far as that costs nothing.

    A plan that keeps to an earlier one, or one of an event, is left as it is.
    """
    if kept or len(scene.shoot.link) > ROOMY_UP_TO:
        return plain
    best = plain
    for carriers in dict.fromkeys(chain.transmitter.carriers for chain in plain.problem.chains):
        for group in _by_room(plain.problem, carriers):
            slots.groups[carriers] = group
            problem = site_problem(scene, plain.problem.site, slots, kept)
            task = site_task(problem, slots, effort)
            way = Way(problem, task, solve(task))
            if way.costs_nothing_against(best):
                best = way
                break
            del slots.groups[carriers]
    return best


def _by_room(problem: SiteProblem, carriers: List) -> list[str]:
    """The groups of a list that are worth trying; none where it has but one."""
    groups = dict.fromkeys(carrier.group for carrier in carriers if carrier.group is not None)
    if len(groups) < 2:
        return []
    room = dict.fromkeys(groups, 0)
    for chain, tuning in zip(problem.chains, problem.tunings, strict=True):
        if chain.transmitter.carriers == carriers:
            for group in room:
                inside = [khz_from_mhz(carrier.mhz) for carrier in carriers if carrier.group == group]
                room[group] += int(np.isin(tuning.carriers_khz[tuning.usable], inside).sum())
    return sorted((group for group in room if room[group]), key=lambda group: -room[group])[:TRIED]
