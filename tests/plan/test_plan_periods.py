"""Long events: planned period by period, and again where something changed; held against plain code of its own."""

from __future__ import annotations

import datetime
import itertools
from collections.abc import Iterator

import pytest
from bench.long_event import long_event, repeated

from linkwright.plan import periods
from linkwright.plan.chain import scene_of
from linkwright.plan.changes import changes
from linkwright.plan.file import parse_plan, write_plan
from linkwright.plan.hit import stranger
from linkwright.plan.legs import plan_in_pieces
from linkwright.plan.model import Plan, PlannedLink
from linkwright.plan.pieces import Pieces
from linkwright.plan.pipeline import make_plan
from linkwright.plan.replan import hit_by, pieces_of, replan
from linkwright.shoot.models import Call, Crew, Link, Shoot


@pytest.fixture(scope="module")
def event() -> Shoot:
    """A day of an event: three sessions, 150 assignments."""
    return long_event(150, seed=2)


@pytest.fixture(scope="module")
def planned(event: Shoot) -> Iterator[Pieces]:
    """The day as planned in its periods."""
    whole, periods.WHOLE_UP_TO = periods.WHOLE_UP_TO, 0  # type: ignore[misc]
    yield plan_in_pieces(scene_of(event, {}), effort=0.0)
    periods.WHOLE_UP_TO = whole  # type: ignore[misc]


def followed(before: Pieces, shoot: Shoot) -> Pieces:
    """The plan as it goes on in a shoot that is a little different."""
    changed = changes(before.scene, scene_of(shoot, {}))
    assert changed is not None
    return replan(before, changed.scene, changed.calls, effort=0.0)


def at_once(shoot: Shoot, plan: Plan, name: str) -> list[tuple[str, PlannedLink]]:
    """The links of a call and of those that overlap it on its site, each with its call's name."""
    calls = {call.name: call for call in shoot.call}
    me = calls[name]
    assert me.starts is not None
    assert me.ends is not None
    found = []
    for other in plan.calls:
        call = calls[other.call]
        assert call.starts is not None
        assert call.ends is not None
        if call.site == me.site and call.date == me.date and call.starts < me.ends and me.starts < call.ends:
            found += [(other.call, link) for link in other.links]
    return found


def assert_nobody_is_in_anybodys_way(shoot: Shoot, plan: Plan) -> None:
    """Spacing, and in clean calls products, by going through all pairs and triples of those who are on together."""
    spans = {call.name: (call.starts, call.ends) for call in shoot.call}

    def meet(a: str, b: str) -> bool:
        (x, y), (u, v) = spans[a], spans[b]
        return x < v and u < y  # type: ignore[operator]

    for call in plan.calls:
        others = at_once(shoot, plan, call.call)
        for link in call.links:
            rest = [(name, one.carrier_khz) for name, one in others if one.link != link.link]
            assert all(abs(khz - link.carrier_khz) >= 350 for _, khz in rest)
            if call.criterion != "clean":
                continue
            for (a, f), (b, g) in itertools.permutations(rest, 2):
                if meet(a, b):
                    assert abs(2 * f - g - link.carrier_khz) >= 100, (link.link, f, g)
            for (a, f), (b, g), (c, h) in itertools.permutations(rest, 3):
                if f < g and meet(a, b) and meet(b, c) and meet(a, c):
                    assert abs(f + g - h - link.carrier_khz) >= 50, (link.link, f, g, h)


def test_periods_are_days_or_sessions_and_everybody_has_a_carrier(event: Shoot, planned: Pieces) -> None:
    assert len(planned.between) > 1
    assert not [gone for call in planned.plan.calls for gone in call.unplaced]
    assert [call.call for call in planned.plan.calls] == [call.name for call in event.call]
    assert_nobody_is_in_anybodys_way(event, planned.plan)


def test_a_pack_keeps_its_carrier_from_period_to_period_where_it_can(planned: Pieces) -> None:
    carriers: dict[str, list[int]] = {}
    for call in planned.plan.calls:
        for link in call.links:
            carriers.setdefault(link.link, []).append(link.carrier_khz)
    several = [mine for mine in carriers.values() if len(mine) > 1]
    assert len(several) > 20
    assert sum(len(set(mine)) == 1 for mine in several) >= 0.9 * len(several)


def test_who_plans_changes_nothing(event: Shoot, planned: Pieces) -> None:
    def backwards(job, tasks):  # type: ignore[no-untyped-def]
        return reversed([job(task) for task in reversed(list(tasks))])

    assert make_plan(event, {}, run=backwards, effort=0.0) == planned.plan


def test_a_long_event_in_legs_is_one_plan(monkeypatch: pytest.MonkeyPatch) -> None:
    """Periods first, then the legs between them in any order: the same plan; packs keep their carriers, and nobody
    is in anybody's way."""
    monkeypatch.setattr("linkwright.plan.periods.WHOLE_UP_TO", 0)
    monkeypatch.setattr("linkwright.plan.legs.LEG", 3)
    shoot = repeated(long_event(40, seed=4), 3)
    tasks: list[int] = []

    def backwards(job, legs):  # type: ignore[no-untyped-def]
        several = list(legs)
        tasks.append(len(several))
        return reversed([job(leg) for leg in reversed(several)])

    pieces = plan_in_pieces(scene_of(shoot, {}), effort=0.0)
    assert plan_in_pieces(scene_of(shoot, {}), effort=0.0, run=backwards).plan == pieces.plan
    assert tasks == [3]
    assert list(pieces.between) == list(plan_in_pieces(scene_of(shoot, {}), pieces.plan, effort=0.0).between)
    assert_nobody_is_in_anybodys_way(shoot, pieces.plan)
    carriers: dict[str, set[int]] = {}
    for call in pieces.plan.calls:
        for link in call.links:
            carriers.setdefault(link.link, set()).add(link.carrier_khz)
    assert sum(len(mine) == 1 for mine in carriers.values()) >= 0.9 * len(carriers)


def test_nothing_changed_changes_nothing(planned: Pieces) -> None:
    assert replan(planned, planned.scene).plan == planned.plan


def test_a_hit_moves_few_and_all_else_stands(event: Shoot, planned: Pieces) -> None:
    largest = max(planned.plan.calls, key=lambda call: len(call.links))
    victim = largest.links[0]
    other = stranger(event, victim.carrier_khz, heard_dbm=-50.0, site=largest.site)
    scene, changed = hit_by(planned.scene, other)
    after = replan(planned, scene, changed, effort=0.0)
    assert victim.link in [move.link for move in after.plan.moves]
    for before, now in zip(planned.plan.calls, after.plan.calls, strict=True):
        if before.call not in changed and before.site == largest.site:
            assert before == now
    assert_nobody_is_in_anybodys_way(event, after.plan)
    for call in after.plan.calls:
        if call.site == largest.site:
            assert all(abs(link.carrier_khz - victim.carrier_khz) >= 200 for link in call.links)


def test_a_call_that_gets_another_link_is_planned_again(event: Shoot, planned: Pieces) -> None:
    at = max(planned.plan.calls, key=lambda call: len(call.links)).call
    link = event.link[0].model_copy(update={"name": "New", "transmitter": "low"})
    calls = tuple(
        call.model_copy(update={"links": (*call.links, "New")}) if call.name == at else call for call in event.call
    )
    more = event.model_copy(update={"link": (*event.link, link), "call": calls})
    after = followed(planned, more).plan
    assert [call.call for call in after.calls for one in call.links if one.link == "New"] == [at]
    assert_nobody_is_in_anybodys_way(more, after)


def test_a_crew_of_eight_is_fitted_in_with_few_moves(event: Shoot, planned: Pieces) -> None:
    at = max(planned.plan.calls, key=lambda call: len(call.links))
    like = next(call for call in event.call if call.name == at.call)
    links = tuple(
        event.link[0].model_copy(update={"name": f"New {n}", "crew": "New", "transmitter": "low"}) for n in range(8)
    )
    call = Call.model_validate({
        "name": "New crew", "crew": "New", "site": like.site, "date": like.date, "from": like.starts,
        "to": like.ends, "links": tuple(link.name for link in links),
    })  # fmt: skip
    more = event.model_copy(
        update={
            "crew": (*event.crew, Crew(name="New")), "link": (*event.link, *links), "call": (*event.call, call),
        }
    )  # fmt: skip
    after = followed(planned, more)
    assert [link.link for link in after.plan.calls[-1].links] == [link.name for link in links]
    told = {move.link for move in after.plan.moves}
    assert len(told - {link.name for link in links}) <= 1
    for before, now in zip(planned.plan.calls, after.plan.calls, strict=False):
        assert {
            a.link for a, b in zip(before.links, now.links, strict=True) if a.carrier_khz != b.carrier_khz
        } <= told
    assert_nobody_is_in_anybodys_way(more, after.plan)
    assert isinstance(links[0], Link)


def test_a_plan_that_was_read_is_hit_in_the_same_way(event: Shoot, planned: Pieces) -> None:
    largest = max(planned.plan.calls, key=lambda call: len(call.links))
    day = next(call.date for call in event.call if call.name == largest.call)
    other = stranger(event, largest.links[0].carrier_khz, heard_dbm=-50.0, site=largest.site, on=day)
    scene, changed = hit_by(planned.scene, other)
    read = pieces_of(planned.scene, parse_plan(write_plan(planned.plan), "plan.json"))
    after, same = (replan(before, scene, changed, effort=0.0).plan for before in (read, planned))
    assert after.calls == same.calls
    assert after.moves == same.moves
    assert {finding.says for finding in same.findings} == {finding.says for finding in after.findings}


def test_a_stranger_of_another_day_is_heard_by_nobody(event: Shoot, planned: Pieces) -> None:
    other = stranger(event, 500_000, site=event.site[0].name, on=datetime.date(2027, 6, 1))
    assert hit_by(planned.scene, other)[1] == ()
