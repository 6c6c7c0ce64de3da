"""How many more links like one of the problem would fit, clean and without spares?"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from linkwright.assign.bound import bounds_of_call
from linkwright.assign.clean import find_clean, lowest, place_greedily, seeded, settle
from linkwright.assign.problem import SPACING_WEIGHT, Grid, Problem, grid_of
from linkwright.assign.state import State
from linkwright.progress import Tell, quiet

#: Share of the full effort that each attempt at one more link gets, and how many there are at most.
EFFORT, ATTEMPTS = 0.002, 8


@dataclass(frozen=True, slots=True)
class Room:
    """`more` links were found to fit beside those of the problem; `bound` is the most that could be, in all."""

    more: int
    bound: int


@dataclass(frozen=True, slots=True)
class RoomTask:
    """A site's problem, and one of its links: how many more like it would fit?"""

    problem: Problem
    like: int


def room_of(task: RoomTask, tell: Tell = quiet) -> Room:
    """The answer to a task, as `room_for`."""
    return room_for(task.problem, task.like, tell)


def room_for(problem: Problem, like: int, tell: Tell = quiet) -> Room:
    """How many more links like link `like` fit, live in every call, carriers moved as needed.

    First a clean placement is filled up and sets with distinct differences are tried, then the search is asked for
    one more, some times: `more` is what was shown to fit, not a proof that no more do. Nothing fits where the
    problem itself has no clean plan.
    """
    bare = tuple(replace(wish, spares=0, keep_khz=None) for wish in problem.wishes if wish.slots_khz.size)
    if len(bare) < len(problem.wishes) or not bare:
        return Room(0, len(bare))
    problem = replace(problem, wishes=bare)
    bound = min(bounds_of_call(problem, call)[0] for call in problem.calls)
    grid = grid_of(problem)
    clean = find_clean(problem, grid, tell)
    if clean.cells is None:
        return Room(0, bound)
    at_most = bound - max(len(call) for call in problem.calls)
    more = min(_filled(State.standing(problem, grid, clean.cells), like), at_most)
    more = max(more, _seeded(problem, like, at_most, tell))
    for attempt in range(ATTEMPTS):
        if more >= at_most:
            break
        tell(f"asking for room for {more + 1} more", attempt / ATTEMPTS)
        larger = _with_more(problem, like, more + 1)
        state = State(larger, grid_of(larger))
        state.put_locked()
        place_greedily(state, lowest)
        _, conflicts = settle(state, state.free, quiet, EFFORT, seed=attempt + 1)
        if conflicts:
            break
        more += 1
    return Room(more, bound)


def _seeded(problem: Problem, like: int, at_most: int, tell: Tell) -> int:
    """How many more a set with distinct differences holds, thinned out to what the problem allows."""
    larger = _with_more(problem, like, at_most)
    own = len(problem.wishes)
    best = 0
    for state in seeded(larger, grid_of(larger), tell):
        placed = state.carriers >= 0
        if bool(placed[:own].all()):
            best = max(best, int(np.count_nonzero(placed[own:])))
    return best


def _with_more(problem: Problem, like: int, more: int) -> Problem:
    """The problem with `more` links like one of it, live in every call."""
    wish = replace(problem.wishes[like], locked_khz=None)
    first = len(problem.wishes)
    new = tuple(range(first, first + more))
    wishes = (*problem.wishes, *(replace(wish, name=f"{wish.name} {n + 2}") for n in range(more)))
    return replace(problem, wishes=wishes, calls=tuple((*call, *new) for call in problem.calls))


def _filled(state: State, like: int) -> int:
    """How many links like one of a clean placement can be added to it as it stands, from the bottom up."""
    from linkwright.assign import kernels

    grid: Grid = state.grid
    cells = grid.wish_slots[like]
    calls = np.arange(len(state.problem.calls), dtype=np.int64)
    more = np.zeros((calls.size, cells.size), dtype=np.int64)
    counts = state.counts._replace(members=np.concatenate([state.counts.members, more], axis=1))
    klass, added = int(state.klass[like]), 0
    out = np.zeros(cells.size, dtype=np.int64)
    while True:
        kernels.scan(cells, klass, calls, counts, SPACING_WEIGHT, out)
        free = np.flatnonzero(out == 0)
        if not free.size:
            return added
        kernels.put(int(cells[free[0]]), 1, calls, state.reaches[klass], counts)
        added += 1
