"""Several calls on one site at the same time: their links meet as if they were of one call, while both are on."""

from __future__ import annotations

import itertools

import pytest
from tests.plan.shoots import links, pocket, shoot

from linkwright.plan.model import Plan, PlannedLink
from linkwright.plan.pipeline import make_plan

SITE = '[[site]]\nname = "Park"\nlatitude = 50.0\nlongitude = -4.0\nsurroundings = "open"\n'


def call(name: str, starts: int, ends: int, who: range) -> str:
    names = ", ".join(f'"L{n}"' for n in who)
    return (
        f'[[call]]\nname = "{name}"\nsite = "Park"\nfrom = {starts:02d}:00:00\nto = {ends:02d}:00:00\n'
        f"links = [{names}]\n"
    )


def plan_of(calls: str, count: int, tunes: str = "[[518.0, 566.0]]", more: str = "", effort: float = 0.25) -> Plan:
    return make_plan(shoot(SITE + calls + pocket(tunes) + links(count) + more), {}, effort=effort)


def on(plan: Plan, *calls: int) -> list[PlannedLink]:
    return [link for n in calls for link in plan.calls[n].links]


def carriers(plan: Plan, *calls: int) -> list[int]:
    return [link.carrier_khz for link in on(plan, *calls)]


def near_products(carriers_khz: list[int]) -> list[tuple[int, ...]]:
    """Every product within the guards of a carrier, by going through all of them (docs/reference.md: 100, 50)."""
    found: list[tuple[int, ...]] = []
    for a, b in itertools.permutations(carriers_khz, 2):
        found += [(a, b, v) for v in carriers_khz if abs(2 * a - b - v) < 100]
    for a, b, c in itertools.permutations(carriers_khz, 3):
        found += [(a, b, c, v) for v in carriers_khz if a < b and abs(a + b - c - v) < 50]
    return found


@pytest.mark.parametrize("effort", [0.0, 0.25])
def test_calls_of_two_crews_at_the_same_time_share_no_carrier_and_no_product(effort: float) -> None:
    calls = call("north", 9, 12, range(1, 5)) + call("south", 11, 14, range(5, 9))
    plan = plan_of(calls, 8, effort=effort)
    every = sorted(carriers(plan, 0, 1))
    assert len(every) == 8
    assert all(b - a >= 350 for a, b in itertools.pairwise(every))
    assert [one.criterion for one in plan.calls] == ["clean", "clean"]
    assert near_products(every) == []
    assert plan.all_hold


def test_calls_that_follow_one_another_use_carriers_again_beside_one_that_lasts() -> None:
    # 12 slots at 375 kHz hold 4 clean carriers (test_assign): three crews of two fit only if times are told apart.
    calls = (
        call("all day", 8, 20, range(1, 3))
        + call("morning", 9, 12, range(3, 5))
        + call("evening", 13, 16, range(5, 7))
    )
    plan = plan_of(calls, 6, "[[518.0, 519.5]]")
    assert not [gone for one in plan.calls for gone in one.unplaced]
    assert set(carriers(plan, 1)) & set(carriers(plan, 2))
    for pair in ((0, 1), (0, 2)):
        every = sorted(carriers(plan, *pair))
        assert all(b - a >= 350 for a, b in itertools.pairwise(every))


def test_what_a_call_at_the_same_time_brings_stands_in_the_ledger() -> None:
    locked = "".join(
        f'[[link]]\nname = "L{n}"\ntransmitter = "pocket"\nreceiver = "uhf-cart-rack"\nlocked_mhz = {mhz}\n'
        "within_m = 12\n"
        for n, mhz in ((1, 520.0), (2, 521.0), (3, 522.0))
    )
    calls = call("ours", 9, 12, range(1, 2)) + call("theirs", 10, 13, range(2, 4))
    alone = make_plan(shoot(SITE + call("ours", 9, 12, range(1, 2)) + pocket() + locked), {})
    both = make_plan(shoot(SITE + calls + pocket() + locked), {})
    parts = [row.part for row in both.calls[0].links[0].ledger.rows if row.what == "interference"]
    assert "2A-B of L2, L3" in parts
    assert both.calls[0].links[0].noise_and_interference_dbm > alone.calls[0].links[0].noise_and_interference_dbm
    assert both.calls[0].criterion == "power"


def test_others_of_the_other_calls_time_are_not_heard() -> None:
    other = (
        '[[other]]\nname = "Late"\ncarrier_mhz = 521.0\nradiated_mw = 100.0\nbandwidth_khz = 25\nsite = "Park"\n'
        "at = { x_m = 20, y_m = 0 }\nfrom = 13:30:00\nto = 14:00:00\n"
    )
    calls = call("ours", 9, 12, range(1, 3)) + call("theirs", 11, 14, range(3, 5))
    plan = plan_of(calls, 4, more=other)
    told = {part for link in on(plan, 0) for part in (row.part for row in link.ledger.rows)}
    assert not any("Late" in part for part in told)


def test_a_plan_is_kept_to_across_calls_at_the_same_time() -> None:
    calls = call("north", 9, 12, range(1, 5)) + call("south", 11, 14, range(5, 9))
    text = SITE + calls + pocket() + links(8)
    before = make_plan(shoot(text), {})
    hit = on(before, 0)[1]
    stranger = (
        f'[[other]]\nname = "Stranger"\ncarrier_mhz = {hit.carrier_khz / 1000}\nradiated_mw = 50.0\n'
        'bandwidth_khz = 200\nsite = "Park"\nat = { x_m = 5, y_m = 0 }\n'
    )
    after = make_plan(shoot(text + stranger), {}, before)
    assert [move.link for move in after.moves] == [hit.link]
    assert near_products(sorted(carriers(after, 0, 1))) == []


def test_too_many_for_two_calls_at_the_same_time_are_told_with_what_helps() -> None:
    calls = call("north", 9, 12, range(1, 5)) + call("south", 11, 14, range(5, 9))
    plan = plan_of(calls, 8, "[[518.0, 520.0]]")
    assert sum(len(one.unplaced) for one in plan.calls) == 3
    crowded = [finding.says for finding in plan.findings if finding.code == "crowded"]
    assert [says.partition(". ")[0] for says in crowded] == [
        f'Eight links want carriers in call "{name}" and at the same time' for name in ("north", "south")
    ]
    # 519.975 - 518.025 MHz in steps of 400 kHz, an edge's width away from both ends.
    assert all("No more than 5 of these 8 can be on at once" in says for says in crowded)
