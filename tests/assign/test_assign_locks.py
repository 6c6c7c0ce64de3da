"""Links that are bound to a carrier: whoever may stay keeps clear of all who are locked, clean or not."""

from __future__ import annotations

import numpy as np

from linkwright.assign.locks import apart, going_together
from linkwright.assign.problem import SPACING_WEIGHT, Problem, Wish

SLOTS = np.arange(500_000, 510_001, 100)


def wish(name: str, locked_khz: int | None = None, stay_khz: int | None = None) -> Wish:
    return Wish(name, SLOTS, np.zeros(SLOTS.size), 400, locked_khz=locked_khz, stay_khz=stay_khz)


def together(*wishes: Wish) -> Problem:
    return Problem(wishes, (tuple(range(len(wishes))),), 100, 50)


def test_nobody_stays_on_the_carrier_of_one_who_is_locked_on_a_product_of_others() -> None:
    """2 x 500.600 - 500.000 = 501.200 MHz: the third is locked there all the same, and the fourth may not stay."""
    locked = [wish("A", 500_000), wish("B", 500_600), wish("C", 501_200)]
    problem = together(*locked, wish("D", stay_khz=501_200), wish("E", stay_khz=507_300))
    for limit in (1, SPACING_WEIGHT):
        assert going_together(problem, [3, 4], limit) == [4]
    assert [w.locked_khz for w in apart(problem).wishes] == [w.locked_khz for w in problem.wishes]


def test_of_two_locked_too_near_the_second_has_no_slot_and_nobody_else_is_touched() -> None:
    problem = apart(together(wish("A", 500_000), wish("B", 500_300), wish("C", 507_300), wish("D")))
    assert [w.locked_khz for w in problem.wishes] == [500_000, None, 507_300, None]
    assert [w.slots_khz.size for w in problem.wishes] == [SLOTS.size, 0, SLOTS.size, SLOTS.size]


def test_two_locked_on_one_carrier_at_different_times_both_stay() -> None:
    problem = Problem((wish("A", 500_000), wish("B", 500_000)), ((0,), (1,)), 100, 50)
    assert [w.locked_khz for w in apart(problem).wishes] == [500_000, 500_000]
