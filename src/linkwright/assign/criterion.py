"""Clean or by power? Clean where it costs nothing, weighed by power where that serves people better."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache, partial
from typing import Final

import numpy as np

from linkwright.assign.clean import find_clean
from linkwright.assign.joint import WORTH_DB, improve_by_levels
from linkwright.assign.placement import CallLevels, Objective, Placement
from linkwright.assign.problem import Assignment, Problem, grid_of, only
from linkwright.assign.spares import Serves, choose_spares
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
    problem: Problem, calls: Sequence[CallLevels], assignment: Assignment, tell: Tell
) -> tuple[Assignment, Comparison | None]:
    """The better of a clean plan and one weighed by power, by the objective; the clean one where it costs nothing.

    `assignment` places links by clean sets or with the fewest products; `calls` hold the levels of those it placed.
    """
    if not any(call.members.size for call in calls):
        return assignment, None
    looks = looks_for(max(call.members.size for call in calls))
    given = Placement(problem, calls, _slot_indices(problem, assignment))
    by_power = Placement(problem, calls, _quiet_start(problem, given))
    if given.score() > by_power.score():
        by_power = Placement(problem, calls, given.slots)
    if _short(by_power):
        improve_by_levels(by_power, tell, looks)
    if assignment.criterion == "power":
        best = max((given, by_power), key=lambda placement: placement.score())
        worst = round(best.weakest(), 2)
        compared = Comparison(worst, best.score().holding, None, None)
        return _as_power(problem, best, assignment), compared
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
    return (_as_clean if clean_wins else _as_power)(problem, best, assignment), compared


def standing(problem: Problem, calls: Sequence[CallLevels], slots: IntArray, *, weighed: bool = True) -> Assignment:
    """Links on slots (links,), -1 for none, as an answer, with spares, which are weighed by level or not."""
    placement = Placement(problem, calls, slots)
    state = _state_of(problem, placement)
    clean = not state.conflicts_of_placed().any()
    assignment = Assignment("clean" if clean else "power", _carriers(placement), ())
    return _with_spares(problem, placement, assignment, _serving(placement) if weighed else None, state)


def better_for_people(new: Objective, old: Objective) -> bool:
    """Whether a score places or holds more people, or the worst of them better: all that outweighs being clean."""
    if new.placed != old.placed:
        return new.placed > old.placed
    if abs(new.worst_db - old.worst_db) > WORTH_DB:
        return new.worst_db > old.worst_db
    return new.holding > old.holding


def _short(placement: Placement) -> bool:
    """Whether anybody falls short of holding."""
    return placement.weakest() < 0.0


def _slot_indices(problem: Problem, assignment: Assignment) -> IntArray:
    return np.array(
        [
            -1 if carrier is None else int(np.searchsorted(wish.slots_khz, carrier))
            for wish, carrier in zip(problem.wishes, assignment.carriers_khz, strict=True)
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


def _as_clean(problem: Problem, placement: Placement, assignment: Assignment) -> Assignment:
    serves = _serving(placement)
    spares = ((link, khz) for link, mine in enumerate(assignment.spares_khz) for khz in mine)
    if _carriers(placement) == assignment.carriers_khz and (serves is None or all(serves(*s) for s in spares)):
        return assignment
    return _with_spares(problem, placement, replace(assignment, criterion="clean"), serves)


def _as_power(problem: Problem, placement: Placement, assignment: Assignment) -> Assignment:
    return _with_spares(problem, placement, replace(assignment, criterion="power"), _serving(placement))


def _serving(placement: Placement) -> Serves | None:
    """Asks once of each spare whether a link would hold on it; None where spares are not weighed."""
    return None if placement.slots.size > WEIGH_SPARES_UP_TO else cache(partial(spare_holds, placement))


def _with_spares(
    problem: Problem,
    placement: Placement,
    assignment: Assignment,
    serves: Serves | None,
    state: State | None = None,
) -> Assignment:
    """The placement as an answer of the criterion of `assignment`, with spares that serve, its own first."""
    given = assignment.spares_khz or tuple(() for _ in problem.wishes)
    wishes = tuple(
        wish if wish.keep_spares_khz else replace(wish, keep_spares_khz=spares)
        for wish, spares in zip(problem.wishes, given, strict=True)
    )
    state = state or _state_of(replace(problem, wishes=wishes), placement)
    spares = choose_spares(state, assignment.criterion == "clean", serves)
    in_order = tuple(tuple(state.grid.carrier_khz(cell) for cell in mine) for mine in spares)
    return replace(assignment, carriers_khz=_carriers(placement), spares_khz=in_order)


def _carriers(placement: Placement) -> tuple[int | None, ...]:
    return tuple(
        None if slot < 0 else placement.carrier_khz(link, int(slot)) for link, slot in enumerate(placement.slots)
    )


#: Beyond this many links their spares are not weighed one by one.
WEIGH_SPARES_UP_TO: Final = 40
#: By how much a link may have less in hand on a spare than on its carrier where it falls short anyway, and by how
#: much anybody may fall short on a spare of an earlier plan: levels are worked out at one carrier a link [dB].
SPARE_WORSE_DB: Final = 1.0


def spare_holds(placement: Placement, link: int, spare_khz: int) -> bool:
    """Whether on a spare a link would hold, or be short by hardly more than now, and nobody who holds be lost."""
    wish = placement.problem.wishes[link]
    slack = SPARE_WORSE_DB if spare_khz in wish.keep_spares_khz else 0.0
    slot = int(np.searchsorted(wish.slots_khz, spare_khz))
    _, outcomes = placement.try_slot(link, slot)
    for call, before, after in zip(placement.calls, placement.outcomes, outcomes, strict=True):
        lost = (before.excess_db >= 0.0) & (after.excess_db < -slack)
        worse = (call.members == link) & (after.excess_db < np.minimum(before.excess_db - SPARE_WORSE_DB, -slack))
        if bool((lost | worse).any()):
            return False
    return True
