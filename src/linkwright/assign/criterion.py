"""Clean or by power? Clean where it costs nothing, weighed by power where that serves people better."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from linkwright.assign.clean import find_clean
from linkwright.assign.joint import WORTH_DB, improve_by_levels
from linkwright.assign.placement import CallLevels, Placement, Score
from linkwright.assign.problem import Assignment, Criterion, Problem, grid_of, only
from linkwright.assign.spares import choose_spares
from linkwright.assign.state import State
from linkwright.progress import Tell
from linkwright.units import BoolArray, IntArray


@dataclass(frozen=True, slots=True)
class Comparison:
    """What the criterion that was not chosen would have given.

    `worst_db` and `other_worst_db` are the least excess over holding of any link [dB]; None for `other_...` where
    the other criterion could not place everybody.
    """

    worst_db: float
    holding: int
    other_worst_db: float | None
    other_holding: int | None


def looks_for(links: int) -> int:
    """How many looks a call of so many links is worth: each costs with their third power."""
    return int(np.clip(300_000 / max(links, 1) ** 2, 12, 240))


def choose(
    problem: Problem, calls: Sequence[CallLevels], found: Assignment, tell: Tell
) -> tuple[Assignment, Comparison | None]:
    """The better of a clean plan and one weighed by power, by the objective; the clean one where it costs nothing.

    `found` places links by clean sets or with the fewest products; `calls` hold the levels of those it placed.
    """
    if not any(call.members.size for call in calls):
        return found, None
    looks = looks_for(max(call.members.size for call in calls))
    given = Placement(problem, calls, _slot_indices(problem, found))
    by_power = Placement(problem, calls, _quiet_start(problem, given))
    if given.score() > by_power.score():
        by_power = Placement(problem, calls, given.slots)
    if _short(by_power):
        improve_by_levels(by_power, tell, looks)
    if found.criterion == "power":
        best = max((given, by_power), key=lambda placement: placement.score())
        worst = round(best.weakest(), 2)
        compared = Comparison(worst, best.score().holding, None, None)
        return _as_power(problem, best, found), compared
    if _short(given):
        state = _state_of(problem, given)
        improve_by_levels(given, tell, looks, lambda link: _clean_slots(state, given, link))
    clean_wins = not better_for_people(by_power.score(), given.score())
    best, other = (given, by_power) if clean_wins else (by_power, given)
    compared = Comparison(
        round(best.weakest(), 2),
        best.score().holding,
        round(other.weakest(), 2),
        other.score().holding,
    )
    return (_as_clean if clean_wins else _as_power)(problem, best, found), compared


def mend(problem: Problem, calls: Sequence[CallLevels], kept: Assignment, tell: Tell) -> Assignment:
    """A plan that keeps to an earlier one, with those moved who no longer hold and would elsewhere.

    In a clean plan they go where it stays clean. Nobody moves for anybody else's sake.
    """
    if not any(call.members.size for call in calls):
        return kept
    placement = Placement(problem, calls, _slot_indices(problem, kept))
    if not _short(placement):
        return kept
    looks = looks_for(max(call.members.size for call in calls))
    if kept.criterion == "clean":
        state = _state_of(problem, placement)
        improve_by_levels(placement, tell, looks, lambda link: _clean_slots(state, placement, link))
        return _as_clean(problem, placement, kept)
    improve_by_levels(placement, tell, looks)
    return _as_power(problem, placement, kept)


def better_for_people(new: Score, old: Score) -> bool:
    """Whether a score places or holds more people, or the worst of them better: all that outweighs being clean."""
    if new.placed != old.placed:
        return new.placed > old.placed
    if abs(new.worst_db - old.worst_db) > WORTH_DB:
        return new.worst_db > old.worst_db
    return new.holding > old.holding


def _short(placement: Placement) -> bool:
    """Whether anybody falls short of holding."""
    return placement.weakest() < 0.0


def _slot_indices(problem: Problem, found: Assignment) -> IntArray:
    return np.array(
        [
            -1 if carrier is None else int(np.searchsorted(wish.slots_khz, carrier))
            for wish, carrier in zip(problem.wishes, found.carriers_khz, strict=True)
        ],
        dtype=np.int64,
    )


def _quiet_start(problem: Problem, given: Placement) -> IntArray:
    """The placed links on their quietest slots, spacing kept and products left out of account."""
    placed = [int(i) for i in np.flatnonzero(given.slots >= 0)]
    careless = replace(only(problem, placed), guard_two_khz=0, guard_three_khz=0)
    grid = grid_of(careless)
    cells = find_clean(careless, grid, effort=0.0).cells
    if cells is None:
        return given.slots
    slots = given.slots.copy()
    for link, cell, of in zip(placed, cells, grid.wish_slots, strict=True):
        slots[link] = int(np.searchsorted(of, cell))
    return slots


def _state_of(problem: Problem, placement: Placement) -> State:
    grid = grid_of(problem)
    cells = np.array(
        [-1 if slot < 0 else int(of[slot]) for slot, of in zip(placement.slots, grid.wish_slots, strict=True)]
    )
    return State.standing(problem, grid, cells)


def _clean_slots(state: State, placement: Placement, link: int) -> BoolArray:
    """Which of a link's slots keep a clean placement clean; the state follows where the placement went."""
    for other, slot in enumerate(placement.slots):
        if slot >= 0:
            cell = int(state.grid.wish_slots[other][slot])
            if state.carriers[other] != cell:
                state.take(other)
                state.put(other, cell)
    was = state.take(link)
    free = state.conflicts(link, state.grid.wish_slots[link]) == 0
    state.put(link, was)
    return np.asarray(free)


def _as_clean(problem: Problem, placement: Placement, found: Assignment) -> Assignment:
    carriers = _carriers(placement)
    if carriers == found.carriers_khz:
        ordered, weak = order_spares(placement, found.spares_khz)
        return replace(found, spares_khz=ordered, weak_spares_khz=weak)
    spares = choose_spares(_state_of(problem, placement), clean=True)
    return _finished(problem, placement, found, "clean", spares)


def _as_power(problem: Problem, placement: Placement, found: Assignment) -> Assignment:
    spares = choose_spares(_state_of(problem, placement), clean=False)
    return _finished(problem, placement, found, "power", spares)


def _finished(
    problem: Problem, placement: Placement, found: Assignment, criterion: Criterion, spares: list[list[int]]
) -> Assignment:
    grid = grid_of(problem)
    ordered, weak = order_spares(placement, [tuple(grid.carrier_khz(cell) for cell in mine) for mine in spares])
    return replace(
        found, criterion=criterion, carriers_khz=_carriers(placement), spares_khz=ordered, weak_spares_khz=weak
    )


def _carriers(placement: Placement) -> tuple[int | None, ...]:
    return tuple(
        None if slot < 0 else placement.carrier_khz(link, int(slot)) for link, slot in enumerate(placement.slots)
    )


#: Beyond this many links their spares are not weighed one by one.
WEIGH_SPARES_UP_TO: Final = 40


def order_spares(
    placement: Placement, spares_khz: Sequence[tuple[int, ...]]
) -> tuple[tuple[tuple[int, ...], ...], tuple[tuple[int, ...], ...]]:
    """The same spares, those first on which everybody would hold who holds now; and those on which not."""
    nothing: tuple[tuple[int, ...], ...] = tuple(() for _ in spares_khz)
    if placement.slots.size > WEIGH_SPARES_UP_TO:
        return tuple(spares_khz), nothing
    good = [[khz for khz in mine if spare_holds(placement, link, khz)] for link, mine in enumerate(spares_khz)]
    weak = tuple(tuple(khz for khz in mine if khz not in held) for mine, held in zip(spares_khz, good, strict=True))
    return tuple((*held, *bad) for held, bad in zip(good, weak, strict=True)), weak


def spare_holds(placement: Placement, link: int, spare_khz: int) -> bool:
    """Whether on a spare a link would be no worse off than it is short now, and nobody who holds would be lost."""
    slot = int(np.searchsorted(placement.problem.wishes[link].slots_khz, spare_khz))
    _, outcomes = placement.try_slot(link, slot)
    for call, before, after in zip(placement.calls, placement.outcomes, outcomes, strict=True):
        lost = (before.excess_db >= 0.0) & (after.excess_db < 0.0)
        worse = (call.members == link) & (after.excess_db < np.minimum(before.excess_db, 0.0))
        if bool((lost | worse).any()):
            return False
    return True
