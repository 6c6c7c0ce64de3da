"""What holds for every answer of the assignment, on small random problems."""

from __future__ import annotations

import contextlib
import itertools
from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from tests.assign import plain
from tests.assign.plain import problems

from linkwright.assign import state as state_module
from linkwright.assign.bound import bounds_of_call, clean_bound, spacing_bound
from linkwright.assign.problem import Assignment, Problem, Wish
from linkwright.assign.search import solve
from linkwright.assign.state import State
from linkwright.assign.verify import Placed, faults

#: Up to how many links the histograms are plain arrays: always, and never (then they are compiled loops).
WAYS = {"arrays": 10_000, "loops": -1}
both_ways = pytest.mark.parametrize("few", WAYS.values(), ids=WAYS.keys())


@contextlib.contextmanager
def plain_up_to(few: int) -> Iterator[None]:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(state_module, "FEW_LINKS", few)
        yield


def verified(problem: Problem, found: Assignment) -> list[str]:
    """What the verifier says of every call of an answer."""
    said: list[str] = []
    for n, call in enumerate(problem.calls):
        placed = [
            Placed(
                stand.name,
                stand.carrier_khz,
                stand.spares_khz,
                stand.spacing_khz,
                np.array(sorted(stand.allowed_khz)),
            )
            for stand in plain.stands(problem, found, call)
        ]
        clean = found.criterion == "clean"
        others = {f"other {place}": khz for place, khz in enumerate(problem.makers_in(n))}
        said += faults(placed, clean, problem.guard_two_khz, problem.guard_three_khz, others)
    return said


def check(problem: Problem, found: Assignment) -> None:
    """Every law that an answer keeps, whatever the problem."""
    assert len(found.carriers_khz) == len(found.spares_khz) == len(problem.wishes)
    assert verified(problem, found) == []
    for n, call in enumerate(problem.calls):
        by_loops = plain.faults(
            plain.stands(problem, found, call),
            found.criterion == "clean",
            problem.guard_two_khz,
            problem.guard_three_khz,
            problem.makers_in(n),
        )
        assert by_loops.count == 0
    for wish, carrier, spares in zip(problem.wishes, found.carriers_khz, found.spares_khz, strict=True):
        assert carrier in (*wish.slots_khz, None)
        assert wish.locked_khz is None or carrier in (wish.locked_khz, None)
        assert len(spares) <= wish.spares
        assert carrier is not None or spares == ()
        assert carrier is not None or wish.slots_khz.size == 0 or found.criterion == "power"
    if found.proved:
        assert found.criterion == "power"


@both_ways
@settings(max_examples=50)
@given(problem=problems(empty=True, between=True))
def test_every_answer_is_what_it_says_it_is(few: int, problem: Problem) -> None:
    with plain_up_to(few):
        check(problem, solve(problem))


@settings(max_examples=15)
@given(problem=problems())
def test_arrays_and_loops_find_the_same_answer(problem: Problem) -> None:
    found = []
    for few in WAYS.values():
        with plain_up_to(few):
            found.append(solve(problem))
    assert found[0] == found[1]


@settings(max_examples=60)
@given(problems(keeps=True, empty=True))
def test_every_gentle_answer_is_what_it_says_it_is(problem: Problem) -> None:
    found = solve(problem)
    check(problem, found)


@settings(max_examples=12)
@given(problems(keeps=True, empty=True))
def test_the_same_problem_has_the_same_answer(problem: Problem) -> None:
    assert solve(problem) == solve(problem)


@settings(max_examples=60)
@given(
    problems(most_links=4, most_slots=12, most_spares=1, guards=(0, 1, 50, 130), locks=True),
)
def test_a_clean_plan_is_found_where_there_is_one(problem: Problem) -> None:
    found = solve(problem)
    assert (found.criterion == "clean") == plain.clean_exists(problem)


@settings(max_examples=40)
@given(
    st.integers(1, 13),
    st.sets(st.integers(0, 13), max_size=5),
    st.sampled_from([1, 2, 25, 26, 50, 100]),
    st.sampled_from([1, 2, 25, 26, 50, 100]),
    st.sampled_from([25, 50, 75, 100]),
)
def test_no_clean_set_is_larger_than_its_bound(
    steps: int, blocked: set[int], guard_two: int, guard_three: int, spacing: int
) -> None:
    slots = [600_000 + 25 * n for n in range(steps + 1) if n not in blocked]
    assume(slots)
    most = plain.most_clean(slots, spacing, guard_two, guard_three)
    assert most <= clean_bound(slots[-1] - slots[0], min(guard_two, guard_three, spacing), 25)
    array = np.array(slots)
    wish = Wish("link", array, np.zeros(array.size), spacing)
    everybody = tuple(range(len(slots)))
    problem = Problem((wish,) * len(slots), (everybody,), guard_two, guard_three)
    clean, packed = bounds_of_call(problem, everybody)
    assert most <= clean <= packed


@given(st.sets(st.integers(0, 40), min_size=1, max_size=14), st.integers(1, 12))
def test_the_spacing_bound_is_the_best_there_is(cells: set[int], spacing: int) -> None:
    slots = sorted(cells)
    best = max(
        size
        for size in range(1, len(slots) + 1)
        if any(
            all(high - low >= spacing for low, high in itertools.pairwise(chosen))
            for chosen in itertools.combinations(slots, size)
        )
    )
    assert spacing_bound(np.array(slots), spacing) == best


@both_ways
@settings(max_examples=60)
@given(
    problem=problems(guards=(0, 25, 50, 60, 100)),
    moves=st.lists(st.tuples(st.integers(0, 5), st.integers(0, 10_000)), max_size=14),
)
def test_histograms_in_step_equal_those_counted_afresh(
    few: int, problem: Problem, moves: list[tuple[int, int]]
) -> None:
    with plain_up_to(few):
        state = State(problem)
    for link, draw in moves:
        if link >= len(problem.wishes):
            continue
        if state.carriers[link] >= 0:
            was = int(state.carriers[link])
            assert state.take(link) == was
        else:
            cells = state.grid.wish_slots[link]
            state.put(link, int(cells[draw % cells.size]))
    guard = max(problem.guard_two_khz, problem.guard_three_khz)
    spacings = [max(wish.spacing_khz, guard) for wish in problem.wishes]
    for k, call in enumerate(problem.calls):
        in_use = {i: state.grid.carrier_khz(int(state.carriers[i])) for i in call if state.carriers[i] >= 0}
        carriers, others = list(in_use.values()), list(problem.makers_in(k))
        assert state.counts.sizes[k] == len(carriers) + len(others)
        for cell in range(state.grid.cells):
            here = state.grid.carrier_khz(cell)
            beside = sum(abs(here - other) < guard for other in others)
            products = plain.hits([*carriers, *others], here, guard, problem.guard_three_khz)
            assert state.counts.prod[k, cell] == products + beside
            pairs = [*itertools.combinations(carriers, 2), *itertools.product(carriers, others)]
            middles = sum(abs(2 * here - a - b) < guard for a, b in pairs)
            theirs = itertools.combinations(others, 2)
            middles += sum(abs(2 * here - a - b) < problem.guard_three_khz for a, b in theirs)
            assert state.counts.mid[k, cell] == middles
            for link in call:
                near = sum(abs(here - c) < max(spacings[i], spacings[link]) for i, c in in_use.items())
                assert state.counts.near[k, state.klass[link], cell] == near


@both_ways
@settings(max_examples=60)
@given(problem=problems(most_links=4, most_slots=12))
def test_a_slot_without_conflicts_keeps_a_clean_set_clean(few: int, problem: Problem) -> None:
    """The filter of the search, slot by slot, against plain loops: exact for guards that are alike."""
    problem = replace(problem, guard_three_khz=problem.guard_two_khz)
    with plain_up_to(few):
        state = State(problem)
    for link, wish in enumerate(problem.wishes):
        cells = state.grid.wish_slots[link]
        conflicts = state.conflicts(link, cells)
        for n, slot in enumerate(wish.slots_khz.tolist()):
            carriers = [state.grid.carrier_khz(int(c)) if c >= 0 else None for c in state.carriers]
            carriers[link] = slot
            found = Assignment("clean", tuple(carriers), ((),) * len(carriers))
            wrong = sum(
                plain.faults(
                    plain.stands(problem, found, call),
                    True,
                    problem.guard_two_khz,
                    problem.guard_three_khz,
                    problem.makers_in(k),
                ).count
                for k, call in enumerate(problem.calls)
            )
            assert (conflicts[n] == 0) == (wrong == 0)
        free = np.flatnonzero(conflicts == 0)
        if free.size:
            state.put(link, int(cells[free[0]]))


@pytest.mark.parametrize("calls", [((0, 1, 2),), ((0, 1), (1, 2)), ((0,), (1,), (2,))])
def test_a_link_without_slots_has_no_place_and_the_rest_is_fine(calls: tuple[tuple[int, ...], ...]) -> None:
    slots = 600_000 + 25 * np.arange(200)
    none = np.zeros(0, dtype=np.int64)
    wishes = (
        Wish("A", slots, np.zeros(slots.size), 350, spares=1),
        Wish("B", none, np.zeros(0), 350, spares=2, keep_khz=601_000),
        Wish("C", slots, np.zeros(slots.size), 350, spares=1),
    )
    problem = Problem(wishes, calls, 100, 50)
    found = solve(problem)
    check(problem, found)
    assert found.criterion == "clean"
    assert [carrier is None for carrier in found.carriers_khz] == [False, True, False]
    assert [len(spares) for spares in found.spares_khz] == [1, 0, 1]
