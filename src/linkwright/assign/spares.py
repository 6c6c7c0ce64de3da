"""Spare carriers: where a link can go when its own carrier is hit, and all is still clean."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import Final

import numpy as np

from linkwright.assign.clean import quietest
from linkwright.assign.problem import Problem
from linkwright.assign.state import State
from linkwright.units import BoolArray, IntArray

Serves = Callable[[int, int], bool]
#: How many slots are asked for by level before a link goes without another spare.
ASKED_A_SPARE: Final = 12


def choose_spares(state: State, clean: bool, serves: Serves | None = None) -> list[list[int]]:
    """Spares for every placed link, in order, as cells; fewer than wished where there are no more.

    `serves` says whether a carrier [kHz] would do for a link by level: what would not is not offered.

    A spare keeps its spacing to every carrier and every other spare. In a clean plan no product of the carriers
    in use falls on it, and after its link has moved there everything is still clean; where the plan is not
    clean, the least hit slots are taken. All links get their first spare before anybody gets a second.
    """
    problem = state.problem
    spares: list[list[int]] = [[] for _ in problem.wishes]
    placed = [int(i) for i in np.flatnonzero(state.carriers >= 0)]
    cost = {link: spare_cost(state, link, clean) for link in placed if problem.wishes[link].spares}
    away = {link: _away_from_others(state, link) for link in cost}
    for round_ in range(max((problem.wishes[i].spares for i in placed), default=0)):
        wanting = [i for i in placed if problem.wishes[i].spares > round_ and len(spares[i]) == round_]
        open_ = {i: _open(state, i, spares, cost[i], away[i], clean) for i in wanting}
        again = {i: _still_open(state, i, open_[i]) for i in wanting}
        for link in sorted(wanting, key=lambda i: (not again[i], int(np.count_nonzero(open_[i])), i)):
            cells = state.grid.wish_slots[link]
            free = _open(state, link, spares, cost[link], away[link], clean)
            taken = np.array([*state.carriers[placed], *(c for s in spares for c in s)])
            for slot in _offered(state, link, free, cost[link], taken, again[link]):
                if serves is None or serves(link, state.grid.carrier_khz(int(cells[slot]))):
                    spares[link].append(int(cells[slot]))
                    break
    return spares


def _offered(
    state: State, link: int, free: BoolArray, cost: IntArray, taken: IntArray, earlier: Sequence[int]
) -> Iterator[int]:
    """Slots for a spare, the best first: those of an earlier plan, then the least hit and quietest; after some of
    them none near one that was offered."""
    free = free.copy()
    wish, cells = state.problem.wishes[link], state.grid.wish_slots[link]
    for nth in range(ASKED_A_SPARE):
        again = [n for n in earlier if free[n]]
        if again:
            slot = again[0]
        elif free.any():
            open_ = np.flatnonzero(free)
            slot = quietest(state, link, open_[cost[open_] == cost[open_].min()], taken)
        else:
            return
        yield slot
        beside = 0 if nth < ASKED_A_SPARE // 2 else wish.spacing_khz
        free &= np.abs(cells - cells[slot]) * state.grid.step_khz > beside


def _still_open(state: State, link: int, free: BoolArray) -> list[int]:
    """The slots of the link's spares of an earlier plan that are still open, in their order."""
    earlier = [slot_of(state, link, khz) for khz in state.problem.wishes[link].keep_spares_khz]
    return [n for n in earlier if n >= 0 and free[n]]


def slot_of(state: State, link: int, carrier_khz: int) -> int:
    """Which of the link's slots a carrier is; -1 where it is none."""
    cells = state.grid.wish_slots[link]
    cell = state.grid.cell(carrier_khz)
    at = int(np.searchsorted(cells, cell))
    is_there = at < cells.size and cells[at] == cell and state.grid.carrier_khz(cell) == carrier_khz
    return at if is_there else -1


def spare_cost(state: State, link: int, clean: bool) -> IntArray:
    """For each slot of the link, how much would be hit if it were the link's spare; 0 is clean, shape (m,).

    Counts the products of the carriers in use that come too near to it, and what a move there would bring.
    """
    cells = state.grid.wish_slots[link]
    calls = state.calls_of[link][:, None]
    hit = np.asarray(state.counts.prod[calls, cells].sum(axis=0), dtype=np.int64)
    if not clean and state.carriers.size > 64:
        return hit  # what a move would bring is next to nothing beside what is there
    cell = state.take(link)
    both = state.counts.prod[calls, cells] + state.counts.mid[calls, cells]
    moved = np.asarray(both.sum(axis=0), dtype=np.int64)
    state.put(link, cell)
    return hit + moved


def _open(
    state: State, link: int, spares: Sequence[Sequence[int]], cost: IntArray, away: BoolArray, clean: bool
) -> BoolArray:
    """Which of the link's slots keep the spacing to everything and, in a clean plan, are clean; shape (m,)."""
    cells = state.grid.wish_slots[link]
    klass = int(state.klass[link])
    free = state.counts.near[state.calls_of[link][:, None], klass, cells].sum(axis=0) == 0
    if clean:
        free &= cost == 0
    for other, taken in enumerate(spares):
        if taken and _meet(state.problem, link, other):
            reach = int(state.reaches[klass, state.klass[other]])
            for cell in taken:
                free[np.searchsorted(cells, cell - reach) : np.searchsorted(cells, cell + reach, "right")] = False
    apart = free & away
    return np.asarray(apart if apart.any() else free)


def _away_from_others(state: State, link: int) -> BoolArray:
    """Which of the link's slots keep its spacing to the carriers of others who are known while it is live (m,)."""
    problem, wish = state.problem, state.problem.wishes[link]
    away = np.ones(wish.slots_khz.size, dtype=np.bool_)
    for number, call in enumerate(problem.calls):
        for maker_khz in problem.makers_in(number) if link in call else ():
            away &= np.abs(wish.slots_khz - maker_khz) >= wish.spacing_khz
    return away


def _meet(problem: Problem, a: int, b: int) -> bool:
    """Whether two links are ever live together (a link always meets itself)."""
    return a == b or any(a in call and b in call for call in problem.calls)
