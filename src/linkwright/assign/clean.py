"""Finding a clean set: greedy starts, algebraic seeds, depth-first where slots are few, then min-conflicts.

Every method works on a `State` and leaves the carriers of a complete clean placement in it, or says that it
found none. All of them are deterministic for a seed.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from linkwright.assign.bound import bounds_of_call
from linkwright.assign.histograms import SearchedLinks
from linkwright.assign.problem import SPACING_WEIGHT, Grid, Problem
from linkwright.assign.seeds import starts
from linkwright.assign.state import State
from linkwright.progress import Tell, quiet
from linkwright.units import BoolArray, IntArray

#: Beyond this distance another carrier no longer counts as a neighbour when slots are otherwise equal [kHz].
FAR_KHZ: Final = 2000
#: Slots up to which the search goes through every combination, and how many nodes it may visit.
FEW_SLOTS: Final = 260
NODES: Final = 6_000_000
NODES_A_PIECE: Final = 250_000
#: What min-conflicts may spend, in updates of histogram cells, and the moves between two words to `tell`.
WORK: Final = 1_500_000_000
MOVES_A_PIECE: Final = 2_000


#: The cost of dealing a link a cell that it cannot have.
NOT_A_SLOT: Final = 1e6


@dataclass(frozen=True, slots=True)
class CleanPlacement:
    """The cells of a clean placement, shape (links,); None where none was found, `proved` where there is none;
    `state` has it where it was placed in one go."""

    cells: IntArray | None
    proved: bool = False
    state: State | None = None


def find_clean(problem: Problem, grid: Grid, tell: Tell = quiet, effort: float = 1.0) -> CleanPlacement:
    """A clean placement of every wish, by ever heavier means; `effort` scales the last of them."""
    if any(len(call) > bounds_of_call(problem, call)[0] for call in problem.calls):
        return CleanPlacement(None, proved=True)
    locked = any(wish.locked_khz is not None for wish in problem.wishes)
    if locked and not State(problem, grid).put_locked():
        return CleanPlacement(None, proved=True)
    clean_placement = in_one_go(problem, grid)
    if clean_placement is not None:
        return clean_placement
    best = State(problem, grid)
    best.put_locked()
    place_greedily(best, lowest)
    for state in seeded(problem, grid, tell):
        if int(np.count_nonzero(state.carriers >= 0)) > int(np.count_nonzero(best.carriers >= 0)):
            best = state
        if np.all(best.carriers >= 0):
            return CleanPlacement(best.carriers.copy())
    cells, conflicts = settle(best, best.free, tell, 0.1 * effort)
    if conflicts == 0:
        return CleanPlacement(cells)
    if _alike(problem) and grid.wish_slots[0].size <= FEW_SLOTS:
        clean_placement = search_depth_first(problem, grid.wish_slots[0], State(problem, grid), tell)
        if clean_placement.cells is not None or clean_placement.proved:
            return clean_placement
    cells, conflicts = settle(best, best.free, tell, effort, seed=2)
    return CleanPlacement(cells if conflicts == 0 else None)


def in_one_go(problem: Problem, grid: Grid) -> CleanPlacement | None:
    """A clean placement of every wish, each link put down once, in the quietest places or as densely as can be;
    None where that leaves somebody without."""
    for pick in (_quietest, lowest):
        state = State(problem, grid)
        state.put_locked()
        if place_greedily(state, pick) == len(problem.wishes):
            return CleanPlacement(state.carriers.copy(), state=state)
    return None


def _alike(problem: Problem) -> bool:
    """Whether all links are of one kind, live together and alone, so that only the set of carriers matters."""
    first = problem.wishes[0]
    everybody = len(problem.calls) == 1 and len(problem.calls[0]) == len(problem.wishes)
    return (
        everybody
        and not any(problem.makers_khz)
        and all(
            wish.slots_khz is first.slots_khz and wish.spacing_khz == first.spacing_khz and wish.locked_khz is None
            for wish in problem.wishes
        )
    )


Pick = Callable[[State, int, IntArray], int]


def place_greedily(state: State, pick: Pick) -> int:
    """Give each link without a carrier a clean cell, those with the fewest slots first; how many have one then?"""
    wishes = state.problem.wishes
    order = sorted(
        np.flatnonzero(state.carriers < 0),
        key=lambda i: (wishes[i].slots_khz.size, -state.calls_of[i].size, i),
    )
    for link in order:
        cells = state.grid.wish_slots[link]
        if cells.size:
            free = np.flatnonzero(state.conflicts(int(link), cells) == 0)
            if free.size:
                state.put(int(link), int(cells[pick(state, int(link), free)]))
    return int(np.count_nonzero(state.carriers >= 0))


def lowest(_state: State, _link: int, free: IntArray) -> int:
    """The lowest free slot: packs densely."""
    return int(free[0])


def _quietest(state: State, link: int, free: IntArray) -> int:
    """The free slot with the quietest air; of equal ones the farthest from its neighbours, then the lowest."""
    return quietest(state, link, free, state.carriers[state.carriers >= 0])


def quietest(state: State, link: int, free: IntArray, taken: IntArray) -> int:
    """Of the slots `free` (indices into the link's slots) the quietest, far from the cells `taken`."""
    slots, rise_db = state.grid.wish_slots[link], state.problem.wishes[link].rise_db
    return int(state.quietest(slots, rise_db, free, np.sort(taken), state.grid.step_khz, FAR_KHZ))


def search_depth_first(problem: Problem, slots: IntArray, state: State, tell: Tell) -> CleanPlacement:
    """All combinations of the slots of a problem whose links are alike: finds a clean set, or proves none is."""
    from linkwright.assign import kernels

    target = len(problem.wishes)
    position = np.zeros(target + 2, dtype=np.int64)
    for nodes in range(0, NODES, NODES_A_PIECE):
        tell("trying every combination", nodes / NODES)
        answer = kernels.depth_first(slots, target, state.reaches[0], state.counts, position, NODES_A_PIECE)
        if answer == 1:
            return CleanPlacement(np.sort(state.counts.members[0, :target]))
        if answer == -1:
            return CleanPlacement(None, proved=True)
    return CleanPlacement(None)


def seeded(problem: Problem, grid: Grid, tell: Tell) -> Iterator[State]:
    """States started from sets with distinct differences, as many links placed as they carry."""
    lattice = max(1, -(-min(problem.guard_two_khz, problem.guard_three_khz) // grid.step_khz))
    usable = np.zeros(grid.cells, dtype=np.bool_)
    for slots in {id(slots): slots for slots in grid.wish_slots}.values():
        usable[slots] = True
    order = np.flatnonzero(usable)
    spacing = -(-max(wish.spacing_khz for wish in problem.wishes) // grid.step_khz)
    for phase in range(min(lattice, 4)):
        allowed = usable[phase::lattice]
        for nth, points in enumerate(starts(allowed, -(-spacing // lattice), len(problem.wishes))):
            tell("trying carriers whose products miss each other", (phase + nth / 16) / min(lattice, 4))
            yield _matched(problem, grid, points * lattice + phase, order)


def _matched(problem: Problem, grid: Grid, points: IntArray, usable: IntArray) -> State:
    """Thin the points out to a clean set, fill it up from the usable cells, and deal these in the quietest way."""
    from linkwright.assign import kernels

    together = (tuple(range(len(problem.wishes))),)
    makers = tuple(dict.fromkeys(khz for others in problem.makers_khz for khz in others))
    pool = State(replace(problem, calls=together, makers_khz=(makers,)), grid)
    pool.put_locked()
    klass = int(np.argmax(pool.reaches.sum(axis=1)))
    sizes = pool.counts.sizes
    for order in (points, usable):
        more = pool.makers + len(problem.wishes) - int(sizes[0])
        kernels.extend_greedily(order, klass, pool.calls_of[0], pool.reaches[klass], pool.counts, more)
    state = State(problem, grid)
    state.put_locked()
    _deal(state, np.setdiff1d(pool.counts.members[0, pool.makers : sizes[0]], state.carriers))
    return state


def _deal(state: State, cells: IntArray) -> None:
    """Give cells that are clean together to links that may have them, as many as can be, in the quietest way."""
    from scipy.optimize import linear_sum_assignment

    links = np.flatnonzero(state.carriers < 0)
    cost = np.full((links.size, cells.size), NOT_A_SLOT)
    for row, link in enumerate(links):
        slots = state.grid.wish_slots[link]
        at = np.searchsorted(slots, cells)
        fits = (at < slots.size) & (slots[np.minimum(at, slots.size - 1)] == cells)
        cost[row, fits] = state.problem.wishes[link].rise_db[at[fits]]
    for row, column in zip(*linear_sum_assignment(cost), strict=True):
        if cost[row, column] < NOT_A_SLOT:
            state.put(int(links[row]), int(cells[column]))


def settle(state: State, free: BoolArray, tell: Tell, effort: float = 1.0, seed: int = 1) -> tuple[IntArray, int]:
    """Min-conflicts: links in trouble move to where they are least in trouble, until nobody is.

    Links without a carrier first take their least bad slot. Only links in `free` (links,) move. Returns the
    least conflicted placement seen (links,) and its conflicts.
    """
    from linkwright.assign import kernels

    for link in np.flatnonzero(state.carriers < 0):
        cells = state.grid.wish_slots[link]
        state.put(int(link), int(cells[np.argmin(state.conflicts(int(link), cells))]))
    pairs = max((len(call) for call in state.problem.calls), default=1) ** 2
    most_slots = max(s.size for s in state.grid.wish_slots)
    work_a_move = 1.5 * pairs * (2 * max(state.counts.narrow, 0) + 3) * 2 + most_slots
    moves = int(np.clip(effort * WORK / work_a_move, 1_000, 400_000))
    shared = {id(slots): slots for slots in state.grid.wish_slots}
    begins = dict(zip(shared, np.cumsum([0] + [s.size for s in shared.values()])[:-1], strict=True))
    slot_from = np.array([begins[id(s)] for s in state.grid.wish_slots], dtype=np.int64)
    slot_to = slot_from + np.array([s.size for s in state.grid.wish_slots], dtype=np.int64)
    calls_from = np.cumsum([0] + [c.size for c in state.calls_of]).astype(np.int64)
    every = np.concatenate(list(shared.values())), slot_from, slot_to, state.klass, np.concatenate(state.calls_of)
    searched = SearchedLinks(*every, calls_from, state.reaches, free)
    tabu = np.zeros((state.carriers.size, most_slots), dtype=np.int64)
    best, conflicts = state.carriers.copy(), 2**62
    for started in range(0, moves, MOVES_A_PIECE):
        tell("moving links apart", started / moves)
        conflicts = kernels.min_conflicts(
            state.carriers, searched, state.counts, SPACING_WEIGHT, tabu, started,
            min(MOVES_A_PIECE, moves - started), seed + started, best, conflicts,
        )  # fmt: skip
        if conflicts == 0:
            break
    return best, conflicts
