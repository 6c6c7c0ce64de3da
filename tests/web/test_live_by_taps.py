"""The day without readings, by taps alone: every trouble ends in a strip, a next step and a line of the log."""

from __future__ import annotations

import datetime
import html
import re
from typing import Any

import pytest
from fastapi.testclient import TestClient
from tests.web.conftest import client_of, demo_into, desk_of_client, planned

from linkwright.desk.troubles import cause_by_hand, dying
from linkwright.store import Store
from linkwright.watch.diagnose.causes import CAUSES


@pytest.mark.parametrize(
    ("several", "level", "still", "cause"),
    [
        (False, "unknown", "yes", "interference"),
        (True, "good", "yes", "interference"),
        (True, "low", "no", "antennas"),
        (False, "low", "no", "range"),
        (False, "good", "no", "audio-path"),
        (False, "unknown", "unknown", "unknown"),
        (True, "good", "unknown", "unknown"),
    ],
)
def test_three_answers_name_a_cause_with_its_next_step_and_the_log(
    demo: TestClient, several: bool, level: str, still: str, cause: str
) -> None:
    answers = {"link": "Boom", "several": several, "level": level, "still": still}
    assert demo.post("/log/trouble", json=answers).status_code == 200
    text = html.unescape(demo.get("/live/alarms").text)
    words = CAUSES[cause].words
    assert f"{words[0].upper()}{words[1:]}" in text
    assert CAUSES[cause].next_step.partition(";")[0] in text
    assert f"Boom: {words}" in demo.get("/live").text
    assert f"{words}, told by hand" in demo.get("/live/happened").text
    assert desk_of_client(demo).watching.told()["open"] == 1
    key = desk_of_client(demo).troubles()[0].key
    assert demo.post("/log/over", json={"key": key}).status_code == 200
    assert desk_of_client(demo).watching.told()["open"] == 0
    assert f"{words}: over" in demo.get("/live/happened").text
    assert demo.post("/log/over", json={"key": key}).status_code == 400


def test_every_pair_of_answers_names_a_cause_of_the_table() -> None:
    for several in (False, True):
        for level in ("low", "good", "unknown"):
            for still in ("yes", "no", "unknown"):
                for low in (False, True):
                    assert cause_by_hand(several, level, still, low) in CAUSES
    assert cause_by_hand(False, "low", "no", True) == "battery"


def test_a_flight_by_hand_leaves_the_move_to_be_done(demo: TestClient) -> None:
    demo.post("/log/trouble", json={"link": "Boom", "still": "yes"})
    plan = desk_of_client(demo).snapshot().planned().plan
    boom = next(link for link in plan.calls[0].links if link.link == "Boom")
    assert (
        demo.post("/carrier/move", json={"link": "Boom", "khz": boom.spares_khz[0], "on": True}).status_code == 200
    )
    planned(demo)
    assert "Somebody is on" in demo.get("/carrier/waiting").text
    assert desk_of_client(demo).troubles() == ()
    assert demo.post("/log/trouble", json={"link": "Nobody"}).status_code == 400


@pytest.fixture
def on_the_day(tmp_path: Any) -> Any:
    """The built-in shoot while its first call is on, at a time that the test sets."""
    clock = [datetime.datetime(2027, 5, 14, 7, 30, tzinfo=datetime.UTC)]  # 08:30 or 09:30 by its clock
    with Store.open(tmp_path / "job.lwjob", create=True, now=lambda: clock[0]) as store:
        demo_into(store)
        with client_of(store) as client:
            planned(client)
            yield client, clock


def test_cells_that_die_before_the_break_are_told_a_quarter_of_an_hour_before(on_the_day: Any) -> None:
    client, clock = on_the_day
    desk = desk_of_client(client)
    shoot = desk.snapshot().whole_shoot()
    call = desk.snapshot().planned().scene.calls[0]
    assert call.starts is not None
    clock[0] = call.starts + datetime.timedelta(minutes=5)
    names = desk.snapshot().names
    boom = names.id_of("link", call.links[0].name)
    assert shoot.link
    assert dying(desk.store, desk.snapshot(), {}) == ()
    (told,) = dying(desk.store, desk.snapshot(), {boom: 0.01})
    assert told.ends == "changed"
    assert "break is at" in told.because
    assert told.words == "cells will not last to the break"


def test_who_is_in_another_call_is_not_missed(demo: TestClient) -> None:
    """A link that finds its own carrier has no carrier in the plan, and was told to say nothing all morning."""
    text = demo.get("/live").text
    assert "No readings come in of four links: tap who is in trouble." in text
    assert "twelve" not in text.partition("</main>")[0].partition('id="answer"')[2].partition("<")[0]


def test_the_cells_of_somebody_who_listens_are_told_and_changed_by_the_same_tap(tmp_path: Any) -> None:
    clock = [datetime.datetime(2027, 5, 14, 8, 0, tzinfo=datetime.UTC)]  # 09:00: the call begins
    from tests.day.test_day_listeners import stage

    from linkwright.shoot.reading import parse_document
    from linkwright.shoot.writing import write_shoot

    with Store.open(tmp_path / "job.lwjob", create=True, now=lambda: clock[0]) as store:
        document = parse_document(write_shoot(stage()), "stage")
        document["call"][0]["breaks"] = []
        store.replace(document, "laptop")
        with client_of(store) as client:
            planned(client)
            clock[0] += datetime.timedelta(hours=5)  # the low side of 6 h 42
            strip = client.get("/live/alarms").text
            assert "receiver of Hop" in strip
            pack = re.search(r'data-cells="([^"]*)"', strip)
            assert pack is not None
            assert client.post("/tick/changed", json={"link": pack[1]}).status_code == 200
            assert "receiver of Hop" not in client.get("/live/alarms").text
