"""One desk: what a page shows comes from one moment, and nothing that fails behind it fails without a word.

Each test is something that a new user saw go wrong.
"""

from __future__ import annotations

import json
import re
import time
from typing import Any

import pytest
from fastapi.testclient import TestClient
from tests.web.conftest import HOST, client_of, demo_into, desk_of_client, planned
from tests.web.test_live_api import eventually, record, row_of, send

from linkwright.desk.desk import WORKS
from linkwright.desk.expecting import expected_of
from linkwright.store import Store
from linkwright.units import number_word
from linkwright.watch.diagnose.watcher import Watcher
from linkwright.watch.log.record import Batch, reading_from


def id_of(client: TestClient, name: str, kind: str = "link") -> str:
    return desk_of_client(client).names().id_of(kind, name)


def put(client: TestClient, path: list[str], text: str) -> dict[str, Any]:
    seen = json.dumps(desk_of_client(client).store.document().at(*path))
    answered = client.post("/api/field", json={"path": path, "seen": seen, "text": text})
    assert answered.status_code == 200, answered.text
    found: dict[str, Any] = answered.json()
    return found


def rename(client: TestClient, name: str, new: str, kind: str = "link") -> dict[str, Any]:
    return put(client, [kind, id_of(client, name, kind), "name"], new)


def gone(link: str, first: float, seconds: float) -> list[dict[str, Any]]:
    """A link that vanishes while its gauge is fine."""
    level = {"rf_a_dbm": -112.0, "rf_b_dbm": -112.0, "quality": 0.0, "muted": 1}
    return [record(link, first + 0.1 * n, **level) for n in range(round(10 * seconds))]


def fine(link: str, first: float, seconds: float) -> list[dict[str, Any]]:
    return [record(link, first + 0.1 * n) for n in range(round(10 * seconds))]


def test_a_rename_does_not_end_the_watch_and_live_keeps_its_tile(demo: TestClient) -> None:
    send(demo, fine("Raker", 0, 30))
    eventually(lambda: row_of(demo, "Raker")[0] == "holds")
    before = demo.get("/api/live").json()
    rename(demo, "Raker", "Rake")
    rename(demo, "Raking", "The raking", "call")
    send(demo, gone("Raker", 30, 30))  # the receiver still says the old name
    eventually(lambda: desk_of_client(demo).watching.shown())
    after = demo.get("/api/live").json()
    assert after["ids"] == before["ids"]
    assert len(after["names"]) == len(before["names"])
    assert after["names"][after["ids"].index(id_of(demo, "Rake"))] == "Rake"
    assert "Rake: switched off" in demo.get("/live/alarms").text
    planned(demo)
    send(demo, fine("Rake", 60, 20))
    eventually(lambda: not any(alarm.open for alarm in desk_of_client(demo).watching.shown()))
    assert not [work.state.fault for work in desk_of_client(demo).works.values() if work.state.fault]


def test_a_rename_is_followed_and_taken_back_as_one(demo: TestClient) -> None:
    store = desk_of_client(demo).store
    before = store.document().document
    told = rename(demo, "Raker", "Rake")
    assert told["did"] == ["name of Rake: Rake, was Raker, and 1 more with it."]
    after = store.document().document
    named = [call["links"] for call in after["call"] if call.get("links")]
    assert any("Rake" in links for links in named)
    assert not any("Raker" in links for links in named)
    assert desk_of_client(demo).snapshot().document.whole
    told = demo.post("/api/undo").json()
    assert told["did"][0].startswith("Taken back: name of Raker: Raker, was Rake")
    assert store.document().document == before


def test_a_spot_that_is_renamed_stays_on_its_routes(demo: TestClient) -> None:
    draft = desk_of_client(demo).store.document()
    link, entry = next((id_, one) for id_, one in draft.entries("link") if one.get("route"))
    spot = entry["route"][0]
    site, id_ = next(
        (site, id_) for site, _ in draft.entries("site") for id_, one in draft.entries("site", site, "spots")
        if one["name"] == spot
    )  # fmt: skip
    put(demo, ["site", site, "spots", id_, "name"], "The new spot")
    assert "The new spot" in desk_of_client(demo).store.document().at("link", link, "route")
    assert desk_of_client(demo).snapshot().document.whole


def test_ticks_stay_with_a_link_that_is_renamed(demo: TestClient) -> None:
    body = demo.get("/setup/body", params={"link": "Raker"}).text
    for _ in range(3):
        key = re.search(r'data-key="([^"]+)"', body)
        call = re.search(r'data-call="([^"]+)"', body)
        assert key is not None
        assert call is not None
        ticking = {"call": call[1], "link": id_of(demo, "Raker"), "key": key[1]}
        assert demo.post("/tick/step", json=ticking).status_code == 200
        body = demo.get("/setup/body", params={"link": id_of(demo, "Raker")}).text
    assert "3 of 11 steps of Raker are done" in body
    rename(demo, "Raker", "Rake")
    planned(demo)
    assert "3 of 11 steps of Rake are done" in demo.get("/setup/body", params={"link": id_of(demo, "Rake")}).text


def test_two_taps_on_done_log_one_change_of_cells(demo: TestClient) -> None:
    ids = {"call": id_of(demo, "Raking", "call"), "link": id_of(demo, "Raker")}
    for number in range(1, 12):
        body = demo.get("/setup/body", params={**ids, "step": number}).text
        if '<h2 id="h-step">Battery</h2>' in body:
            break
    found = re.search(r'data-key="([^"]+)"', body)
    assert found is not None
    for once in ("one", "one", "two"):
        demo.post("/tick/step", json={**ids, "key": found[1]}, headers={"x-once": once})
    assert len(desk_of_client(demo).store.happenings(kinds=["changed"])) == 1


def test_a_tap_does_not_restart_the_watch_and_alarms_are_those_of_diagnose(demo: TestClient) -> None:
    desk, records = desk_of_client(demo), []
    for part in (fine("Raker", 0, 30), gone("Raker", 30, 10), gone("Raker", 40, 10), gone("Raker", 50, 10)):
        records += part
        send(demo, part)
        time.sleep(0.3)
        demo.post("/log/happen", json={"kind": "take", "text": "Take"})
        demo.post("/log/happen", json={"kind": "note", "text": "Guest arrives"})
        demo.post("/tick/changed", json={"link": "Salter"})
    eventually(
        lambda: desk.watching.shown() and desk.watching._newest_ns() >= Batch.of(read(records)).time_ns.max()
    )
    eventually(lambda: desk.watching._came.empty())
    time.sleep(0.3)
    made = desk.snapshot().planned()
    alone = Watcher(expected_of(made.scene, made.plan))
    alone.add(Batch.of(read(records)))
    shown = [
        (desk.names().name_of(one.episode.link), one.episode.cause, one.times) for one in desk.watching.shown()
    ]
    assert shown == [(episode.link, episode.cause, 1) for episode in alone.episodes()]


def read(records: list[dict[str, Any]]) -> list[Any]:
    return [reading_from(one, "a record") for one in records]


def test_a_new_plan_ends_no_open_episode(demo: TestClient) -> None:
    desk = desk_of_client(demo)
    send(demo, fine("Raker", 0, 30) + gone("Raker", 30, 10))
    eventually(lambda: desk.watching.shown())
    number = desk.watching.shown()[0].episode.number
    put(demo, ["link", id_of(demo, "Salter"), "spares"], "2")
    planned(demo)
    send(demo, gone("Raker", 40, 10))
    time.sleep(0.6)
    (alarm,) = desk.watching.shown()
    assert (alarm.episode.number, alarm.times, alarm.open) == (number, 1, True)


def test_a_new_link_empties_nothing_until_it_is_complete(demo: TestClient) -> None:
    plan = demo.get("/plan.json").json()
    told = demo.post("/api/entry", json={"path": ["link"], "value": {"name": "Guest"}}).json()
    assert told["problems"] > 0
    assert demo.get("/plan.json").json() == plan
    assert "Guest is left out until it is complete" in demo.get("/plan").text
    for name, words in (
        ("air", "carriers at Pans are clean"),
        ("ground", "hold"),
        ("sound", "dBFS"),
        ("day", "change"),
        ("setup", "ready"),
    ):
        answer = re.search(r'id="answer"[^>]*>([^<]*)<', demo.get(f"/{name}").text)
        assert answer is not None
        assert words in answer[1], name
    assert "thing still to fix; everything else" in demo.get("/shoot").text
    assert "Nothing." not in demo.get("/shoot/body").text.split("Still to fix")[1]


def test_one_name_that_is_too_long_spoils_nothing_else(demo: TestClient) -> None:
    plan = demo.get("/plan.json").json()
    rename(demo, "Raker", "R" * 90)
    snapshot = desk_of_client(demo).snapshot()
    assert snapshot.shoot is not None
    assert "Raker" in [link.name for link in snapshot.shoot.link]
    assert "is taken as it was before" in demo.get("/plan").text
    time.sleep(1.0)
    assert demo.get("/plan.json").json() == plan
    rename(demo, "Raker", "Rake")  # and from there on, whatever stood there in between
    assert desk_of_client(demo).snapshot().document.whole


def test_the_plan_is_there_at_once_after_a_restart_whole_shoot_or_not(store: Store) -> None:
    demo_into(store)
    with client_of(store) as client:
        planned(client)
        plan = client.get("/plan.json").json()
        client.post("/api/entry", json={"path": ["link"], "value": {"name": "Guest"}})
    with client_of(store) as client:
        assert client.get("/plan.json").json() == plan
        assert "Guest is left out" in client.get("/plan").text


def test_a_plan_that_is_older_than_the_shoot_says_so(demo: TestClient, monkeypatch: pytest.MonkeyPatch) -> None:
    def waits(*_: Any, **__: Any) -> Any:
        time.sleep(3.0)
        raise AssertionError("it was let go on")

    monkeypatch.setattr("linkwright.desk.planning.planned_apart", waits)
    rename(demo, "Raker", "Rake")
    text = demo.get("/plan").text
    assert re.search(r"The plan is as of \d\d:\d\d, before Raker was renamed to Rake\.", text)


def test_a_headline_is_of_the_very_table_under_it(demo: TestClient) -> None:
    there = demo.get("/api/ground/site", params={"site": "Pans"}).json()
    weakest = min(there["margins"], key=lambda one: one["in_hand"])
    assert f"the weakest, {weakest['link']} is short by" in there["answer"]
    assert f"dB at {weakest['at']}." in there["answer"]
    assert there["answer"] in demo.get("/ground", params={"site": "Pans"}).text
    holding = {one["link"] for one in there["margins"]} - {
        one["link"] for one in there["margins"] if one["verdict"] != "holds"
    }
    assert there["answer"].startswith(f"{number_word(len(holding)).capitalize()} of ")


def test_a_device_that_joined_is_counted(store: Store) -> None:
    with client_of(store, lan_urls=("http://192.0.2.9:8037",)) as client:
        assert "no device" in client.get("/connect").text
        store.add_device("Phone", "look", "x" * 40, "laptop")
        assert "one device has joined" in client.get("/connect").text


def test_a_dead_feed_is_told_and_not_the_last_verdict(demo: TestClient) -> None:
    send(demo, fine("Raker", 0, 30) + gone("Raker", 30, 20))
    eventually(lambda: "Raker: switched off" in demo.get("/live/alarms").text)
    eventually(lambda: "No readings since 09:30:49." in demo.get("/live/alarms").text)  # on the shoot's clock


def test_removing_a_site_says_what_goes_along_and_is_taken_back(demo: TestClient) -> None:
    store = desk_of_client(demo).store
    before, site = store.document().document, id_of(demo, "Pans", "site")
    along = demo.get("/api/remove", params={"path": json.dumps(["site", site])}).json()["along"]
    assert any("call" in one for one in along)
    assert any("spot" in one for one in along)
    told = demo.post("/api/remove", json={"path": ["site", site], "revision": store.revision}).json()
    assert told["changed"]
    assert not [call for _, call in store.document().entries("call") if call.get("site") == "Pans"]
    told = demo.post("/api/take-back", json={"revision": told["change"]}).json()
    assert told["did"][0].startswith("Taken back")
    assert store.document().document == before


def test_removing_a_link_takes_it_out_of_its_calls(demo: TestClient) -> None:
    store, link = desk_of_client(demo).store, id_of(demo, "Raker")
    told = demo.post("/api/remove", json={"path": ["link", link], "revision": store.revision}).json()
    assert told["problems"] == 0
    eventually(lambda: "Raker" not in demo.get("/api/live").json()["names"])  # and leaves no ghost


def test_the_history_tells_who_what_from_to_and_takes_any_back(demo: TestClient) -> None:
    rename(demo, "Raker", "Rake")
    put(demo, ["link", id_of(demo, "Salter"), "spares"], "2")
    text = demo.get("/history").text
    for words in ("laptop", "name of Rake", "Raker", "spares of Salter", "Take back"):
        assert words in text
    revision = min(map(int, re.findall(r'data-revision="(\d+)" aria-label="Take back: name', text)))
    assert demo.post("/api/take-back", json={"revision": revision}).json()["changed"]
    assert "Raker" in [link["name"] for link in desk_of_client(demo).store.document().document["link"]]
    assert "taken back" in demo.get("/history/body").text
    assert demo.post("/api/take-back", json={"revision": revision}).json()["did"] == [
        "That was taken back already."
    ]


def test_what_is_sent_again_is_done_once(demo: TestClient) -> None:
    entry = {"path": ["link"], "value": {"name": "Guest"}}
    first = demo.post("/api/entry", json=entry, headers={"x-once": "a"})
    second = demo.post("/api/entry", json=entry, headers={"x-once": "a"})
    assert first.json() == second.json()
    assert [one["name"] for _, one in desk_of_client(demo).store.document().entries("link")].count("Guest") == 1
    for _ in range(2):
        demo.post("/log/happen", json={"kind": "take", "text": "Take 1"}, headers={"x-once": "t"})
    assert len(desk_of_client(demo).store.happenings(kinds=["take"])) == 1


def test_a_note_that_was_sent_before_a_restart_and_again_after_it_is_kept_once(store: Store) -> None:
    for _ in range(2):
        with client_of(store) as client:
            client.post("/log/happen", json={"kind": "note", "text": "x"}, headers={"x-once": "n"})
    assert len(store.happenings(kinds=["note"])) == 1


class Injected(Exception):
    """A fault that nobody expected."""


def fails(*_: Any, **__: Any) -> Any:
    raise Injected


def play(client: TestClient) -> None:
    client.post("/live/try", json={"what": "start"})


#: How each kind of work is made to fail: what is replaced, and what begins it.
FAULTS: dict[str, tuple[str, Any]] = {
    "preparing": ("", lambda client: desk_of_client(client).works["preparing"].begin(fails)),
    "planning": ("linkwright.desk.planning.planned_apart", lambda client: client.post("/plan/again?how=fresh")),
    "looking": ("linkwright.watch.figures.board.Board.look", lambda _client: None),
    "judging": ("linkwright.watch.diagnose.watcher.Watcher.add", lambda client: send(client, fine("Raker", 0, 1))),
    "listening": ("", lambda client: desk_of_client(client).works["listening"].begin(fails)),
    "wrapping": ("", lambda client: desk_of_client(client).works["wrapping"].begin(fails)),
    "laying": ("", lambda client: desk_of_client(client).works["laying"].begin(fails)),
    "playing": (
        "linkwright.desk.playing.simulate",
        lambda client: client.post("/live/try", json={"what": "start"}),
    ),
    "mqtt": ("", lambda client: desk_of_client(client).works["mqtt"].begin(fails)),
    "osc": ("", lambda client: desk_of_client(client).works["osc"].begin(fails)),
    "fitting": ("", lambda client: desk_of_client(client).works["fitting"].begin(fails)),
    "hunting": (
        "linkwright.plan.hunt.narrowing.hunt",
        lambda client: client.post(
            "/crews/hunts/begin", json={"link": desk_of_client(client).store.document().entries("link")[0][0]}
        ),
    ),
    "airing": ("linkwright.desk.airing.Airing.turn", lambda _client: None),
}


@pytest.mark.parametrize("name", FAULTS)
def test_a_fault_behind_the_page_is_told_and_the_rest_goes_on(
    demo: TestClient, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture, name: str
) -> None:
    work = desk_of_client(demo).works[name]
    replaced, begin = FAULTS[name]
    with monkeypatch.context() as patched:
        if replaced:
            patched.setattr(replaced, fails)
        begin(demo)
        eventually(lambda: work.state.fault)
        assert "(Injected)" in work.state.fault
        told = next(one for one in desk_of_client(demo).told()["works"] if one["name"] == name)
        assert told["fault"] == work.state.fault
        assert f"{name} failed" in caplog.text
        assert demo.get("/plan").status_code == demo.get("/live").status_code == 200
        if not work.lasts:
            eventually(lambda: not work.state.busy)
    if work.lasts:
        eventually(lambda: work.state.began_anew is not None)
    if name in ("planning", "playing"):
        assert demo.post(f"/api/work/{name}/again").json()["says"] == ["It is tried again."]
        eventually(lambda: not work.state.fault)
    if name == "judging":  # the watch runs again: what comes is judged
        send(demo, fine("Raker", 10, 30) + gone("Raker", 40, 20))
        eventually(lambda: desk_of_client(demo).watching.shown())
    work.stop()


def test_every_kind_of_work_is_made_to_fail_above() -> None:
    assert {name for name, _, _ in WORKS} == set(FAULTS)


def test_a_page_of_an_unpaired_device_asks_for_nothing_that_is_refused(store: Store) -> None:
    with client_of(store, lan_urls=("http://192.0.2.9:8037",)) as laptop:
        phone = TestClient(laptop.app, base_url=f"http://{HOST}", client=("192.0.2.5", 40000))
        text = phone.get("/join").text
        assert "data-paired" not in text
        assert "data-url" not in text
