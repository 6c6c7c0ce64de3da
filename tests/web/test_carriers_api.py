"""A carrier is planned, then set, then heard: from outside, by the pages' own addresses."""

from __future__ import annotations

import html
import re
from typing import Any

import pytest
from fastapi.testclient import TestClient
from tests.web.conftest import desk_of_client, planned

from linkwright.plan.model import PlannedLink
from linkwright.plan.what_if import outcomes

LINK = "Salter"


def planned_link(demo: TestClient, name: str = LINK) -> PlannedLink:
    """What the newest plan gives a link in its first call."""
    planned(demo)
    plan = desk_of_client(demo).snapshot().planned().plan
    return next(link for call in plan.calls for link in call.links if link.link == name)


def field(demo: TestClient, key: str) -> Any:
    """A field of the link as it is typed."""
    snapshot = desk_of_client(demo).snapshot()
    return snapshot.document.draft.at("link", snapshot.names.id_of("link", LINK), key)


def move(demo: TestClient, khz: int, **more: Any) -> dict[str, Any]:
    """Ask for another carrier."""
    answered = demo.post("/carrier/move", json={"link": LINK, "khz": khz, **more})
    assert answered.status_code == 200, answered.text
    told: dict[str, Any] = answered.json()
    return told


def test_a_move_before_anything_is_set_has_nothing_to_be_done(demo: TestClient) -> None:
    spare = planned_link(demo).spares_khz[0]
    assert "be done" not in move(demo, spare)["says"][0]
    assert planned_link(demo).carrier_khz == spare
    assert "to be done" not in demo.get("/carrier/waiting").text


def test_a_move_on_the_day_stays_to_be_done_until_both_ends_sound_clean(demo: TestClient) -> None:
    before = planned_link(demo)
    spare = before.spares_khz[0]
    told = move(demo, spare, on=True)["says"][0]
    assert f"{before.carrier} to {before.shown(spare)}" in told
    assert "Tell" in told
    assert planned_link(demo).carrier_khz == spare
    assert f"{before.carrier} → {before.shown(spare)}" in demo.get("/carrier/waiting").text
    for act in ("receiver", "listened", "transmitter"):
        assert demo.post("/tick/carrier", json={"link": LINK, "khz": spare, "act": act}).status_code == 200
        assert field(demo, "set_mhz") == before.carrier_khz / 1000
    assert demo.post("/tick/carrier", json={"link": LINK, "khz": spare, "act": "heard"}).status_code == 200
    assert field(demo, "set_mhz") == spare / 1000
    assert field(demo, "heard_at")
    assert "to be done" not in demo.get("/carrier/waiting").text
    assert demo.post("/tick/carrier", json={"link": LINK, "khz": spare, "act": "all"}).status_code == 400


def test_the_old_carrier_is_nobodys_until_the_tick(demo: TestClient) -> None:
    """It became somebody's spare at once, while the transmitter still was on it."""
    before = planned_link(demo)
    spare = before.spares_khz[0]
    move(demo, spare, on=True)
    planned(demo)
    snapshot = desk_of_client(demo).snapshot()
    made = snapshot.planned()
    call = made.plan.calls[0]
    near = {
        khz
        for link in call.links
        for khz in (link.carrier_khz, *link.spares_khz)
        if abs(khz - before.carrier_khz) < 200
    }
    assert not near
    neighbour = next(link.link for link in call.links if link.link != LINK)
    then = outcomes(made.scene, made.plan, {neighbour: before.carrier_khz}, frozenset({call.call}))
    assert next((one.verdict for one in then if one.link == neighbour), "fails") == "fails"


def test_who_was_fled_from_keeps_the_carrier_until_somebody_listened(demo: TestClient) -> None:
    before = planned_link(demo)
    spare = before.spares_khz[0]
    move(demo, spare, on=True, fled=True)
    demo.post("/tick/carrier", json={"link": LINK, "khz": spare})
    planned(demo)
    call = desk_of_client(demo).snapshot().planned().plan.calls[0]
    offered = {khz for link in call.links for khz in (link.carrier_khz, *link.spares_khz)}
    assert before.carrier_khz not in offered
    assert f"Somebody is on {before.carrier_khz / 1000:.3f} MHz" in demo.get("/carrier/waiting").text
    snapshot = desk_of_client(demo).snapshot()
    other = snapshot.document.draft.entries("other")[-1][0]
    assert demo.post("/carrier/free", json={"other": other}).status_code == 200
    assert "Somebody is on" not in demo.get("/carrier/waiting").text
    assert demo.post("/carrier/free", json={"other": other}).status_code == 400


def test_one_undo_takes_a_flight_back_whole(demo: TestClient) -> None:
    before = planned_link(demo)
    others = len(desk_of_client(demo).snapshot().document.draft.entries("other"))
    move(demo, before.spares_khz[0], on=True, fled=True)
    assert len(desk_of_client(demo).snapshot().document.draft.entries("other")) == others + 1
    demo.post("/api/undo")
    after = planned_link(demo)
    assert (after.carrier_khz, after.spares_khz) == (before.carrier_khz, before.spares_khz)
    assert (field(demo, "locked_mhz"), field(demo, "set_mhz")) == (None, None)
    assert len(desk_of_client(demo).snapshot().document.draft.entries("other")) == others


@pytest.mark.parametrize(
    ("url", "body"),
    [
        ("/carrier/move", {"link": "Nobody", "khz": 571_000}),
        ("/tick/carrier", {"link": "Nobody", "khz": 571_000}),
        ("/tick/carrier", {"link": LINK, "khz": 571_000}),
        ("/carrier/free", {"other": "none"}),
    ],
)
def test_what_is_not_there_gets_a_sentence(demo: TestClient, url: str, body: dict[str, Any]) -> None:
    answered = demo.post(url, json=body)
    assert answered.status_code == 400
    assert answered.json()["says"]


def test_a_tick_at_set_up_is_a_tick_of_both_ends(demo: TestClient) -> None:
    """The step of the carrier says the same as the move: the old carrier is free then."""
    spare = planned_link(demo).spares_khz[0]
    move(demo, spare, on=True)
    planned(demo)
    snapshot = desk_of_client(demo).snapshot()
    call = snapshot.planned().plan.calls[0].call
    body = demo.get("/setup/body", params={"call": call, "link": LINK, "step": 3}).text
    key = html.unescape(re.findall(r'data-key="([^"]+)"', body)[0])
    assert f"{spare / 1000:.3f}" in key
    answered = demo.post("/tick/step", json={"call": call, "link": LINK, "key": key, "done": True})
    assert answered.status_code == 200
    assert field(demo, "set_mhz") == spare / 1000
    assert "to be done" not in demo.get("/carrier/waiting").text
