"""The rule of changes against brute force: every subset of chances, on random days."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence

from hypothesis import given, settings
from hypothesis import strategies as st

from linkwright.day.changes import SetChange, swaps


def brute_force(chances: Sequence[int], end: int, lasts: int) -> tuple[int, int]:
    """The fewest changes in takes, and with those the fewest changes: all subsets of chances tried."""
    best = None
    for size in range(len(chances) + 1):
        for chosen in itertools.combinations(chances, size):
            points = [0, *chosen, end]
            inside = sum(max(0, -(-(b - a) // lasts) - 1) for a, b in itertools.pairwise(points))
            found = (inside, inside + size)
            best = found if best is None else min(best, found)
    assert best is not None
    return best


def lived(found: Sequence[SetChange], end: float) -> list[float]:
    """How much of each set is used."""
    points = [0.0, *(swap.at for swap in found), end]
    return [b - a for a, b in itertools.pairwise(points)]


days = st.lists(st.integers(1, 200), min_size=0, max_size=9, unique=True).map(sorted)


@settings(max_examples=2000, deadline=None)
@given(days, st.integers(0, 200), st.integers(3, 90))
def test_the_fewest_changes_and_none_in_a_take_where_it_can_be_avoided(
    chances: list[int], more: int, lasts: int
) -> None:
    end = (chances[-1] if chances else 0) + more
    found = swaps([chance / lasts for chance in chances], end / lasts, 0.0)
    assert (sum(swap.chance is None for swap in found), len(found)) == brute_force(chances, end, lasts)
    assert all(used <= 1.0 + 1e-6 for used in lived(found, end / lasts)), "no set is used beyond its end"


@settings(max_examples=500, deadline=None)
@given(days, st.integers(0, 100), st.integers(10, 90), st.sampled_from([0.1, 0.15, 0.25, 0.5]))
def test_the_reserve_is_touched_only_where_nothing_else_helps(
    chances: list[int], more: int, lasts: int, reserve: float
) -> None:
    end = (chances[-1] if chances else 0) + more
    found = swaps([chance / lasts for chance in chances], end / lasts, reserve)
    stretches = [b - a for a, b in itertools.pairwise([0, *chances, end])]
    assert sum(swap.chance is None for swap in found) == sum(max(0, math.ceil(s / lasts) - 1) for s in stretches)
    if max(stretches) / lasts <= 1.0 - reserve:
        assert not any(swap.on_reserve for swap in found)
        soft = swaps([chance / lasts / (1.0 - reserve) for chance in chances], end / lasts / (1.0 - reserve), 0.0)
        assert len(found) == len(soft), "as if sets were smaller by the reserve"
    assert all(used <= 1.0 + 1e-6 for used in lived(found, end / lasts))


@given(days, st.integers(0, 200), st.integers(3, 90))
def test_what_is_left_is_what_was_not_used(chances: list[int], more: int, lasts: int) -> None:
    end = (chances[-1] if chances else 0) + more
    found = swaps([chance / lasts for chance in chances], end / lasts, 0.15)
    for swap, used in zip(found, lived(found, end / lasts), strict=False):
        assert abs(swap.left - (1.0 - used)) < 1e-9


def test_the_last_chance_that_can_be_reached() -> None:
    (one,) = swaps([0.2, 0.5, 0.9], 1.4, 0.0)
    assert (one.chance, round(one.left, 9)) == (2, 0.1)


def test_a_long_take_changes_when_the_cells_are_used_up() -> None:
    (one,) = swaps([0.5], 0.5, 0.0) or swaps([0.1], 1.5, 0.0)
    assert (one.at, one.chance) == (1.0, None), "a change at the early chance would only add one"
    found = swaps([], 2.5, 0.0)
    assert [swap.at for swap in found] == [1.0, 2.0]
