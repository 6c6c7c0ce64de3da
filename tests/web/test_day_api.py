"""The pages Day and Setting up from outside, without a browser."""

from __future__ import annotations

import csv
import datetime
import io
import json
import re
from typing import Any

import pytest
from fastapi.testclient import TestClient
from tests.web.conftest import HOST, ORIGIN, client_of, demo_into, desk_of_client, planned

from linkwright.desk.moving import late
from linkwright.draw.pocket import Pocket, drawn_pocket
from linkwright.store import Store
from linkwright.web.app import create_app


def calls(client: TestClient) -> list[tuple[str, dict[str, Any]]]:
    return desk_of_client(client).snapshot().document.draft.entries("call")


def day(client: TestClient) -> dict[str, Any]:
    found: dict[str, Any] = client.get("/api/day").json()
    return found


def changes(client: TestClient) -> dict[str, str]:
    """Each link's first change."""
    return {one["link"]: one["change_at"][11:16] for one in reversed(day(client)["batteries"])}


def test_the_page_says_what_the_command_says(demo: TestClient) -> None:
    text = demo.get("/day").text
    assert "8 battery changes, none in a take: Boom at 10:30, Presenter at 10:30" in text
    rows = list(csv.DictReader(io.StringIO(demo.get("/day.csv").text)))
    assert {row["when"] for row in rows} == {"break", "before"}
    assert [row["change_at"] for row in rows] == [one["change_at"] for one in day(demo)["batteries"]]
    assert demo.get("/plan.json").json()["batteries"] == day(demo)["batteries"]


def test_a_call_moves_with_its_breaks_as_one_edit_and_undo_takes_it_back(demo: TestClient) -> None:
    id_, before = calls(demo)[0]
    answered = demo.post("/api/day/move", json={"path": ["call", id_], "minutes": -30})
    assert answered.status_code == 200, answered.text
    _, now = calls(demo)[0]
    assert (now["from"], now["to"]) == ("08:30:00", "12:00:00")
    assert [(one["from"], one["to"]) for one in now["breaks"]] == [("10:00:00", "10:20:00")]
    assert changes(demo)["Boom"] == "10:00"
    assert demo.post("/api/undo").json()["changed"]
    assert calls(demo)[0] == (id_, before)
    assert changes(demo)["Boom"] == "10:30"


def test_a_break_moves_inside_its_call_only(demo: TestClient) -> None:
    id_, _ = calls(demo)[0]
    (break_id,) = desk_of_client(demo).snapshot().document.draft.ids["call", id_, "breaks"]
    path = ["call", id_, "breaks", break_id]
    demo.post("/api/day/move", json={"path": path, "minutes": 60})
    assert changes(demo)["Boom"] == "11:30"
    demo.post("/api/day/move", json={"path": path, "minutes": 1000, "longer": 10})
    assert [(one["from"], one["to"]) for one in calls(demo)[0][1]["breaks"]] == [("12:00:00", "12:30:00")]


def test_a_look_at_another_time_keeps_nothing(demo: TestClient) -> None:
    id_, before = calls(demo)[1]
    revision = desk_of_client(demo).snapshot().document.revision
    asked: dict[str, str | int] = {"path": json.dumps(["call", id_]), "minutes": 90, "longer": 30, "width": 400}
    told = demo.get("/api/day/picture", params=asked).json()
    assert told["svg"].startswith("<svg")
    assert "15:00 to 19:00" in told["svg"]
    assert (desk_of_client(demo).snapshot().document.revision, calls(demo)[1]) == (revision, (id_, before))


@pytest.mark.parametrize(
    ("minutes", "longer", "expected"),
    [
        (600, 0, {"date": None, "from": "23:30:00", "to": "03:00:00", "next_day": True}),
        (700, 0, {"date": "2027-05-15", "from": "01:10:00", "to": "04:40:00", "next_day": None}),
        (-900, 0, {"date": "2027-05-13", "from": "22:30:00", "to": "02:00:00", "next_day": True}),
        (0, 480, {"date": None, "from": "13:30:00", "to": "01:00:00", "next_day": True}),
    ],
)
def test_midnight_is_crossed_and_the_real_day_stays(
    demo: TestClient, minutes: int, longer: int, expected: dict[str, Any]
) -> None:
    """By hand: 13:30 to 17:00 on 14 May, moved."""
    id_, _ = calls(demo)[1]
    answered = demo.post("/api/day/move", json={"path": ["call", id_], "minutes": minutes, "longer": longer})
    assert answered.status_code == 200, answered.text
    _, now = calls(demo)[1]
    assert {key: now.get(key) for key in expected} == expected
    told = day(demo)["calls"]
    (one,) = [call for call in told if call["call"] == "Boiling"]
    began = datetime.datetime.fromisoformat(one["from"])
    was = datetime.datetime.fromisoformat("2027-05-14T13:30:00+01:00")
    assert began - was == datetime.timedelta(minutes=minutes)
    if longer == 0:
        pause = datetime.datetime.fromisoformat(one["breaks"][0]["from"])
        assert pause - began == datetime.timedelta(hours=1, minutes=40), "the break stays where it was in its call"


@pytest.mark.parametrize(
    "body",
    [
        {"path": ["call", "nobody"], "minutes": 5},
        {"path": ["link", "i1"], "minutes": 5},
        {"path": ["call"], "minutes": 5},
        {"path": ["call", "FIRST", "links", "x"], "minutes": 5},
        {"path": ["call", "FIRST"], "longer": -400},
        {"path": ["call", "FIRST"], "longer": 1440, "minutes": 1440, "seen": "07:00:00 08:00:00"},
    ],
)
def test_what_cannot_be_moved_is_one_sentence(demo: TestClient, body: dict[str, Any]) -> None:
    id_, before = calls(demo)[0]
    body["path"] = [id_ if part == "FIRST" else part for part in body["path"]]
    answered = demo.post("/api/day/move", json=body)
    assert answered.status_code in (400, 422)
    assert answered.json()["says"]
    assert calls(demo)[0] == (id_, before)


def test_cells_changed_now_are_counted_from_then_and_kept(demo: TestClient) -> None:
    answered = demo.post("/tick/changed", json={"link": "Boom"})
    assert answered.status_code == 200
    at = datetime.datetime.fromisoformat(answered.json()["at"])
    assert abs((datetime.datetime.now(datetime.UTC) - at).total_seconds()) < 60
    text = demo.get("/day/body").text
    assert f'data-since="{at.isoformat()}"' in text
    assert demo.post("/tick/changed", json={"link": "Boom"}).json()["ran_h"] >= 0.0
    kept = desk_of_client(demo).store.happenings(kinds=["changed"])
    names = desk_of_client(demo).names()
    assert [names.name_of(one.about) for one in kept] == ["Boom", "Boom"]
    assert demo.post("/tick/changed", json={"link": "nobody"}).status_code == 400


def test_the_cells_of_a_listener_have_a_counter_of_their_own(store: Store) -> None:
    from tests.day.test_day_listeners import stage

    from linkwright.shoot.reading import parse_document
    from linkwright.shoot.writing import write_shoot

    store.replace(parse_document(write_shoot(stage()), "stage"), "laptop")
    with client_of(store) as client:
        planned(client)
        text = client.get("/day/body").text
        id_ = re.search(r'data-changed="([^"]*)" aria-label="Changed now: receiver of Hop"', text)
        assert id_ is not None
        said = client.post("/tick/changed", json={"link": id_[1]}).json()
        assert said["says"].startswith("receiver of Hop: cells changed at")
        text = client.get("/day/body").text
        assert text.count("data-since=") == 1, "the link's own transmitter has not been changed"
        assert client.post("/tick/changed", json={"link": "Hop"}).json()["ran_h"] is None
        assert client.get("/live").text.count("receiver of Hop") == 1
        assert "receiver of Hop" in client.get("/day.csv").text
        assert "receiver of Hop at the end" in client.get("/api/day/picture").json()["svg"]


def test_a_logged_run_makes_the_prediction_its_own(demo: TestClient) -> None:
    before = {one["link"]: one["run_h"] for one in day(demo)["links"]}
    for _ in range(3):
        assert demo.post("/api/day/run", json={"link": "Salter", "hours": "3,5"}).status_code == 200
    after = {one["link"]: one for one in day(demo)["links"]}
    assert abs(after["Salter"]["run_h"] - 3.5) < 0.2 < before["Salter"] - 3.5
    assert after["Presenter"]["run_h"] < before["Presenter"], "another of the same type"
    assert (after["Salter"]["evidence"], after["Boom"]["evidence"]) == ("measured", "assumed")
    assert after["Boom"]["run_h"] == before["Boom"], "another type"
    for bad in (
        {"link": "Salter", "hours": "long"},
        {"link": "nobody", "hours": "3"},
        {"link": "Boom", "hours": "0"},
    ):
        assert demo.post("/api/day/run", json=bad).status_code == 400
    assert "3 logged run times" in demo.get("/day").text
    assert "[[run]]" in demo.get("/shoot.toml").text


def test_what_stands_beside_the_shoot_makes_no_new_plan(demo: TestClient) -> None:
    plan = desk_of_client(demo).snapshot().plan
    demo.post("/tick/changed", json={"link": "Boom"})
    planned(demo)
    assert desk_of_client(demo).snapshot().plan is plan


def card(client: TestClient, **asked: str | int) -> dict[str, str]:
    """The step that is shown: its data."""
    text = client.get("/setup/body", params=asked).text
    found = re.search(r'<section class="step-card"[^>]*>', text)
    assert found is not None
    return dict(re.findall(r'data-(\w+)="([^"]*)"', found[0]))


def test_steps_are_ticked_off_in_their_order(demo: TestClient) -> None:
    seen = []
    for _ in range(11):
        at = card(demo, call="Raking", link="Boom")
        seen.append(at["what"])
        answered = demo.post("/tick/step", json={"call": "Raking", "link": "Boom", "key": at["key"]})
        assert answered.status_code == 200, answered.text
        assert re.search(r"done at \d\d:\d\d", answered.json()["says"])
    assert seen == [
        "pair", "sweep", "carrier", "power", "attenuation", "low cut", "delay", "encryption", "battery", "listen",
        "walk",
    ]  # fmt: skip
    assert "Boom is set up" in demo.get("/setup/body", params={"call": "Raking", "link": "Boom"}).text
    desk = desk_of_client(demo)
    kept = desk.store.happenings(kinds=["changed"])
    assert [desk.names().name_of(one.about) for one in kept] == ["Boom"]
    assert card(demo, call="Raking", link="Salter", step=2)["what"] == "sweep"
    assert "Done at" in demo.get("/setup/body", params={"call": "Raking", "link": "Salter", "step": 2}).text, (
        "one sweep of a receiver does for all that it receives"
    )


def test_a_tick_is_cleared_and_a_stale_one_refused(demo: TestClient) -> None:
    at = card(demo, call="Raking", link="Boom")
    demo.post("/tick/step", json={"call": "Raking", "link": "Boom", "key": at["key"]})
    assert "Done at" in demo.get("/setup/body", params={"call": "Raking", "link": "Boom", "step": 1}).text
    demo.post("/tick/step", json={"call": "Raking", "link": "Boom", "key": at["key"], "done": False})
    assert card(demo, call="Raking", link="Boom")["what"] == "pair"
    assert demo.post("/tick/step", json={"call": "Raking", "link": "Boom", "key": "x"}).status_code == 400


def test_what_was_set_otherwise_goes_into_the_shoot_and_is_judged(demo: TestClient) -> None:
    job = desk_of_client(demo)
    spare = demo.get("/plan.json").json()["calls"][0]["links"][0]
    name, mhz = spare["link"], f"{spare['spares_khz'][0] / 1000:.3f}"
    carrier = card(demo, call="Raking", link=name, step=3)
    demo.post("/tick/step", json={"call": "Raking", "link": name, "key": carrier["key"]})
    for what, text in (("carrier", mhz), ("power", "20"), ("encryption", "yes")):
        body = {"call": "Raking", "link": name, "what": what, "text": text}
        assert demo.post("/setup/otherwise", json=body).status_code == 200
    planned(demo)
    now = next(one for one in demo.get("/plan.json").json()["calls"][0]["links"] if one["link"] == name)
    assert (now["carrier_khz"], now["power_mw"]) == (round(1000 * float(mhz)), 20.0)
    text = demo.get("/setup/body", params={"call": "Raking", "link": name}).text
    assert f"on {mhz} MHz with 20 mW" in text
    assert "on at both ends" in text
    step = demo.get("/setup/body", params={"call": "Raking", "link": name, "step": 3}).text
    assert "Not done after all" not in step, "what was ticked off was another value"
    assert [happening.data["what"] for happening in job.store.happenings(kinds=["switched"])] == [
        "carrier",
        "power",
        "encryption",
    ]
    demo.post("/setup/otherwise", json={"call": "Raking", "link": name, "what": "power", "text": ""})
    assert job.snapshot().document.shoot is not None
    assert demo.post("/api/undo").json()["changed"]
    links = job.snapshot().document.draft.document["link"]
    assert next(link for link in links if link["name"] == name)["locked_mw"] == 20


@pytest.mark.parametrize(
    ("what", "text"),
    [
        ("carrier", "many"), ("carrier", "571.12345"), ("carrier", "99999999"), ("power", "7"), ("power", "yes"),
        ("encryption", "perhaps"), ("walk", "1"), ("nothing", "1"), ("attenuation", "-3"), ("carrier", "inf"),
    ],
)  # fmt: skip
def test_what_no_shoot_holds_is_refused_before_it_is_kept(demo: TestClient, what: str, text: str) -> None:
    before = desk_of_client(demo).snapshot().document.revision
    answered = demo.post("/setup/otherwise", json={"call": "Raking", "link": "Boom", "what": what, "text": text})
    assert answered.status_code == 400
    assert answered.json()["says"]
    assert desk_of_client(demo).snapshot().document.revision == before


def test_a_device_that_logs_may_tick_but_not_change_the_shoot(store: Store) -> None:
    demo_into(store)
    token = "t" * 40
    store.add_device("Phone", "log", token, "laptop")
    with client_of(store) as laptop:
        planned(laptop)
        app = create_app(store, frozenset({HOST}))
        phone = TestClient(app, headers=ORIGIN, client=("192.0.2.7", 4711), cookies={"linkwright": token})
        with phone:
            planned(phone)
            at = card(phone, call="Raking", link="Boom")
            ticked = phone.post("/tick/step", json={"call": "Raking", "link": "Boom", "key": at["key"]})
            assert ticked.status_code == 200
            assert phone.post("/tick/changed", json={"link": "Boom"}).status_code == 200
            body = {"call": "Raking", "link": "Boom", "what": "power", "text": "25"}
            assert phone.post("/setup/otherwise", json=body).status_code == 403
            moving = {"path": ["call", "x"], "minutes": 5}
            assert phone.post("/api/day/move", json=moving).status_code == 403
            assert "slider" not in phone.get("/api/day/picture").json()["svg"], "nothing to drag"


def test_a_shoot_without_times_has_a_day_and_steps(store: Store) -> None:
    demo_into(store)
    with client_of(store) as client:
        for _ in calls(client):
            at, revision = calls(client)[0][0], desk_of_client(client).snapshot().document.revision
            client.post("/api/remove", json={"path": ["call", at], "revision": revision})
        planned(client)
        text = client.get("/day").text
        assert "The calls have no times; a fresh set lasts" in text
        assert "day-picture" not in text, "an empty chart asked to be dragged"
        assert card(client, call="Whole shoot", link="Boom")["what"] == "pair"
        assert client.get("/api/day/picture").status_code == 200


def test_thirty_minutes_late_moves_what_is_left_as_one_change(demo: TestClient) -> None:
    before = [value for _, value in calls(demo)]
    told = demo.post("/day/late?minutes=30")
    assert told.status_code == 200, told.text
    assert told.json()["says"] == "30 minutes later: Raking 09:30 to 13:00, Boiling 14:00 to 17:30."
    assert [value["from"] for _, value in calls(demo)] == ["09:30:00", "14:00:00"]
    assert demo.post("/api/undo").json()["changed"]
    assert [value for _, value in calls(demo)] == before, "one tap takes all of it back"


def test_a_call_under_way_ends_later_and_its_coming_breaks_with_it(demo: TestClient) -> None:
    draft = desk_of_client(demo).snapshot().document.draft
    day = datetime.date.fromisoformat(str(draft.at("shoot", "date")))
    under_way = late(draft, 30, datetime.datetime.combine(day, datetime.time(10, 0)))
    (_, _, raking), (_, _, boiling) = under_way
    assert (raking["from"], raking["to"]) == ("09:00:00", "13:00:00")
    assert [one["from"] for one in raking["breaks"]] == ["11:00:00"]
    assert (boiling["from"], boiling["to"]) == ("14:00:00", "17:30:00")
    (_, _, last) = late(draft, 30, datetime.datetime.combine(day, datetime.time(15, 15)))[0]
    assert [one["from"] for one in last["breaks"]] == ["15:10:00"], "a break that has begun stays"
    assert late(draft, 30, datetime.datetime.combine(day, datetime.time(18, 0))) == []


def test_the_pocket_card_is_a_picture_with_every_carrier(demo: TestClient) -> None:
    card = demo.get("/pocket.png")
    assert card.headers["content-type"] == "image/png"
    assert card.content.startswith(b"\x89PNG")
    many = [Pocket(f"Somebody with a long name {n}", f"5{n:02d}.125", ("530.000",)) for n in range(60)]
    svg = drawn_pocket("Sixty", many)
    assert "and 46 more" in svg
    assert "501.125" in svg
