"""The page Live from outside: readings in, states and alarms out, spares proved, switches kept, restarts."""

from __future__ import annotations

import datetime
import json
import re
import time
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient
from tests.web.conftest import HOST, client_of, demo_into, desk_of_client, planned
from tests.web.event import document

from linkwright.desk import kept_readings
from linkwright.desk.watching import Watching
from linkwright.store import Store

START = datetime.datetime(2027, 5, 14, 8, 30, tzinfo=datetime.UTC)  # half past nine in London: Raking is on


def watching_of(client: TestClient) -> Watching:
    return desk_of_client(client).watching


def record(link: str, second: float, **more: Any) -> dict[str, Any]:
    at = (START + datetime.timedelta(seconds=second)).isoformat()
    return {"time": at, "link": link, "rf_a_dbm": -60.0, "rf_b_dbm": -63.0, "quality": 1.0, "audio_dbfs": -25.0,
            "battery": 0.8, "muted": 0, **more}  # fmt: skip


def send(client: TestClient, records: list[dict[str, Any]]) -> dict[str, Any]:
    answered = client.post(
        "/log/readings", content=json.dumps(records), headers={"content-type": "application/json"}
    )
    assert answered.status_code == 200, answered.text
    found: dict[str, Any] = answered.json()
    return found


def eventually(true: Any, seconds: float = 60.0) -> None:
    for _ in range(round(seconds / 0.05)):
        if true():
            return
        time.sleep(0.05)
    raise AssertionError("it did not come")


def row_of(client: TestClient, link: str) -> list[Any]:
    told = client.get("/api/live").json()
    row: list[Any] = told["rows"][told["names"].index(link)] if link in told["names"] else ["not there yet"]
    return row


def test_what_a_receiver_says_stands_on_the_page(demo: TestClient) -> None:
    assert "No readings come in" in demo.get("/live").text
    records = [record("Raker", 0.1 * n) for n in range(20)]
    assert send(demo, records)["taken"] == 20

    def known() -> bool:
        send(demo, records)  # what was said more than three seconds ago is no reading any more
        row = row_of(demo, "Raker")
        return row[0] == "holds" and row[8] is not None

    eventually(known)
    row = row_of(demo, "Raker")
    assert row[5:8] == [100, -25, 80]
    planned = next(one for one in demo.get("/plan.json").json()["calls"][0]["links"] if one["link"] == "Raker")
    taken = planned["noise_and_interference_dbm"] + planned["required_cnr_db"] + planned["fading_db"]
    assert row[8] == pytest.approx(-60.0 - taken, abs=0.06)
    eventually(lambda: row_of(demo, "Stoker")[0] == "not on now")  # of the afternoon's call
    assert row_of(demo, "Salter")[0] == "no readings"
    assert "says nothing" in demo.get("/live/alarms").text or "say nothing" in demo.get("/live/alarms").text


@pytest.mark.parametrize(
    ("body", "reason"),
    [
        (b"[", "not JSON"),
        (b'{"link": "A"}', "time"),
        (b'{"time": "2027-05-14T08:00:00", "link": "A"}', "offset"),
        (b'{"time": "2027-05-14T08:00:00Z", "link": "A", "rf_a_dbm": 1e9}', "rf_a_dbm"),
        (b"\xff\xfe", "UTF-8"),
        (b'{"time": "2027-05-14T08:00:00Z", "link": "A", "rf_c": 1}', "rf_c"),
    ],
)
def test_bad_readings_are_refused_with_a_reason(demo: TestClient, body: bytes, reason: str) -> None:
    answered = demo.post("/log/readings", content=body, headers={"content-type": "application/json"})
    assert answered.status_code == 200
    assert answered.json()["taken"] == 0
    assert reason in " ".join(answered.json()["reasons"])


def test_programs_may_send_readings_and_other_pages_may_not(store: Store) -> None:
    demo_into(store)
    with client_of(store) as client:
        body = json.dumps(record("Raker", 0))
        bare = TestClient(client.app, headers={"host": HOST})
        del bare.headers["user-agent"]
        kind = {"content-type": "application/json"}
        assert bare.post("/log/readings", content=body, headers=kind).status_code == 200
        assert bare.post("/log/readings", content=body, headers={"content-type": "text/plain"}).status_code == 403
        evil = {**kind, "origin": "http://elsewhere.example"}
        assert bare.post("/log/readings", content=body, headers=evil).status_code == 403
        assert bare.post("/log/happen", content="{}", headers=kind).status_code == 403


def test_who_listens_has_a_tile_by_name_with_the_carrier_of_the_link(store: Store) -> None:
    from tests.day.test_day_listeners import stage

    from linkwright.shoot.reading import parse_document
    from linkwright.shoot.writing import write_shoot

    store.replace(parse_document(write_shoot(stage()), "stage"), "laptop")
    with client_of(store) as client:
        planned(client)
        heard = [record("Band", 0.1 * n, listener="Wedge") for n in range(50)]
        assert send(client, heard)["taken"] == 50
        link = desk_of_client(client).snapshot().plan.calls[0].links[0]  # type: ignore[union-attr]

        def shown() -> bool:
            text = client.get("/live").text
            at = text.find("Wedge of Band")
            return at >= 0 and f"{link.carrier_khz / 1000:.3f}" in text[at : at + 1500]

        eventually(shown)


def test_a_fault_becomes_an_alarm_with_cause_and_next_step_and_is_acknowledged(demo: TestClient) -> None:
    good = [record("Raker", 0.1 * n) for n in range(300)]
    dead = [record("Raker", 30 + 0.1 * n, audio_dbfs=-100.0, muted=0) for n in range(200)]
    gone = [
        record("Raker", 50 + 0.1 * n, rf_a_dbm=-110.0, rf_b_dbm=-110.0, quality=0.0, muted=1, battery=0.8)
        for n in range(150)
    ]
    send(demo, good)
    send(demo, dead)
    send(demo, gone)
    eventually(lambda: watching_of(demo).shown())
    text = demo.get("/live/alarms").text
    assert "Raker:" in text
    assert "% sure" in text
    key = watching_of(demo).shown()[0].key
    answered = demo.post("/log/acknowledge", json={"key": key})
    assert answered.status_code == 200
    assert "acknowledged" in demo.get("/live/happened").text
    assert demo.post("/log/acknowledge", json={"key": "no"}).status_code == 400


def test_spares_are_proved_now(demo: TestClient) -> None:
    send(demo, [record("Presenter", 0.1 * n) for n in range(20)])
    eventually(lambda: row_of(demo, "Presenter")[0] == "holds")
    text = demo.get("/live/spare", params={"link": "Presenter"}).text
    plan = desk_of_client(demo).snapshot().planned().plan
    spares = next(link.spares_khz for link in plan.calls[0].links if link.link == "Presenter")
    for khz in spares:
        assert f"{khz / 1000:.3f}" in text
    assert "holds" in text
    assert demo.get("/live/spare", params={"link": "Nobody"}).status_code == 400


def test_takes_count_themselves_and_notes_are_text(demo: TestClient) -> None:
    assert demo.post("/log/happen", json={"kind": "take", "text": "Take 1"}).json()["next_take"] == 2
    demo.post("/log/happen", json={"kind": "note", "text": "<b>guest</b> arrives"})
    text = demo.get("/live/happened").text
    assert "Take 1" in text
    assert "&lt;b&gt;guest&lt;/b&gt; arrives" in text
    assert ">Take 2<" in demo.get("/live").text
    assert demo.post("/log/happen", json={"kind": "note", "text": " "}).status_code == 400
    assert demo.post("/log/happen", json={"kind": "other", "text": "x"}).status_code == 422


def test_a_restart_forgets_no_reading(tmp_path: Path) -> None:
    with Store.open(tmp_path / "job.lwjob", create=True) as store:
        demo_into(store)
        with client_of(store) as client:
            planned(client)
            send(client, [record("Raker", 0.1 * n) for n in range(50)])
            eventually(lambda: row_of(client, "Raker")[0] == "holds")
        assert len(kept_readings.kept(store)) == 1
        (batch,) = kept_readings.newest(store, 5)
        assert len(batch) == 50
        names = [desk_of_client(client).names().name_of(link) for link in batch.names]
        assert names == ["Raker"]
        with client_of(store) as client:
            planned(client)
            eventually(lambda: watching_of(client).watched())


def test_simulated_readings_come_in_and_stop(demo: TestClient) -> None:
    assert "invented" in demo.post("/live/try", json={"what": "start"}).json()["says"][0]
    eventually(lambda: row_of(demo, "Raker")[0] in ("holds", "thin", "fails"))
    assert demo.post("/live/try", json={"what": "stop"}).status_code == 200


def test_the_time_since_cells_were_changed_is_told(demo: TestClient) -> None:
    send(demo, [record("Raker", 0.0)])
    eventually(lambda: row_of(demo, "Raker")[0] != "not there yet")
    assert demo.post("/tick/changed", json={"link": "Raker"}).status_code == 200
    told = demo.get("/api/live").json()
    cells = {tile["name"]: tile["cells"] for tile in told["tiles"]}
    assert cells["Raker"] == "cells in for 0 min"
    assert cells["Salter"] == ""


def test_nothing_to_play_without_a_plan(empty: TestClient) -> None:
    assert empty.post("/live/try", json={"what": "start"}).status_code == 400
    assert "No link yet" in empty.get("/live").text


def test_a_level_is_taken_as_measured_and_the_plan_follows(demo: TestClient) -> None:
    """What the receiver says for ten seconds outranks the model at the spot."""
    made = desk_of_client(demo).snapshot().planned()
    before = next(link for call in made.plan.calls for link in call.links if link.link == "Raker")
    id_ = made.names.id_of("link", "Raker")

    def sent() -> bool:
        send(demo, [record("Raker", 0.1 * n, rf_a_dbm=-85.0, rf_b_dbm=-86.0) for n in range(40)])
        return watching_of(demo).level_dbm(id_, 10.0) is not None

    eventually(sent)
    answered = demo.post("/live/level", json={"link": id_, "spot": "Sluice"})
    assert answered.status_code == 200, answered.text
    assert answered.json()["says"] == ["Raker at Sluice: -85 dBm taken as measured; the plan follows."]
    planned(demo)
    shoot = desk_of_client(demo).snapshot().shoot
    assert shoot is not None
    (level,) = next(site for site in shoot.site if site.name == "Pans").measured_level
    assert (level.link, level.spot, level.dbm, level.seconds) == ("Raker", "Sluice", -85.0, 10.0)
    after = next(
        link for call in desk_of_client(demo).snapshot().planned().plan.calls for link in call.links
        if link.link == "Raker"
    )  # fmt: skip
    assert after.power_mw > before.power_mw, "the model had it 25 dB stronger"
    told = demo.get("/api/ground/site", params={"site": "Pans"}).json()
    assert [(level["link"], level["dbm"]) for level in told["levels"]] == [("Raker", -85.0)]


def test_without_a_level_there_is_nothing_to_take(demo: TestClient) -> None:
    answered = demo.post("/live/level", json={"link": "Raker", "spot": "Sluice"})
    assert answered.status_code == 400
    assert "no level has come from this link" in answered.text


def test_an_answer_of_one_tap_is_evidence_is_said_and_can_be_taken_back(demo: TestClient) -> None:
    desk = desk_of_client(demo)
    send(demo, [record("Raker", 0.1 * n) for n in range(300)])
    off = {"rf_a_dbm": -112.0, "rf_b_dbm": -112.0, "quality": 0.0, "muted": 1}
    send(demo, [record("Raker", 30.0 + 0.1 * n, **off) for n in range(100)])
    eventually(lambda: desk.watching.shown())
    (alarm,) = desk.watching.shown()
    before = dict(alarm.episode.causes)
    said = demo.post("/log/answer", json={"key": alarm.key, "was": "receiver"}).json()["says"]
    assert "says that it was: power of the receivers" in said[0]
    (after,) = desk.watching.shown()
    assert after.key == alarm.key
    assert after.episode.cause == "receiver"
    assert dict(after.episode.causes)["receiver"] > before.get("receiver", 0.0)
    page = demo.get("/live/alarms").text
    assert "says that it was: power of the receivers" in page
    assert "Take the answer back" in page
    assert desk.watching._watcher.likelier["receiver"] > 1.0
    assert any(
        "says that it was" in happening.data["text"] for happening in desk.store.happenings(kinds=["answered"])
    )
    assert demo.post("/log/answer", json={"key": alarm.key}).json()["says"] == ["The answer was taken back."]
    (back,) = desk.watching.shown()
    assert dict(back.episode.causes) == pytest.approx(before, abs=0.2)
    assert not back.answered
    assert demo.post("/log/answer", json={"key": alarm.key, "was": "magic"}).status_code == 400
    assert demo.post("/log/answer", json={"key": "nobody.body", "yes": True}).status_code == 400


def test_calls_at_the_same_time_at_two_sites_are_all_on(store: Store) -> None:
    typed = document()
    for call in typed["call"]:
        call |= {"from": "09:00:00", "to": "12:00:00"}
    store.replace(typed, "laptop")
    with client_of(store) as client:
        planned(client)
        state = client.get("/api/live").json()
        assert [(name, tile["off"]) for name, tile in zip(state["names"], state["tiles"], strict=True)] == [
            ("Host", ""), ("Pilot", ""), ("Singer", ""),
        ]  # fmt: skip
        assert state["left"].startswith("Two calls begin at 09:00")
        for id_ in state["ids"]:
            assert client.get("/live/spare", params={"link": id_}).status_code == 200, "each by its own call"
        svg = client.get("/api/day/picture").json()["svg"]
        tops = [float(y) for y in re.findall(r'y="([\d.]+)"[^>]*>(?:Opening|Concert)<', svg)]
        assert abs(tops[0] - tops[1]) > 40.0, "they stand under each other"
