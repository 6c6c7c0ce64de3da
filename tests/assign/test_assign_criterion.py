"""Clean or by power, on levels made by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from linkwright.assign.criterion import choose
from linkwright.assign.keep import switch_order
from linkwright.assign.levels import Radio
from linkwright.assign.placement import CallLevels, Placement, PowerWishes, settle_powers
from linkwright.assign.problem import Problem, Wish
from linkwright.assign.regain import Regain
from linkwright.assign.search import solve


def nobody_listens(_what: str, _share: float) -> None:
    """Progress for nobody."""


def levels(
    count: int, slots: int, quiet_excess_db: float, rise_db: np.ndarray, steps: tuple[float, ...] = (10.0,)
) -> CallLevels:
    """Links that hear next to nothing of each other, each with so much over holding where the air is quiet."""
    noise = 1e-11
    gain = np.full((count, count), 1e-12)
    # wanted = gain x 10 mW; needed = noise x need x to_hold with need x to_hold = 1000
    np.fill_diagonal(gain, noise * 1000.0 / 10.0 * 10 ** (quiet_excess_db / 10))
    radio = Radio(
        gain, np.zeros((count, count)), np.full(count, 0.01), np.full(count, noise), np.full(count, 100.0),
        np.full(count, 10.0), np.full(count, 1.0), np.full(count, 1.0), np.full(count, 200.0),
        np.full((1, 1, 2), 1e-9), 25.0, np.zeros(count, dtype=np.int64), count,
    )  # fmt: skip
    air = noise * (10 ** (rise_db / 10) - 1)
    return CallLevels(
        np.arange(count), radio, (air,) * count, (np.array(steps),) * count, (np.full(slots, np.inf),) * count,
        np.zeros(0, dtype=np.int64), np.zeros(0),
        PowerWishes(tuple(f"L{n}" for n in range(count)), np.zeros(count), np.zeros(count, dtype=np.bool_)),
        np.full(count, 0.5),
    )  # fmt: skip


def problem(count: int, rise_db: np.ndarray, spares: int = 0) -> Problem:
    slots = np.arange(500_000, 500_000 + 25 * rise_db.size, 25, dtype=np.int64)
    wishes = tuple(Wish(f"L{n}", slots, rise_db, 350, spares) for n in range(count))
    return Problem(wishes, (tuple(range(count)),), 100, 50)


#: 8 MHz of which the first 1.6 MHz are quiet: five links fit there at 350 kHz, but not clean.
RISE = np.where(np.arange(320) <= 64, 0.0, 2.5)


def test_power_is_chosen_where_it_holds_more_people() -> None:
    # 1 dB over holding where it is quiet, 1.5 dB short on a slot that raises the noise by 2.5 dB.
    asked = problem(5, RISE)
    clean = solve(asked)
    assert clean.criterion == "clean"
    answer, compared = choose(asked, [levels(5, RISE.size, 1.0, RISE)], clean, nobody_listens)
    assert answer.criterion == "power"
    assert max(carrier or 0 for carrier in answer.carriers_khz) <= 501_600
    assert compared is not None
    assert compared.holding == 5
    assert compared.other_holding is not None
    assert compared.other_holding < 5
    assert compared.worst_db - (compared.other_worst_db or 0.0) == pytest.approx(2.5, abs=0.01)


def test_clean_is_chosen_where_it_costs_nothing() -> None:
    # 5 dB over holding: on the loud slots there are 2.5 dB left, and everybody holds.
    asked = problem(5, RISE)
    answer, compared = choose(asked, [levels(5, RISE.size, 5.0, RISE)], solve(asked), nobody_listens)
    assert answer.criterion == "clean"
    assert compared is not None
    assert compared.holding == compared.other_holding == 5


def test_of_two_placements_that_hold_alike_the_quieter_is_better() -> None:
    rise_db = np.array([0.5, *np.zeros(30), 3.0, *np.zeros(30), 2.0])
    asked, call = problem(2, rise_db), levels(2, rise_db.size, 5.0, np.zeros(rise_db.size))
    loud, less, least = (
        Placement(asked, [call], np.array(slots)).score() for slots in ([0, 31], [0, 62], [30, 61])
    )
    assert {replace(one, quiet_db=0.0) for one in (loud, less, least)} == {replace(least, quiet_db=0.0)}
    assert loud < less < least


def test_only_who_lost_a_verdict_moves() -> None:
    asked = problem(3, RISE)
    kept = zip(asked.wishes, (500_000, 504_000, 500_800), strict=True)
    asked = replace(asked, wishes=tuple(replace(wish, keep_khz=khz) for wish, khz in kept))
    slots = Regain(asked, [levels(3, RISE.size, 1.0, RISE)], nobody_listens).slots()
    assert slots is not None
    carriers = [int(wish.slots_khz[slot]) for wish, slot in zip(asked.wishes, slots, strict=True)]
    assert (carriers[0], carriers[2]) == (500_000, 500_800)
    assert carriers[1] <= 501_600


def test_least_powers_are_a_fixed_point_and_least() -> None:
    quiet = np.zeros(40)
    call = levels(4, 40, 0.0, quiet, steps=(1.0, 10.0, 50.0))
    carriers = np.array([500_000, 500_350, 500_700, 500_975], dtype=np.int64)
    assert settle_powers(call, [0, 14, 28, 39], carriers).powers_mw == pytest.approx([50.0] * 4)
    strong = levels(4, 40, 1.0, quiet, steps=(1.0, 10.0, 50.0))
    assert settle_powers(strong, [0, 14, 28, 39], carriers).powers_mw == pytest.approx([10.0] * 4)


def test_the_order_of_switching_breaks_nobody_where_there_is_such_an_order() -> None:
    # L1 goes where L0 stands now, so L0 must go first.
    asked = problem(2, np.zeros(320))
    moves = switch_order(asked, [500_000, 502_000], [504_000, 500_000])
    assert [(move.link, move.clean) for move in moves] == [("L0", True), ("L1", True)]
    assert [move.to_khz for move in moves] == [504_000, 500_000]


def test_two_that_change_places_cannot_do_it_cleanly() -> None:
    asked = problem(2, np.zeros(320))
    moves = switch_order(asked, [500_000, 502_000], [502_000, 500_000])
    assert [move.clean for move in moves] == [False, True]


def test_a_link_that_is_new_is_a_step_too() -> None:
    moves = switch_order(problem(2, np.zeros(320)), [500_000, None], [500_000, 502_000])
    assert [(move.link, move.from_khz, move.to_khz) for move in moves] == [("L1", None, 502_000)]
