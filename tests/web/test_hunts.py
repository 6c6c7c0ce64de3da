"""Hunts that are kept: the pages from outside, who sees what, and what the store keeps of it."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

import pytest
from fastapi.testclient import TestClient
from tests.web.conftest import client_of, desk_of_client, planned
from tests.web.event import event_into, telephone, until

from linkwright.store import KeptHunt, Store


@pytest.fixture
def crews(store: Store) -> dict[str, str]:
    return event_into(store)


@pytest.fixture
def event(store: Store, crews: dict[str, str]) -> Iterator[TestClient]:
    assert len(crews) == 2
    with client_of(store) as client:
        planned(client)
        yield client


def ids(store: Store, kind: str) -> dict[str, str]:
    return {str(entry["name"]): id_ for id_, entry in store.document().entries(kind)}


def known(store: Store) -> KeptHunt:
    """The newest hunt, as soon as somebody is suspected in it."""

    def looked() -> KeptHunt | None:
        hunt = store.hunts()[0]
        return hunt if hunt.found else None

    found: KeptHunt = until(looked)
    return found


def told(event: TestClient, deed: str, **says: Any) -> str:
    answer = event.post(f"/crews/hunts/{deed}", json=says)
    assert answer.status_code == 200, answer.text
    said: str = answer.json()["says"][0]
    return said


def begun(event: TestClient, store: Store, **more: Any) -> KeptHunt:
    pilot = ids(store, "link")["Pilot"]
    told(event, "begin", link=pilot, since="2027-05-14T10:05", note="breaks up", **more)
    return known(store)


def test_a_hunt_of_a_link_knows_its_site_and_carrier(event: TestClient, store: Store) -> None:
    hunt = begun(event, store)
    plan = desk_of_client(event).snapshot().planned().plan
    (pilot,) = (
        link for call in plan.calls for link in call.links if (call.call, link.link) == ("Opening", "Pilot")
    )
    assert (hunt.start.khz, hunt.start.site) == (pilot.carrier_khz, ids(store, "site")["Quay"])
    text = event.get("/crews/hunts").text
    assert "One hunt is open." in text
    assert f"{pilot.carrier_khz / 1000:.3f} MHz (Pilot) at Quay, since 10:05, 14 May" in text
    assert "somebody who is not in the plan" in text


def test_suspects_are_those_of_the_command(event: TestClient, store: Store) -> None:
    """The same case asked of the library directly: same suspects, same question, before and after an answer."""
    from linkwright.desk.hunts import case_of
    from linkwright.plan.hunt.document import document
    from linkwright.plan.hunt.narrowing import hunt as narrowed

    hunt = begun(event, store)
    made = desk_of_client(event).snapshot().planned()
    for _ in range(2):
        assert hunt.found is not None
        expected = document(narrowed(made.scene, made.plan, case_of(hunt, made.names)))
        assert {key: hunt.found[key] for key in ("suspects", "question")} == json.loads(json.dumps(expected))
        told(event, "answer", hunt=hunt.id, seen=hunt.deeds, who="Host", what="off clear")
        hunt = known(store)
    first = (hunt.found or {})["suspects"][0]
    assert first["who"] == ["Host"], "with the host off it was clear, twice"
    assert first["probability"] > 0.5


def test_each_answer_is_kept_with_who_and_when_and_can_be_taken_back(event: TestClient, store: Store) -> None:
    hunt = begun(event, store)
    told(event, "answer", hunt=hunt.id, seen=hunt.deeds, who="Harbour", what="on yes")
    told(event, "read", hunt=hunt.id, seen=hunt.deeds + 1, site=hunt.start.site, dbm="-82")
    hunt = known(store)
    assert [(one.kind, one.yes, one.dbm, one.by) for one in hunt.learnt] == [
        ("on", True, None, "laptop"), ("read", False, -82.0, "laptop"),
    ]  # fmt: skip
    assert "read at Quay: −82 dBm" in event.get("/crews/hunts").text
    told(event, "unlearn", hunt=hunt.id, seen=hunt.deeds)
    assert [one.kind for one in store.hunt(hunt.id).learnt] == ["on"]
    steps = store.hunt_steps(hunt)
    assert [step.deed for step in steps] == ["begin", "learn", "learn", "take back"]
    assert all(step.who == "laptop" for step in steps)
    assert [step.when for step in steps] == sorted(step.when for step in steps)
    lines = event.get(f"/crews/hunts/steps?of={hunt.id}").text
    assert lines.index("begun: breaks up") < lines.index("Harbour is on") < lines.index("taken back: read at Quay")
    assert "a hunt" in event.get("/history").text


def test_who_did_not_see_the_last_deed_does_none(event: TestClient, store: Store) -> None:
    hunt = begun(event, store)
    says = {"hunt": hunt.id, "seen": hunt.deeds, "who": "Host", "what": "off clear"}
    told(event, "answer", **says)
    late = event.post("/crews/hunts/answer", json=says)
    assert late.status_code == 409
    assert len(store.hunt(hunt.id).learnt) == 1
    assert event.post("/crews/hunts/close", json={**says, "verdict": "x"}).status_code in (409, 422)


@pytest.mark.parametrize(
    ("deed", "says", "why"),
    [
        ("begin", {}, "say where something is broken"),
        ("begin", {"mhz": "high", "site": "x"}, "is no carrier"),
        ("begin", {"site": "x", "mhz": "520.1", "since": "soon"}, "is no moment"),
        ("begin", {"request": "none"}, "no such request"),
        ("answer", {"who": "Nobody", "what": "on no"}, "is no link or crew"),
        ("read", {"site": "x", "dbm": "loud"}, "is no level"),
        ("read", {"site": "x", "dbm": "500"}, "from -150 to 20 dBm"),
        ("unlearn", {}, "nothing was found out yet"),
        ("close", {"verdict": "  "}, "say what it was"),
        ("reopen", {}, "this hunt is open"),
    ],
)
def test_what_cannot_be_done_is_one_sentence(
    event: TestClient, store: Store, deed: str, says: dict[str, Any], why: str
) -> None:
    hunt = begun(event, store)
    of = {} if deed == "begin" else {"hunt": hunt.id, "seen": hunt.deeds}
    answer = event.post(f"/crews/hunts/{deed}", json={**of, **says})
    assert answer.status_code == 400
    (said,) = answer.json()["says"]
    assert why in said
    assert store.hunt(hunt.id).deeds == hunt.deeds


def test_a_closed_hunt_can_be_read_exported_and_opened_again(event: TestClient, store: Store) -> None:
    hunt = begun(event, store)
    told(event, "answer", hunt=hunt.id, seen=hunt.deeds, who="Host", what="off clear")
    hunt = known(store)
    told(event, "close", hunt=hunt.id, seen=hunt.deeds, verdict="the host's pack, on a spare")
    text = event.get("/crews/hunts").text
    assert "Nothing is hunted any more." in text
    assert "the host&#39;s pack, on a spare" in text
    kept = json.loads(event.get(f"/crews/hunts/case.json?of={hunt.id}").text)
    assert kept["verdict"] == "the host's pack, on a spare"
    assert kept["case"]["answers"] == [{"asked": "off", "who": "Host", "yes": False}]
    assert kept["case"]["since"] == "2027-05-14T10:05:00+01:00"
    assert set(kept["suspects"][0]) == {"kind", "who", "says", "probability", "level_dbm", "evidence"}
    assert [step["did"] for step in kept["steps"]] == [
        "begun: breaks up", "found out: with Host off it is clear", "closed: the host's pack, on a spare",
    ]  # fmt: skip
    told(event, "reopen", hunt=hunt.id, seen=hunt.deeds + 1)
    assert store.hunt(hunt.id).state == "open"
    assert "One hunt is open." in event.get("/crews/hunts").text


def test_a_crew_sees_that_its_trouble_is_looked_into_and_no_more(
    event: TestClient, store: Store, crews: dict[str, str]
) -> None:
    phone = telephone(event, store, "crew", crews["Harbour"])
    other = telephone(event, store, "crew", crews["Lantern"])
    pilot = ids(store, "link")["Pilot"]
    assert phone.post("/own/trouble", json={"link": pilot, "text": "breaks up since 10:05"}).status_code == 200
    (report,) = store.requests()
    assert "Look who is in the way" in event.get("/crews").text
    told(event, "begin", request=report.id)
    hunt = known(store)
    assert (hunt.start.crew, hunt.start.note) == (crews["Harbour"], "breaks up since 10:05")
    assert "Looked into: the hunt" in event.get("/crews").text
    again = event.post("/crews/hunts/begin", json={"request": report.id})
    assert "looked into already" in again.json()["says"][0]
    told(event, "answer", hunt=hunt.id, seen=hunt.deeds, who="Singer", what="off broken")
    seen = phone.get("/own").text
    assert "Somebody is looking into it." in seen
    assert [word for word in ("Singer", "Lantern", "Host", "suspect", "laptop") if word in seen] == []
    assert "looking into it" not in other.get("/own").text
    assert store.hatch(crews["Lantern"]).looked_into() == frozenset()
    told(event, "close", hunt=hunt.id, seen=hunt.deeds + 1, verdict="a stranger, gone")
    assert "looking into it" not in phone.get("/own").text
    assert "stranger" not in phone.get("/own").text
    for path in ("/crews/hunts", "/crews/hunts/body", f"/crews/hunts/case.json?of={hunt.id}", "/crews/event"):
        assert phone.get(path).status_code == 403


def test_a_crew_is_told_when_its_trouble_is_looked_into_and_not_of_each_answer(
    event: TestClient, store: Store, crews: dict[str, str]
) -> None:
    from linkwright.desk.crews import concerned

    def of_last() -> set[str]:
        return set(concerned(store.changes(store.revision - 1), store.document()))

    store.hatch(crews["Harbour"]).trouble(ids(store, "link")["Pilot"], "breaks up", "Ines")
    (report,) = store.requests()
    told(event, "begin", request=report.id)
    assert of_last() == {crews["Harbour"]}
    hunt = known(store)
    told(event, "answer", hunt=hunt.id, seen=hunt.deeds, who="Singer", what="off broken")
    assert of_last() == set()
    told(event, "close", hunt=hunt.id, seen=hunt.deeds + 1, verdict="gone")
    assert of_last() == {crews["Harbour"]}
    begun(event, store)
    assert of_last() == set()


def test_a_renamed_link_stays_whom_it_was_about(event: TestClient, store: Store) -> None:
    hunt = begun(event, store)
    told(event, "answer", hunt=hunt.id, seen=hunt.deeds, who="Host", what="off broken")
    store.set_field(("link", ids(store, "link")["Host"], "name"), "Host", "Compere", "laptop")
    assert "with Compere off it is still broken" in event.get("/crews/hunts").text
