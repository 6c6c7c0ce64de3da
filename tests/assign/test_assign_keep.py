"""Gentle re-planning: one carrier is hit, one link moves, and it goes to its first spare."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from tests.assign import plain

from linkwright.assign.problem import Assignment, Problem, Wish
from linkwright.assign.search import solve
from linkwright.units import FloatArray, IntArray


def room(links: int, spares: int, calls: tuple[tuple[int, ...], ...], blocked: frozenset[int]) -> Problem:
    """Links of two kinds in 24 MHz, some slots blocked; room enough for all and their spares."""
    body = np.array([f for f in range(518_100, 541_901, 100) if f not in blocked])
    hand = np.array([f for f in range(518_100, 541_901, 25) if f not in blocked])
    kinds = [(body, 400), (hand, 350)]
    wishes = tuple(
        Wish(f"link {n}", kinds[n % 2][0], np.zeros(kinds[n % 2][0].size), kinds[n % 2][1], spares=spares)
        for n in range(links)
    )
    return Problem(wishes, calls, 100, 50)


def after_a_hit(problem: Problem, before: Assignment, victim: int) -> Problem:
    """The same problem on the next morning: the victim's carrier is nobody's slot any more."""
    hit = before.carriers_khz[victim]
    kept: dict[int, tuple[IntArray, FloatArray]] = {}
    wishes = []
    for n, wish in enumerate(problem.wishes):
        still = wish.slots_khz != hit
        slots, rise = kept.setdefault(id(wish.slots_khz), (wish.slots_khz[still], wish.rise_db[still]))
        wishes.append(
            replace(
                wish,
                slots_khz=slots,
                rise_db=rise,
                keep_khz=before.carriers_khz[n],
                keep_spares_khz=before.spares_khz[n],
            )
        )
    return replace(problem, wishes=tuple(wishes))


@settings(max_examples=25)
@given(
    st.integers(2, 7),
    st.integers(1, 2),
    st.integers(0, 6),
    st.booleans(),
    st.sets(st.integers(0, 190).map(lambda n: 518_100 + 100 * n), max_size=60),
)
def test_one_hit_moves_one_link_to_its_first_spare(
    links: int, spares: int, victim: int, two_calls: bool, blocked: set[int]
) -> None:
    assume(victim < links)
    calls = (tuple(range(links)),) if not two_calls else (tuple(range(links // 2 + 1)), tuple(range(1, links)))
    problem = room(links, spares, calls, frozenset(blocked))
    before = solve(problem)
    assume(before.criterion == "clean" and before.spares_khz[victim])
    # A carrier that two links share, as they never meet, is lost to both.
    assume(before.carriers_khz.count(before.carriers_khz[victim]) == 1)
    after = solve(after_a_hit(problem, before, victim))
    expected = list(before.carriers_khz)
    expected[victim] = before.spares_khz[victim][0]
    assert list(after.carriers_khz) == expected
    assert after.criterion == "clean"


def test_nothing_hit_moves_nobody() -> None:
    problem = room(6, 1, (tuple(range(6)),), frozenset())
    before = solve(problem)
    wishes = tuple(
        replace(wish, keep_khz=carrier) for wish, carrier in zip(problem.wishes, before.carriers_khz, strict=True)
    )
    after = solve(replace(problem, wishes=wishes))
    assert after.carriers_khz == before.carriers_khz


def test_a_spare_that_is_hit_too_is_passed_over() -> None:
    problem = room(4, 2, ((0, 1, 2, 3),), frozenset())
    before = solve(problem)
    assert len(before.spares_khz[0]) == 2
    hit = after_a_hit(problem, before, 0)
    first, second = before.spares_khz[0]
    left = hit.wishes[0].slots_khz != first
    wish = replace(hit.wishes[0], slots_khz=hit.wishes[0].slots_khz[left], rise_db=hit.wishes[0].rise_db[left])
    after = solve(replace(hit, wishes=(wish, *hit.wishes[1:])))
    assert after.carriers_khz == (second, *before.carriers_khz[1:])


def test_a_new_link_is_fitted_in_without_moving_anybody() -> None:
    problem = room(5, 1, (tuple(range(5)),), frozenset())
    before = solve(problem)
    larger = room(6, 1, (tuple(range(6)),), frozenset())
    wishes = tuple(
        replace(wish, keep_khz=before.carriers_khz[n] if n < 5 else None) for n, wish in enumerate(larger.wishes)
    )
    after = solve(replace(larger, wishes=wishes))
    assert (after.criterion, after.placed) == ("clean", 6)
    assert after.carriers_khz[:5] == before.carriers_khz


@settings(max_examples=25)
@given(plain.problems(keeps=True, most_links=5))
def test_a_locked_link_stands_on_its_lock_or_nowhere(problem: Problem) -> None:
    found = solve(problem)
    for wish, carrier in zip(problem.wishes, found.carriers_khz, strict=True):
        assert wish.locked_khz is None or carrier in (wish.locked_khz, None)


@pytest.mark.parametrize("earlier", [None, 527_000])
def test_a_lock_outranks_the_earlier_plan(earlier: int | None) -> None:
    problem = room(3, 1, ((0, 1, 2),), frozenset())
    locked = replace(problem.wishes[0], locked_khz=522_000, keep_khz=earlier)
    assert solve(replace(problem, wishes=(locked, *problem.wishes[1:]))).carriers_khz[0] == 522_000


def test_locks_that_hit_each_other_stay_and_the_plan_is_by_power() -> None:
    problem = room(3, 0, ((0, 1, 2),), frozenset())
    locked = tuple(
        replace(wish, locked_khz=khz) for wish, khz in zip(problem.wishes, (522_000, 523_000, 524_000), strict=True)
    )
    found = solve(replace(problem, wishes=locked))
    assert found.carriers_khz == (522_000, 523_000, 524_000)
    assert (found.criterion, found.proved) == ("power", True)


def test_an_earlier_carrier_that_is_no_slot_any_more_is_left() -> None:
    problem = room(2, 0, ((0, 1),), frozenset())
    away = replace(problem.wishes[0], keep_khz=700_000)
    found = solve(replace(problem, wishes=(away, problem.wishes[1])))
    assert (found.criterion, found.placed) == ("clean", 2)
    assert found.carriers_khz[0] != 700_000
