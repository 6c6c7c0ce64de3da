"""Links that are bound to a carrier: those that go together, and those that are left out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from linkwright.assign.problem import SPACING_WEIGHT, Problem, distinct
from linkwright.assign.state import State


def apart(problem: Problem) -> Problem:
    """The problem in which whoever is locked nearer to one locked before him than both allow has no slot."""
    locked = {link: wish.locked_khz for link, wish in enumerate(problem.wishes) if wish.locked_khz is not None}
    if len(locked) < 2:
        return problem
    fitting, wishes = _put_where_fitting(State(distinct(problem)), locked, SPACING_WEIGHT), list(problem.wishes)
    for link in locked.keys() - set(fitting):
        wish = wishes[link]
        wishes[link] = replace(wish, slots_khz=wish.slots_khz[:0], rise_db=wish.rise_db[:0], locked_khz=None)
    return replace(problem, wishes=tuple(wishes))


def going_together(problem: Problem, staying: Sequence[int], limit: int = SPACING_WEIGHT) -> list[int]:
    """Those of the links that may stay who keep their spacing on the carriers that they stay on, from each other
    and from all who are locked, taken in their order; with a limit of 1 those who are clean there."""
    state = State(distinct(problem))
    state.put_locked()
    carriers = {link: stay for link in staying if (stay := problem.wishes[link].stay_khz) is not None}
    return _put_where_fitting(state, carriers, limit)


def _put_where_fitting(state: State, carriers_khz: Mapping[int, int], limit: int) -> list[int]:
    """Put links on their carriers, one after the other, where less than a limit is in the way; which were put."""
    fitting = []
    for link, carrier_khz in carriers_khz.items():
        cell = state.grid.cell(carrier_khz)
        if state.conflicts(link, np.array([cell]))[0] < limit:
            state.put(link, cell)
            fitting.append(link)
    return fitting
