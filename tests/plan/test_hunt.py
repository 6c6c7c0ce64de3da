"""The hunt for interference on a simulated event: planted cases, developed on even seeds, counted on odd ones."""

from __future__ import annotations

import datetime

import pytest
from bench.long_event import long_event
from tests.plan.interference import World, planted

from linkwright.plan.chain import Scene, scene_of
from linkwright.plan.hunt.case import Case, Hunt, HuntAnswer, Suspect
from linkwright.plan.hunt.narrowing import hunt
from linkwright.plan.hunt.suspects import _is_on
from linkwright.plan.legs import plan_in_pieces
from linkwright.plan.pieces import Pieces

#: Questions that somebody in the field answers before the suspects are counted.
QUESTIONS = 5


@pytest.fixture(scope="module")
def event() -> Pieces:
    return plan_in_pieces(scene_of(long_event(400, seed=5), {}), effort=0.0)


def is_culprit(suspect: Suspect, world: World) -> bool:
    if world.kind == "tv":
        return suspect.kind == "tv"
    if world.kind == "stranger":
        return suspect.kind == "stranger"
    if world.kind == "product":
        return suspect.kind == "product" and set(suspect.who) == set(world.culprit)
    return suspect.who == world.culprit


def hunted(scene: Scene, event: Pieces, world: World) -> tuple[Hunt, int]:
    """The case with its questions answered truthfully, and how many were asked."""
    crew = {link.name: link.crew for link in scene.shoot.link}
    answers: list[HuntAnswer] = []
    while True:
        case = Case(world.site, world.carrier_khz, world.since, world.readings_dbm(), tuple(answers), world.victim)
        found = hunt(scene, event.plan, case)
        if found.question is None or len(answers) == QUESTIONS:
            return found, len(answers)
        who = found.question.who
        off = frozenset(one.name for one in world.on if who in (one.name, crew.get(one.name)))
        answers.append(HuntAnswer("off", who, world.broken(off)))


def place_of(event: Pieces, seed: int) -> tuple[int, World, Hunt]:
    world = planted(event.scene.shoot, event.plan, seed)
    found, _ = hunted(event.scene, event, world)
    place = next((n for n, one in enumerate(found.ranked, 1) if is_culprit(one.suspect, world)), 99)
    return place, world, found


def test_a_planted_case_of_each_kind(event: Pieces) -> None:
    """One of each kind; bench/test_hunt.py counts two times twenty."""
    places = [place_of(event, seed)[0] for seed in range(1, 15, 2)]
    assert sum(place == 1 for place in places) >= 5, places
    assert sum(place <= 3 for place in places) >= 6, places


def test_probabilities_are_some_and_evidence_is_told(event: Pieces) -> None:
    _, _, found = place_of(event, 3)
    assert 0.9 < sum(one.probability for one in found.ranked) <= 1.0 + 1e-9
    assert all(one.suspect.evidence for one in found.ranked)


@pytest.mark.parametrize(("minutes", "on"), [(-1, False), (0, True), (59, True), (60, False)])
def test_a_call_is_on_from_its_beginning_until_its_end(minutes: int, *, on: bool) -> None:
    nine = datetime.datetime(2027, 5, 14, 9, 0)
    ten, at = nine + datetime.timedelta(hours=1), nine + datetime.timedelta(minutes=minutes)
    assert _is_on(nine, ten, at) is on
    assert _is_on(None, ten, at)
    assert _is_on(nine, None, at)
