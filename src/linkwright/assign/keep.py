"""Gentle re-planning: carriers of an earlier plan stay where they can, and the fewest move."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from linkwright.assign.clean import quietest, settle
from linkwright.assign.congestion import spaced
from linkwright.assign.problem import Assignment, Grid, Problem, answer, grid_of
from linkwright.assign.spares import choose_spares
from linkwright.assign.state import State
from linkwright.progress import Tell


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
        if not _place(state, int(homeless)):
            _place_with_one_more_move(state, int(homeless))
    if np.any(state.carriers < 0) or state.conflicts_of_placed().any():
        cells, _ = settle(state, state.free, tell, effort=0.1)
        state = State.standing(problem, grid, cells)
        _go_home(state, homes)
    clean = not state.conflicts_of_placed().any()
    if not clean:
        state = spaced(problem, grid, state.carriers)
    spares = choose_spares(state, clean)
    return answer(grid, "clean" if clean else "power", state.carriers, spares)


def _home(problem: Problem, grid: Grid, link: int) -> int:
    """The cell of a link's earlier carrier; -1 where it had none or it is no longer one of its slots."""
    return _cell_of(problem, grid, link, problem.wishes[link].keep_khz)


def _cell_of(problem: Problem, grid: Grid, link: int, carrier_khz: int | None) -> int:
    slots = problem.wishes[link].slots_khz
    known = carrier_khz is not None and bool(np.isin(carrier_khz, slots))
    return grid.cell(carrier_khz) if known and carrier_khz is not None else -1


def _place(state: State, link: int) -> bool:
    """Put a link on its first spare that is still clean, else on the quietest clean slot, if there is any."""
    wish = state.problem.wishes[link]
    cells = state.grid.wish_slots[link]
    spares = [_cell_of(state.problem, state.grid, link, spare) for spare in wish.keep_spares_khz]
    for cell in [spare for spare in spares if spare >= 0]:
        if state.conflicts(link, np.array([cell]))[0] == 0:
            state.put(link, cell)
            return True
    free = np.flatnonzero(state.conflicts(link, cells) == 0)
    if free.size:
        state.put(link, int(cells[quietest(state, link, free, state.carriers[state.carriers >= 0])]))
    return bool(free.size)


def _place_with_one_more_move(state: State, link: int) -> bool:
    """Make room for a link by moving one other, the first with which both find a clean place."""
    for other in np.flatnonzero((state.carriers >= 0) & state.free):
        home = state.take(int(other))
        if _place(state, link):
            if _place(state, int(other)):
                return True
            state.take(link)
        state.put(int(other), home)
    return False


def _go_home(state: State, homes: list[int]) -> None:
    """Whoever moved without need goes back."""
    for link, home in enumerate(homes):
        if home >= 0 and state.carriers[link] != home and state.free[link]:
            was = state.take(link)
            back = state.conflicts(link, np.array([home]))[0] == 0
            state.put(link, home if back else was)


@dataclass(frozen=True, slots=True)
class CarrierMove:
    """One step of going over from an earlier plan: a link, from where (None: it had none) to where [kHz].

    `clean` tells that after this step no product falls on a carrier and every spacing is kept.
    """

    link: str
    from_khz: int | None
    to_khz: int
    clean: bool


def switch_order(
    problem: Problem, before_khz: Sequence[int | None], after_khz: Sequence[int | None]
) -> list[CarrierMove]:
    """In which order to switch, so that no step breaks anybody, where there is such an order.

    Each step is the first of those left, by name of the list, after which everything is clean among those who
    were so before; where no step is clean, the one with the fewest conflicts.
    """
    grid = grid_of(_with_slots(problem, before_khz))
    cells = np.array([-1 if khz is None else grid.cell(khz) for khz in before_khz], dtype=np.int64)
    state = State.standing(problem, grid, cells)
    left = [
        i for i, (old, new) in enumerate(zip(before_khz, after_khz, strict=True)) if new is not None and new != old
    ]
    moves: list[CarrierMove] = []
    while left:
        conflicts = {link: _conflicts_after(state, link, grid.cell(after_khz[link] or 0)) for link in left}
        link = min(left, key=lambda i: (conflicts[i], i))
        if state.carriers[link] >= 0:
            state.take(link)
        state.put(link, grid.cell(after_khz[link] or 0))
        moves.append(
            CarrierMove(
                problem.wishes[link].name, before_khz[link], int(after_khz[link] or 0), conflicts[link] == 0
            )
        )
        left.remove(link)
    return moves


def _conflicts_after(state: State, link: int, cell: int) -> int:
    """The conflicts of all carriers after one link went to a cell; the state is left as it was."""
    home = state.take(link) if state.carriers[link] >= 0 else -1
    state.put(link, cell)
    conflicts = int(state.conflicts_of_placed().sum())
    state.take(link)
    if home >= 0:
        state.put(link, home)
    return conflicts


def _with_slots(problem: Problem, carriers_khz: Sequence[int | None]) -> Problem:
    """The problem with each link's earlier carrier among its slots, so that the grid holds it."""
    wishes = []
    for wish, khz in zip(problem.wishes, carriers_khz, strict=True):
        slots = wish.slots_khz if khz is None else np.union1d(wish.slots_khz, [khz])
        wishes.append(replace(wish, slots_khz=slots, rise_db=np.zeros(slots.size)))
    return replace(problem, wishes=tuple(wishes))
