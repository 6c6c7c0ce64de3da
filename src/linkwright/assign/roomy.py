"""Using the room there is: wide guards and spacings, away from what is occupied.

A clean plan keeps products off by the guards and carriers by the least spacing, however empty the band. Where
carriers and spares find a place all the same it keeps more: products out of the whole channel, twice the spacing, a
distance to the edges of what is taken.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Final

import numpy as np

from linkwright.assign.bound import bounds_of_call
from linkwright.assign.clean import find_clean, place_greedily, quietest
from linkwright.assign.problem import Assignment, Problem, Wish, answer, grid_of
from linkwright.assign.spares import choose_spares
from linkwright.assign.state import State
from linkwright.progress import Tell
from linkwright.units import FloatArray, IntArray

#: Shares of the full room that are tried, the widest first.
SHARES: Final = (1.0, 0.7, 0.45, 0.25)
#: With all the room, how many times the least spacing is kept, and how far from what is occupied [kHz].
SPACINGS: Final = 2.0
EDGE_KHZ: Final = 500
#: Room is not bought with noise, nor where no sweep could look: slots dearer than the quietest by this are left
#: out [dB].
DEARER_DB: Final = 0.9
#: Steps between two slots of a wish from which on something lies between them.
GAP_STEPS: Final = 1
#: Beyond this many links nothing wide is looked for: it would cost more than it gives.
MOST: Final = 60
#: Up to so many links a wide set is searched for; of more it is taken where it comes at once.
SEARCHED: Final = 12


def roomy(problem: Problem, tell: Tell) -> Assignment | None:
    """Carriers, and their spares, with as much room as is found quickly; None where there is none to spare."""
    if not problem.roomy_khz or len(problem.wishes) > MOST:
        return None
    larger, mates = larger_with_spares(problem)
    for number, share in enumerate(SHARES):
        tell("using the room there is", number / len(SHARES))
        with_spares = _placed(_widened(larger, share), quick=True)
        if with_spares is not None:
            return answer_with_spares(with_spares, mates)
        carriers = _placed(_widened(problem, share), quick=len(problem.wishes) > SEARCHED)
        if carriers is not None:
            return _spares_beside(problem, carriers, SHARES[number:])
    return None


def _placed(wide: Problem, *, quick: bool) -> State | None:
    """Everybody clean in a problem with room; None where that is not found at once."""
    if any(len(call) > bounds_of_call(wide, call)[0] for call in wide.calls):
        return None
    grid = grid_of(wide)
    state = State(wide, grid)
    if state.put_locked() and place_greedily(state, _quiet) == len(wide.wishes):
        return state
    cells = None if quick else find_clean(wide, grid, effort=0.0).cells
    return None if cells is None else State.standing(wide, grid, cells)


def _spares_beside(problem: Problem, carriers: State, shares: Sequence[float]) -> Assignment:
    """Spares with as much room as lets everybody have them, else with as little as is clean."""
    placed_khz = [carriers.grid.carrier_khz(int(cell)) for cell in carriers.carriers]
    wished = sum(wish.spares for wish in problem.wishes)
    for share in (*shares, 0.0):
        wide = _widened(problem, share)
        every = replace(
            wide, wishes=tuple(_with_slot(w, khz) for w, khz in zip(wide.wishes, placed_khz, strict=True))
        )
        grid = grid_of(every)
        state = State.standing(every, grid, np.array([grid.cell(khz) for khz in placed_khz]))
        spares = choose_spares(state, clean=True)
        if share == 0.0 or sum(map(len, spares)) == wished:
            break
    return answer(grid, "clean", state.carriers, spares)


def _with_slot(wish: Wish, khz: int) -> Wish:
    """The wish with its carrier among its slots."""
    at = int(np.searchsorted(wish.slots_khz, khz))
    if at < wish.slots_khz.size and wish.slots_khz[at] == khz:
        return wish
    return replace(wish, slots_khz=np.insert(wish.slots_khz, at, khz), rise_db=np.insert(wish.rise_db, at, 0.0))


def _quiet(state: State, link: int, free: IntArray) -> int:
    return quietest(state, link, free, state.carriers[state.carriers >= 0])


def larger_with_spares(problem: Problem) -> tuple[Problem, list[list[int]]]:
    """The problem with every spare as a link of its own, and for each link which of those are its spares."""
    links = len(problem.wishes)
    owners = [i for i, wish in enumerate(problem.wishes) for _ in range(wish.spares)]
    mates: list[list[int]] = [[] for _ in range(links)]
    for number, owner in enumerate(owners):
        mates[owner].append(links + number)
    wishes = (*problem.wishes, *(replace(problem.wishes[i], locked_khz=None) for i in owners))
    calls = tuple((*call, *(mate for i in call for mate in mates[i])) for call in problem.calls)
    return replace(problem, wishes=wishes, calls=calls), mates


def answer_with_spares(state: State, mates: list[list[int]]) -> Assignment:
    """The answer of a clean set in which spares are links, each link's spares by the quietest air."""
    spares = [sorted((int(state.carriers[m]) for m in mine), key=_rise(state, i)) for i, mine in enumerate(mates)]
    return answer(state.grid, "clean", state.carriers[: len(mates)], spares)


def _rise(state: State, link: int) -> Callable[[int], float]:
    """How much the air raises the noise of a link on a cell [dB]."""
    cells = state.grid.wish_slots[link]
    return lambda cell: float(state.problem.wishes[link].rise_db[np.searchsorted(cells, cell)])


def _widened(problem: Problem, share: float) -> Problem:
    """The problem with a share of the full room to be kept, on the slots away from what is occupied."""
    inner: dict[int, tuple[IntArray, FloatArray]] = {}
    wishes = tuple(_with_room(wish, share, inner) for wish in problem.wishes)
    return replace(
        problem,
        wishes=wishes,
        guard_two_khz=max(problem.guard_two_khz, round(share * problem.roomy_khz)),
        guard_three_khz=max(problem.guard_three_khz, round(share * problem.roomy_khz)),
    )


def _with_room(wish: Wish, share: float, inner: dict[int, tuple[IntArray, FloatArray]]) -> Wish:
    if id(wish.slots_khz) not in inner:
        inner[id(wish.slots_khz)] = _inner(wish.slots_khz, wish.rise_db, share)
    slots, rise = inner[id(wish.slots_khz)] if wish.locked_khz is None else (wish.slots_khz, wish.rise_db)
    spacing = round(wish.spacing_khz * (1.0 + share * (SPACINGS - 1.0)))
    return replace(wish, slots_khz=slots, rise_db=rise, spacing_khz=spacing)


def _inner(slots: IntArray, rise: FloatArray, share: float) -> tuple[IntArray, FloatArray]:
    """The quiet slots that are some way from a gap in them; all quiet ones, where that leaves none."""
    if slots.size < 2:
        return slots, rise
    quiet = rise <= rise.min() + DEARER_DB
    step = int(np.diff(slots).min())
    breaks = np.flatnonzero(np.diff(slots) > GAP_STEPS * step)
    edges = np.sort(np.concatenate([slots[breaks], slots[breaks + 1]]))
    if not edges.size:
        return slots[quiet], rise[quiet]
    right = np.searchsorted(edges, slots)
    above = np.abs(edges[np.minimum(right, edges.size - 1)] - slots)
    below = np.abs(edges[np.maximum(right - 1, 0)] - slots)
    keep = quiet & (np.minimum(above, below) >= share * EDGE_KHZ)
    return (slots[keep], rise[keep]) if keep.any() else (slots[quiet], rise[quiet])
