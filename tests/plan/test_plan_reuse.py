"""Several sites: carriers are used again by distance and by time, as far as the levels allow it."""

from __future__ import annotations

import pytest
from bench.events import event
from tests.plan.shoots import links, pocket, shoot

from linkwright.plan.model import Plan
from linkwright.plan.pipeline import make_plan


def two_sites(apart_deg: float, second: str = "09:00:00") -> Plan:
    sites = "".join(
        f'[[site]]\nname = "{name}"\nlatitude = {50.0 + n * apart_deg}\nlongitude = -4.0\n'
        for n, name in enumerate("AB")
    )
    ends = "10:00:00" if second == "09:00:00" else "15:00:00"
    calls = (
        '[[call]]\nname = "a"\nsite = "A"\nfrom = 09:00:00\nto = 10:00:00\nlinks = ["L1", "L2"]\n'
        f'[[call]]\nname = "b"\nsite = "B"\nfrom = {second}\nto = {ends}\nlinks = ["L3", "L4"]\n'
    )
    return make_plan(shoot(sites + calls + pocket() + links(4)), {})


def carriers(plan: Plan, call: int) -> set[int]:
    return {link.carrier_khz for link in plan.calls[call].links}


def test_near_sites_at_the_same_time_share_no_carrier() -> None:
    plan = two_sites(0.001)
    assert min(abs(a - b) for a in carriers(plan, 0) for b in carriers(plan, 1)) >= 200


def test_far_sites_and_other_times_use_carriers_again() -> None:
    for plan in (two_sites(1.0), two_sites(0.001, second="14:00:00")):
        assert carriers(plan, 0) == carriers(plan, 1)


@pytest.mark.parametrize("seed", [1, 2])
def test_an_event_is_complete_and_nobody_is_disturbed_from_another_site(seed: int) -> None:
    plan = make_plan(event(24, 4, seed), {})
    assert not [gone for call in plan.calls for gone in call.unplaced]
    assert "reuse" not in [finding.code for finding in plan.findings]
