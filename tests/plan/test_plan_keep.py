"""Planning again around something new: the fewest carriers move."""

from __future__ import annotations

from tests.plan.shoots import links, pocket, shoot

from linkwright.plan.pipeline import make_plan
from linkwright.shoot.models import Shoot
from linkwright.shoot.place import Other, Point


def _hit(before: Shoot, khz: int) -> Shoot:
    crew = Other(name="Crew", carrier_mhz=khz / 1000, radiated_mw=50.0, at=Point(x_m=20.0, y_m=0.0))
    return before.model_copy(update={"other": (*before.other, crew)})


def test_nothing_new_moves_nobody() -> None:
    before = shoot(pocket() + links(8))
    plan = make_plan(before, {})
    again = make_plan(before, {}, plan)
    assert [link.carrier_khz for link in again.calls[0].links] == [link.carrier_khz for link in plan.calls[0].links]
    assert [link.spares_khz for link in again.calls[0].links] == [link.spares_khz for link in plan.calls[0].links]


def test_a_hit_link_goes_to_its_first_spare_and_nobody_else_moves() -> None:
    before = shoot(pocket() + links(8))
    plan = make_plan(before, {})
    hit = plan.calls[0].links[3]
    after = make_plan(_hit(before, hit.carrier_khz), {}, plan)
    moved = [
        (old.link, new.carrier_khz)
        for old, new in zip(plan.calls[0].links, after.calls[0].links, strict=True)
        if old.carrier_khz != new.carrier_khz
    ]
    assert moved == [(hit.link, hit.spares_khz[0])]
    assert after.rule.criterion == "clean"
    told = [finding for finding in after.findings if finding.code == "moved"]
    assert [found.about for found in told] == [hit.link]
    assert "its spare 1" in told[0].says


def test_a_hit_spare_is_replaced_and_nobody_moves() -> None:
    before = shoot(pocket() + links(8))
    plan = make_plan(before, {})
    spare = plan.calls[0].links[2].spares_khz[0]
    after = make_plan(_hit(before, spare), {}, plan)
    assert [link.carrier_khz for link in after.calls[0].links] == [link.carrier_khz for link in plan.calls[0].links]
    new = after.calls[0].links[2].spares_khz
    assert len(new) == 1
    assert abs(new[0] - spare) >= 200


def test_a_locked_link_stays_on_a_hit_carrier_and_it_is_told() -> None:
    before = shoot(pocket() + links(3) + links(1).replace("L1", "Lock") + "locked_mhz = 530.0\n")
    plan = make_plan(before, {})
    after = make_plan(_hit(before, 530_000), {}, plan)
    lock = next(link for link in after.calls[0].links if link.link == "Lock")
    assert lock.carrier_khz == 530_000
    assert [finding.about for finding in after.findings if finding.code == "other-cochannel"] == ["Lock"]


def test_a_new_link_is_fitted_in_and_nobody_moves() -> None:
    plan = make_plan(shoot(pocket() + links(6)), {})
    after = make_plan(shoot(pocket() + links(7)), {}, plan)
    old = {link.link: link.carrier_khz for link in plan.calls[0].links}
    assert len(after.calls[0].links) == 7
    assert all(old.get(link.link, link.carrier_khz) == link.carrier_khz for link in after.calls[0].links)
