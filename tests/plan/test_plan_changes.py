"""A long event that goes on from its plan: what is promised then is what a proof of everything comes to."""

from __future__ import annotations

import functools
from collections.abc import Callable, Iterator, Mapping

import numpy as np
import pytest
from tests.plan.by_level import assignments, from_elsewhere
from tests.plan.test_event_by_level import crowded

from linkwright.assign.calls import Kept
from linkwright.plan import periods
from linkwright.plan.chain import Scene, scene_of
from linkwright.plan.changes import changes
from linkwright.plan.hit import stranger
from linkwright.plan.legs import plan_in_pieces
from linkwright.plan.model import Plan, PlannedCall
from linkwright.plan.neighbours import hearing
from linkwright.plan.pieces import Making, Pieces, make_pieces
from linkwright.plan.prove import prove_calls
from linkwright.plan.replan import answer_of, replan
from linkwright.plan.site import Slots, site_problem
from linkwright.plan.solve import far_of_calls
from linkwright.progress import quiet
from linkwright.shoot.models import Call, Shoot

Draw = np.random.Generator


@pytest.fixture(scope="module")
def planned() -> Iterator[Pieces]:
    """An event of 120 assignments at venues that hear each other, as planned in its periods."""
    whole, periods.WHOLE_UP_TO = periods.WHOLE_UP_TO, 0  # type: ignore[misc]
    yield plan_in_pieces(scene_of(crowded(120, 5), {}), effort=0.0)
    periods.WHOLE_UP_TO = whole  # type: ignore[misc]


def with_link(shoot: Shoot, name: str, **fields: object) -> Shoot:
    links = tuple(link.model_copy(update=fields) if link.name == name else link for link in shoot.link)
    return shoot.model_copy(update={"link": links})


def with_calls(shoot: Shoot, calls: Callable[[Call], Call | None]) -> Shoot:
    kept = tuple(after for call in shoot.call if (after := calls(call)) is not None)
    return shoot.model_copy(update={"call": kept})


def a_call_is_off(shoot: Shoot, _plan: Plan, draw: Draw) -> Shoot:
    name = str(draw.choice([call.name for call in shoot.call]))
    return with_calls(shoot, lambda call: None if call.name == name else call)


def a_venue_is_off_for_a_day(shoot: Shoot, _plan: Plan, draw: Draw) -> Shoot:
    like = shoot.call[int(draw.integers(len(shoot.call)))]
    return with_calls(shoot, lambda call: None if (call.site, call.date) == (like.site, like.date) else call)


def a_link_goes(shoot: Shoot, _plan: Plan, draw: Draw) -> Shoot:
    name = str(draw.choice([link.name for link in shoot.link]))
    rest = with_calls(shoot, lambda call: _without(call, name))
    return rest.model_copy(update={"link": tuple(link for link in rest.link if link.name != name)})


def _without(call: Call, link: str) -> Call | None:
    links = tuple(name for name in call.links if name != link)
    return call.model_copy(update={"links": links}) if links else None


def a_link_is_another(shoot: Shoot, _plan: Plan, draw: Draw) -> Shoot:
    name = str(draw.choice([link.name for link in shoot.link]))
    fields: list[dict[str, object]] = [{"spares": 3}, {"power": "most"}, {"reserve_db": 12.0}]
    return with_link(shoot, name, **fields[int(draw.integers(len(fields)))])


def a_link_is_locked_where_another_is(shoot: Shoot, plan: Plan, draw: Draw) -> Shoot:
    call = max(plan.calls, key=lambda call: len(call.links))
    a, b = draw.choice(len(call.links), 2, replace=False)
    return with_link(shoot, call.links[a].link, locked_mhz=call.links[b].carrier_khz / 1000.0)


def a_link_comes(shoot: Shoot, _plan: Plan, draw: Draw) -> Shoot:
    at = str(draw.choice([call.name for call in shoot.call]))
    more = with_calls(
        shoot, lambda call: call.model_copy(update={"links": (*call.links, "New")}) if call.name == at else call
    )
    return more.model_copy(update={"link": (*more.link, shoot.link[0].model_copy(update={"name": "New"}))})


def a_venue_moves(shoot: Shoot, _plan: Plan, draw: Draw) -> Shoot:
    n = int(draw.integers(len(shoot.site)))
    here, there = shoot.site[n], shoot.site[(n + 1) % len(shoot.site)]
    moved = here.model_copy(update={"latitude": (here.latitude + there.latitude) / 2.0})  # type: ignore[operator]
    return shoot.model_copy(update={"site": (*shoot.site[:n], moved, *shoot.site[n + 1 :])})


def somebody_comes(shoot: Shoot, plan: Plan, draw: Draw) -> Shoot:
    call = plan.calls[int(draw.integers(len(plan.calls)))]
    other = stranger(shoot, call.links[0].carrier_khz, heard_dbm=-60.0, site=call.site)
    return shoot.model_copy(update={"other": (*shoot.other, other)})


def a_pack_is_another(shoot: Shoot, _plan: Plan, draw: Draw) -> Shoot:
    """One link gets a type of its own; the second time it is that type which changes."""
    own, like = shoot.transmitter.get("own"), shoot.transmitter["low"]
    kit = like if own is None else own.model_copy(update={"powers_mw": (own.powers_mw[0],), "spacing_khz": 700})
    more = shoot.model_copy(update={"transmitter": {**shoot.transmitter, "own": kit}})
    low = [link.name for link in shoot.link if link.transmitter == "low"]
    return more if own else with_link(more, str(draw.choice(low)), transmitter="own")


EDITS = (
    a_pack_is_another, a_call_is_off, a_venue_is_off_for_a_day, a_link_goes, a_link_is_another,
    a_link_is_locked_where_another_is, a_link_comes, a_venue_moves, somebody_comes,
)  # fmt: skip


def followed(before: Pieces, shoot: Shoot) -> Pieces:
    changed = changes(before.scene, scene_of(shoot, {}))
    assert changed is not None
    return replan(before, changed.scene, changed.calls, effort=0.0)


def proved_anew(scene: Scene, planned: Mapping[str, PlannedCall]) -> dict[str, PlannedCall]:
    """Every call on the carriers that it has, proved with nothing known from before."""
    calls: dict[str, PlannedCall] = {}
    for part in periods.periods(scene):
        slots = Slots(part, hearing(part))
        slots.far.update(far_of_calls(part, [planned[call.name] for call in part.calls]))
        solved = {}
        for site in part.used_sites:
            problem = site_problem(part, site, slots, {})
            solved[site.name] = problem, [answer_of(part, problem, n, planned) for n in range(len(problem.calls))]
        nothing: dict[str, dict[str, Kept]] = {name: {} for name in solved}
        prove = functools.partial(map, prove_calls)
        calls |= make_pieces(Making(), part, slots, solved, nothing, quiet, prove, again=True)
    return calls


def as_proved(call: PlannedCall) -> PlannedCall:
    """A call without what was only looked at when its carriers were chosen."""
    return call.model_copy(update={"bound": None, "other_criterion_db": None, "other_criterion_holding": None})


@pytest.mark.parametrize("edit", EDITS, ids=lambda edit: edit.__name__)
def test_what_is_promised_after_a_change_is_what_all_of_it_proved_anew_comes_to(
    planned: Pieces, edit: Callable[[Shoot, Plan, Draw], Shoot]
) -> None:
    draw = np.random.default_rng(7)
    after = planned
    for _ in range(2):
        shoot = edit(after.scene.shoot, after.plan, draw)
        after = followed(after, shoot)
    assert [call.call for call in after.plan.calls] == [call.name for call in shoot.call]
    every = list(assignments(after.scene, after.plan))
    for at, link in every:
        rows = {row.part.removeprefix("links at "): row.dbm for row in link.ledger.rows if "links at" in row.part}
        assert rows == pytest.approx(from_elsewhere(after.scene, [sent for sent, _ in every], at, link), abs=0.05)
    anew = proved_anew(scene_of(shoot, {}), after.calls)
    for name, call in after.calls.items():
        for link, link_anew in zip(call.links, anew[name].links, strict=True):
            assert link == link_anew, (name, link.link)
        assert as_proved(call) == as_proved(anew[name]), name
    names = {link.name for link in shoot.link} | {link.name for link in planned.scene.shoot.link}
    told = {finding.about for finding in after.plan.findings} & names
    assert told <= {link.name for link in shoot.link}
