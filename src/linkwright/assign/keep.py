"""Gentle re-planning: carriers of an earlier plan stay where they can, and the fewest move."""

from __future__ import annotations

import numpy as np

from linkwright.assign.clean import Tell, quietest, settle
from linkwright.assign.crowded import spaced
from linkwright.assign.problem import Assignment, Grid, Problem, answer
from linkwright.assign.spares import choose_spares
from linkwright.assign.state import State


def keep(problem: Problem, grid: Grid, tell: Tell) -> Assignment:
    """Carriers for every link, those of the earlier plan (`keep_khz`) as far as they are still slots.

    A link that has to move goes to its first spare of the earlier plan that is still clean, else to the quietest
    clean slot; only where that fails may others move too, and whoever can go back does.
    """
    state = State(problem, grid)
    state.put_locked()
    homes = [_home(problem, grid, link) for link in range(len(problem.wishes))]
    for link, home in enumerate(homes):
        if state.carriers[link] < 0 and home >= 0:
            state.put(link, home)
    for homeless in np.flatnonzero(state.carriers < 0):
        _place(state, int(homeless))
    if np.any(state.carriers < 0) or state.conflicts_of_placed().any():
        cells, _ = settle(state, state.free, tell, effort=0.1)
        state = State.standing(problem, grid, cells)
        _go_home(state, homes)
    clean = not state.conflicts_of_placed().any()
    if not clean:
        state = spaced(problem, grid, state.carriers)
    moved = tuple(
        link
        for link, wish in enumerate(problem.wishes)
        if wish.keep_khz is not None and state.carriers[link] != homes[link]
    )
    spares = choose_spares(state, clean)
    return answer(grid, "clean" if clean else "power", state.carriers, spares, moved=moved)


def _home(problem: Problem, grid: Grid, link: int) -> int:
    """The cell of a link's earlier carrier; -1 where it had none or it is no longer one of its slots."""
    return _cell_of(problem, grid, link, problem.wishes[link].keep_khz)


def _cell_of(problem: Problem, grid: Grid, link: int, carrier_khz: int | None) -> int:
    slots = problem.wishes[link].slots_khz
    known = carrier_khz is not None and bool(np.isin(carrier_khz, slots))
    return grid.cell(carrier_khz) if known and carrier_khz is not None else -1


def _place(state: State, link: int) -> None:
    """Put a link on its first spare that is still clean, else on the quietest clean slot, if there is any."""
    wish = state.problem.wishes[link]
    cells = state.grid.wish_slots[link]
    spares = [_cell_of(state.problem, state.grid, link, spare) for spare in wish.keep_spares_khz]
    for cell in [spare for spare in spares if spare >= 0]:
        if state.conflicts(link, np.array([cell]))[0] == 0:
            state.put(link, cell)
            return
    free = np.flatnonzero(state.conflicts(link, cells) == 0)
    if free.size:
        state.put(link, int(cells[quietest(state, link, free, state.carriers[state.carriers >= 0])]))


def _go_home(state: State, homes: list[int]) -> None:
    """Whoever moved without need goes back."""
    for link, home in enumerate(homes):
        if home >= 0 and state.carriers[link] != home and state.free[link]:
            was = state.take(link)
            back = state.conflicts(link, np.array([home]))[0] == 0
            state.put(link, home if back else was)
