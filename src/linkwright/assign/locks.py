"""Links that are bound to a carrier: those that go together, and those that are left out."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import numpy as np

from linkwright.assign.problem import SPACING_WEIGHT, Problem, distinct
from linkwright.assign.state import State


def apart(problem: Problem) -> Problem:
    """The problem in which whoever is locked nearer to one locked before him than both allow has no slot."""
    locked = [link for link, wish in enumerate(problem.wishes) if wish.locked_khz is not None]
    wishes = list(problem.wishes)
    for link in set(locked) - set(going_together(problem, locked)):
        wish = wishes[link]
        wishes[link] = replace(wish, slots_khz=wish.slots_khz[:0], rise_db=wish.rise_db[:0], locked_khz=None)
    return replace(problem, wishes=tuple(wishes)) if len(locked) > 1 else problem


def going_together(problem: Problem, links: Iterable[int], limit: int = SPACING_WEIGHT) -> list[int]:
    """Those of some links who keep their spacing on the carriers that they are locked to, or stay on, taken in
    their order, after those who are locked; with a limit of 1 those who are clean together."""
    whole = distinct(problem)
    state = State(whole)
    fitting = []
    for link in sorted(links, key=lambda link: whole.wishes[link].locked_khz is None):
        wish = whole.wishes[link]
        carrier_khz = wish.stay_khz if wish.locked_khz is None else wish.locked_khz
        assert carrier_khz is not None, "only who has a carrier is bound to it"
        cell = state.grid.cell(carrier_khz)
        if state.conflicts(link, np.array([cell]))[0] < limit:
            state.put(link, cell)
            fitting.append(link)
    return fitting
