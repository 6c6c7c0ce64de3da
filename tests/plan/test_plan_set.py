"""A carrier that is set counts until another is: whoever is to leave one is still on it."""

from __future__ import annotations

from tests.plan.shoots import links, pocket, shoot

from linkwright.plan.model import PlannedLink
from linkwright.plan.pipeline import make_plan


def planned(body: str) -> dict[str, PlannedLink]:
    """The links of the only call, by name."""
    plan = make_plan(shoot(pocket() + body), {})
    return {link.link: link for link in plan.calls[0].links}


def test_a_link_stays_where_it_is_set_without_any_earlier_plan() -> None:
    found = planned(links(4, more="") + "set_mhz = 541.325\n")
    assert found["L4"].carrier_khz == 541_325


def test_a_carrier_that_is_to_be_left_is_nobodys() -> None:
    last = "locked_mhz = 530.0\n"
    free = planned(links(4) + last)
    taken = free["L1"].carrier_khz
    found = planned(links(4) + last + f"set_mhz = {taken / 1000}\n")
    near = [
        khz for link in found.values() for khz in (link.carrier_khz, *link.spares_khz) if abs(khz - taken) < 200
    ]
    assert not near
    assert found["L4"].carrier_khz == 530_000
    assert all(link.verdict == "holds" for link in found.values())


def test_the_move_is_told_with_where_it_goes_from() -> None:
    plan = make_plan(shoot(pocket() + links(2) + "locked_mhz = 530.0\nset_mhz = 541.325\n"), {})
    assert [(move.link, move.from_khz, move.to_khz) for move in plan.moves] == [("L2", 541_325, 530_000)]
    assert "locked there" in plan.moves[0].because
