"""Where no clean plan is to be had: everybody placed all the same, with the fewest products on carriers."""

from __future__ import annotations

from typing import Final

import numpy as np

from linkwright.assign.clean import settle
from linkwright.assign.problem import SPACING_WEIGHT, Assignment, Grid, Problem, answer
from linkwright.assign.spares import choose_spares
from linkwright.assign.state import State
from linkwright.progress import Tell
from linkwright.units import IntArray

#: The most effort that goes into having fewer products: levels, not counts, decide in the end.
MOST_EFFORT: Final = 0.1


def least_hit(problem: Problem, grid: Grid, proved: bool, tell: Tell, effort: float) -> Assignment:
    """Every link with its spacing kept and as few products on carriers as the search finds.

    Links for which not even the spacing can be kept have no carrier in the answer.
    """
    start = State(problem, grid)
    start.put_locked()
    cells, _ = settle(start, start.free, tell, min(effort, MOST_EFFORT))
    packed = State(problem, grid)
    packed.put_locked()
    _pack(packed)
    state = max((spaced(problem, grid, cells), spaced(problem, grid, packed.carriers)), key=_placed)
    return answer(grid, "power", state.carriers, choose_spares(state, clean=False), proved=proved)


def _placed(state: State) -> int:
    return int(np.count_nonzero(state.carriers >= 0))


def _pack(state: State) -> None:
    """Give every link the lowest slot that keeps the spacing, those with the fewest slots first."""
    order = sorted(np.flatnonzero(state.carriers < 0), key=lambda i: (state.grid.wish_slots[i].size, i))
    for link in order:
        cells = state.grid.wish_slots[link]
        free = cells[state.conflicts(int(link), cells) < SPACING_WEIGHT]
        if free.size:
            state.put(int(link), int(free[0]))


def spaced(problem: Problem, grid: Grid, cells: IntArray) -> State:
    """The placement less the links that stand too near to others, those put back where there is still room."""
    state = State.standing(problem, grid, cells)
    dropped: list[int] = []
    while (trouble := state.conflicts_of_placed()).max(initial=0) >= SPACING_WEIGHT:
        movable = np.where(state.free, trouble, trouble // 2)
        link = int(movable.size - 1 - np.argmax(movable[::-1]))
        state.take(link)
        dropped.append(link)
    for link in (*reversed(dropped), *np.flatnonzero(state.carriers < 0)):
        slots = grid.wish_slots[link]
        locked = problem.wishes[link].locked_khz
        slots = slots if locked is None else np.array([grid.cell(locked)])
        conflicts = state.conflicts(int(link), slots)
        if state.carriers[link] < 0 and conflicts.min(initial=SPACING_WEIGHT) < SPACING_WEIGHT:
            state.put(int(link), int(slots[np.argmin(conflicts)]))
    return state
