"""Recordings and readings together on the page Wrap, from outside: the table, the time line, the report, files."""

from __future__ import annotations

import csv
import datetime
import html
import io
import re
from collections.abc import Iterator
from xml.etree import ElementTree

import pytest
from fastapi.testclient import TestClient
from tests.watch.made_readings import NINE_MS
from tests.web.conftest import client_of, demo_into, planned
from tests.web.recorded_day import BEGINS_S, BREAKS_S, keep_breaks, keep_recordings, listened, wave
from tests.web.wrapped import gone_through

from linkwright.store import Store

SVG = "{http://www.w3.org/2000/svg}"


def ms_of(text: str) -> float:
    """UTC [ms since 1970] of an ISO time with its offset."""
    return datetime.datetime.fromisoformat(text).timestamp() * 1000.0


@pytest.fixture(scope="module")
def day(tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    with Store.open(tmp_path_factory.mktemp("day") / "job.lwjob", create=True) as store:
        demo_into(store)
        keep_breaks(store)
        keep_recordings(store)
        with client_of(store) as client:
            planned(client)
            gone_through(client)
            listened(client)
            yield client


def rows(client: TestClient, path: str) -> list[dict[str, str]]:
    answered = client.get(path)
    assert answered.status_code == 200, answered.text
    return list(csv.DictReader(io.StringIO(answered.text)))


def recordings(text: str) -> dict[str, str]:
    """The rows of the page's table as text, by the recording's name."""
    part = text.partition('id="h-rec"')[2].partition("</section>")[0]
    found = [" ".join(html.unescape(re.sub("<[^>]+>", " ", row)).split()) for row in part.split("<tr>")[2:]]
    return {re.split(r"\.wav", row)[0]: row for row in found}


def test_the_page_says_whose_track_it_is_and_how_the_clock_went(day: TestClient) -> None:
    said = recordings(day.get("/wrap").text)
    assert "Track 1 is Boom; of track 2 the link is not known." in said["roll 7"]
    assert "The recorder's clock was 2.3 s ahead of the receiver's, by 8 breaks" in said["roll 7"]
    assert "09:00:07" in said["roll 7"] or "09:00:06" in said["roll 7"], "the receiver's time, not the stamp's"
    assert "One loss lies in no episode" in said["roll 7"]
    assert "mute at 09:02:0" in said["roll 7"]


def test_the_page_says_why_another_could_not_be_laid(day: TestClient) -> None:
    said = recordings(day.get("/wrap").text)
    assert "it has no certain loss, and 3 are needed; it lies by its own time stamp" in said["wild"]
    assert "09:00:09" in said["wild"]
    assert "its header has no time, so it is not drawn" in said["notes"]


def test_the_table_of_the_time_line_has_them_at_the_receiver_s_time(day: TestClient) -> None:
    table = rows(day, "/wrap.csv")
    (roll,) = [row for row in table if row["what"] == "recording" and row["about"] == "roll 7.wav"]
    assert ms_of(roll["from"]) - NINE_MS == pytest.approx(1000 * BEGINS_S, abs=100)
    assert "Track 1 is Boom" in roll["says"]
    faults = [row for row in table if row["what"] == "fault"]
    assert len(faults) == len(BREAKS_S) + 1
    assert [row["because"] != "" for row in faults].count(True) == 1
    for at, row in zip(BREAKS_S, [row for row in faults if not row["because"]], strict=True):
        assert ms_of(row["from"]) - NINE_MS == pytest.approx(1000 * at, abs=100)
    episodes = [row for row in table if row["what"] == "episode" and row["about"] == "Boom"]
    assert len(episodes) >= len(BREAKS_S)
    assert all("roll 7.wav, track 1, has a fault then" in row["because"] for row in episodes)
    assert all(row["heard"] == "1" for row in episodes)
    assert [row["from"] for row in table] == sorted(row["from"] for row in table)


def test_the_bar_stands_under_its_link_at_the_receiver_s_time(day: TestClient) -> None:
    svg = ElementTree.fromstring(day.get("/api/wrap/picture?width=1280").json()["svg"])
    left, right = float(svg.attrib["data-left"]), float(svg.attrib["data-right"])
    begin, end = int(svg.attrib["data-from"]), int(svg.attrib["data-to"])
    bars = {
        group.findtext(f"{SVG}title", ""): group.find(f"{SVG}rect")
        for group in svg.iter(f"{SVG}g")
        if group.findtext(f"{SVG}title", "").startswith("Recording ")
    }
    assert set(bars) == {
        "Recording roll 7.wav, track 1: 9 losses",
        "Recording roll 7.wav: 9 faults",
        "Recording wild.wav: no faults",
    }
    at = left + (right - left) * (NINE_MS + 1000 * BEGINS_S - begin) / (end - begin)
    for title, bar in bars.items():
        assert bar is not None
        assert (bar.get("stroke-dasharray") is not None) == ("wild" in title)
        if "roll" in title:
            assert float(bar.attrib["x"]) == pytest.approx(at, abs=1.0)
    words = " ".join(one.text or "" for one in svg.iter(f"{SVG}text"))
    assert "A dashed recording lies by its own time stamp." in words


def test_the_report_and_the_episodes_have_the_same(day: TestClient) -> None:
    from pypdf import PdfReader

    answered = day.get("/wrap/report.pdf")
    text = " ".join(" ".join(page.extract_text().split()) for page in PdfReader(io.BytesIO(answered.content)).pages)
    assert "Track 1 is Boom" in text
    assert re.search(r"2.3\s+s\s+ahead\s+of\s+the\s+receiver", text), text
    assert "no certain loss" in text
    found = day.get("/wrap/episodes.json").json()["episodes"]
    assert any("has a fault then" in one["because"] for one in found)


def test_without_readings_a_recording_lies_by_its_stamp(store: Store) -> None:
    demo_into(store)
    store.attach("wild.wav", wave(seconds=5.0), "laptop", most_bytes=1 << 24, kind="recording")
    with client_of(store) as client:
        planned(client)
        assert "Nobody has listened to it yet" in recordings(client.get("/wrap").text)["wild"]
        listened(client)
        said = recordings(client.get("/wrap").text)["wild"]
        assert "There are no readings to lay it along; it lies by its own time stamp." in said


def test_a_call_of_hours_does_not_squeeze_minutes_of_readings(day: TestClient) -> None:
    """Six minutes from nine in a call of three hours and a half: the whole is the readings and ten minutes."""
    told = day.get("/api/wrap/picture", params={"width": 1000}).json()
    assert "T08:5" in told["from"]
    assert "T09:1" in told["to"]
