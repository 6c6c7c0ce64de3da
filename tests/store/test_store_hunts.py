"""Hunts in the store: kept with who and when, compared and set, the same after opening again; on both databases."""

from __future__ import annotations

import datetime
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from linkwright.shoot.errors import InputError
from linkwright.store import Conflict, HuntFact, HuntStart, KeptHunt, Store

SINCE = datetime.datetime(2027, 5, 14, 9, 5, tzinfo=datetime.UTC)
START = HuntStart("i1", 531_475, SINCE, "i2", "breaks up", "q1", "i3")
DEEDS = ("learn", "unlearn", "close", "reopen")


def test_a_hunt_is_kept_as_it_was_told(place: str) -> None:
    with Store.open(place, create=True) as store:
        hunt = store.begin_hunt(START, "Potter")
        assert hunt.start == START
        hunt = store.learn(hunt.id, hunt.deeds, HuntFact("off", "i9", yes=True), "Weaver")
        hunt = store.learn(hunt.id, hunt.deeds, HuntFact("read", "i1", dbm=None), "Weaver")
        store.keep_found(hunt, {"suspects": [], "question": None})
        hunt = store.close_hunt(hunt.id, hunt.deeds, "a stranger", "Potter")
    with Store.open(place) as store:
        (again,) = store.hunts()
        assert again == hunt
        assert again.found == {"suspects": [], "question": None}, "what was suspected last stays with the verdict"
        assert [(step.who, step.deed) for step in store.hunt_steps(again)] == [
            ("Potter", "begin"), ("Weaver", "learn"), ("Weaver", "learn"), ("Potter", "close"),
        ]  # fmt: skip
        told = [("off", "i9", "Weaver"), ("read", "i1", "Weaver")]
        assert [(one.kind, one.who, one.by) for one in again.learnt] == told


def test_of_two_who_saw_the_same_the_second_hears_so(place: str) -> None:
    with Store.open(place, create=True) as store:
        hunt = store.begin_hunt(START, "Potter")
        store.learn(hunt.id, hunt.deeds, HuntFact("on", "i9"), "Cook")
        with pytest.raises(Conflict) as late:
            store.close_hunt(hunt.id, hunt.deeds, "a stranger", "Weaver")
        assert late.value.who == "Cook"
        now = store.hunt(hunt.id)
        assert (now.state, now.deeds) == ("open", hunt.deeds + 1)
        store.keep_found(hunt, {"suspects": ["stale"]})
        assert store.hunt(hunt.id).found is None, "it was looked at before the answer"


def test_a_report_is_looked_into_once_and_its_crew_alone_hears_of_it(place: str) -> None:
    with Store.open(place, create=True) as store:
        store.replace({"crew": [{"name": "A"}, {"name": "B"}]}, "laptop")
        a, b = (id_ for id_, _ in store.document().entries("crew"))
        report = store.hatch(a).trouble("", "breaks up", "Ines")
        hunt = store.begin_hunt(HuntStart("i1", 500_000, SINCE, request=report.id, crew=a), "laptop")
        with pytest.raises(InputError, match="looked into already"):
            store.begin_hunt(HuntStart("i1", 500_000, SINCE, request=report.id, crew=a), "phone")
        assert store.hatch(a).looked_into() == {report.id}
        assert store.hatch(b).looked_into() == frozenset()
        store.close_hunt(hunt.id, hunt.deeds, "gone", "laptop")
        assert store.hatch(a).looked_into() == frozenset()
        store.begin_hunt(HuntStart("i1", 500_000, SINCE, request=report.id, crew=a), "laptop")


def done(store: Store, hunt: KeptHunt, deed: str) -> KeptHunt:
    if deed == "learn":
        return store.learn(hunt.id, hunt.deeds, HuntFact("on", "i9"), "x")
    if deed == "unlearn":
        return store.unlearn(hunt.id, hunt.deeds, "x")
    if deed == "close":
        return store.close_hunt(hunt.id, hunt.deeds, "y", "x")
    return store.reopen_hunt(hunt.id, hunt.deeds, "x")


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None, max_examples=20)
@given(st.lists(st.sampled_from(DEEDS), max_size=12))
def test_any_deeds_leave_a_hunt_that_its_log_tells(store_for_laws: Store, deeds: list[str]) -> None:
    """Against a list that shares no code: what stands is what was learnt and not taken back, while it was open."""
    store = store_for_laws
    hunt, learnt, is_open, told = store.begin_hunt(HuntStart("i1", 500_000, SINCE), "x"), 0, True, ["begin"]
    for deed in deeds:
        may = {"learn": is_open, "unlearn": is_open and learnt > 0, "close": is_open, "reopen": not is_open}[deed]
        if not may:
            with pytest.raises(InputError):
                done(store, hunt, deed)
            continue
        hunt = done(store, hunt, deed)
        learnt += {"learn": 1, "unlearn": -1}.get(deed, 0)
        is_open = {"close": False, "reopen": True}.get(deed, is_open)
        told.append("take back" if deed == "unlearn" else deed)
    now = store.hunt(hunt.id)
    assert (len(now.learnt), now.state == "open", now.deeds) == (learnt, is_open, len(told))
    assert [step.deed for step in store.hunt_steps(now)] == told
    if is_open:
        store.close_hunt(now.id, now.deeds, "y", "x")


@pytest.fixture
def store_for_laws(tmp_path: Path) -> Iterator[Store]:
    with Store.open(tmp_path / "laws.lwjob", create=True) as store:
        yield store
