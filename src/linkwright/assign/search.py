"""The assignment: carriers and spares for the links of one site.

In this order: everybody clean with all spares, everybody clean with fewer spares, everybody placed with the
fewest products on carriers. See docs/decisions/0003-assignment.md.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from linkwright.assign.clean import find_clean, in_one_go
from linkwright.assign.congestion import least_hit
from linkwright.assign.keep import keep
from linkwright.assign.problem import Assignment, Grid, Problem, answer, grid_of, only
from linkwright.assign.roomy import answer_with_spares, larger_with_spares, roomy
from linkwright.assign.spares import choose_spares
from linkwright.assign.state import State
from linkwright.progress import Tell, quiet
from linkwright.units import BoolArray, IntArray

#: Attempts at another clean set when some link lacks a spare.
SPARE_ATTEMPTS = 6
#: The effort that goes into a clean set of carriers and spares together, where there is as much to be spent.
SPARES_EFFORT = 0.02


def solve(problem: Problem, tell: Tell = quiet, effort: float = 0.25) -> Assignment:
    """Carriers and ordered spares for every link of the problem. Deterministic.

    `effort` scales how long a clean set is looked for where none is found at once: 1 for some seconds.
    """
    having = [i for i, wish in enumerate(problem.wishes) if wish.slots_khz.size]
    if len(having) < len(problem.wishes):
        return _spread_out(solve(only(problem, having), tell, effort), having, len(problem.wishes))
    if not having:
        return Assignment("clean", (), ())
    grid = grid_of(problem)
    if any(wish.keep_khz is not None for wish in problem.wishes):
        return keep(problem, grid, tell)
    wide = roomy(problem, tell)
    if wide is not None:
        return wide
    reserve = _with_spares_as_links(problem, tell, effort)
    if reserve is not None:
        return reserve
    clean = find_clean(problem, grid, tell, effort)
    if clean.cells is None:
        return least_hit(problem, grid, clean.proved, tell, effort)
    return _best_spares(problem, grid, clean.cells, tell)


def _spread_out(part: Assignment, links: list[int], count: int) -> Assignment:
    """The answer to a part as the answer to the whole; the others have no place."""
    carriers: list[int | None] = [None] * count
    spares: list[tuple[int, ...]] = [()] * count
    for n, link in enumerate(links):
        carriers[link], spares[link] = part.carriers_khz[n], part.spares_khz[n]
    return replace(part, carriers_khz=tuple(carriers), spares_khz=tuple(spares))


def _best_spares(problem: Problem, grid: Grid, cells: IntArray, tell: Tell) -> Assignment:
    """The clean set with the most spares, out of some that lie near the one found."""
    wished = sum(wish.spares for wish in problem.wishes)
    best: tuple[tuple[int, int], IntArray, list[list[int]]] | None = None
    for attempt in range(SPARE_ATTEMPTS):
        state = State.standing(problem, grid, cells)
        improve(state)
        spares = choose_spares(state, clean=True)
        score = (sum(bool(s) for s in spares), sum(len(s) for s in spares))
        if best is None or score > best[0]:
            best = (score, state.carriers.copy(), spares)
        if score[1] == wished:
            break
        tell("looking for more spares", attempt / SPARE_ATTEMPTS)
        cells = _another(state, attempt)
    assert best is not None
    return answer(grid, "clean", best[1], best[2])


def _another(state: State, attempt: int) -> IntArray:
    """A clean set near this one: every third link takes another clean slot, chosen by a seeded draw."""
    draw = np.random.default_rng(attempt)
    for link in draw.permutation(state.carriers.size)[: max(1, state.carriers.size // 3)]:
        if not state.free[link]:
            continue
        was = state.take(int(link))
        cells = state.grid.wish_slots[link]
        free = cells[state.conflicts(int(link), cells) == 0]
        state.put(int(link), int(draw.choice(free)) if free.size else was)
    return state.carriers.copy()


def improve(state: State, free: BoolArray | None = None) -> None:
    """Move links of a clean placement to quieter clean slots, as long as anybody gains half a decibel."""
    for _ in range(3):
        moved = False
        for link, wish in enumerate(state.problem.wishes):
            if wish.locked_khz is not None or (free is not None and not free[link]):
                continue
            cells = state.grid.wish_slots[link]
            now = int(np.searchsorted(cells, state.carriers[link]))
            if wish.rise_db[now] - 0.5 <= wish.rise_db.min():
                continue  # nowhere is it quieter by so much
            was = state.take(link)
            clean = np.flatnonzero(state.conflicts(link, cells) == 0)
            best = clean[np.argmin(wish.rise_db[clean])] if clean.size else now
            better = wish.rise_db[best] < wish.rise_db[now] - 0.5
            state.put(link, int(cells[best]) if better else was)
            moved |= bool(better)
        if not moved:
            return


def _with_spares_as_links(problem: Problem, tell: Tell, effort: float) -> Assignment | None:
    """Carriers and spares as one clean set: then any number of links may stand on their spares at once.

    The strongest promise, taken where it costs little to find; None where it does not. With less effort it is taken
    where it comes in one go.
    """
    links = len(problem.wishes)
    larger, mates = larger_with_spares(problem)
    if len(larger.wishes) == links:
        return None
    grid = grid_of(larger)
    searched = effort >= SPARES_EFFORT
    clean = find_clean(larger, grid, tell, SPARES_EFFORT) if searched else in_one_go(larger, grid)
    if clean is None or clean.cells is None:
        return None
    state = clean.state or State.standing(larger, grid, clean.cells)
    improve(state)
    return answer_with_spares(state, mates)
