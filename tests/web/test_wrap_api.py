"""The page Wrap from outside: the sentence, the tables, the picture, logs, the report, and places."""

from __future__ import annotations

import csv
import datetime
import io
import re
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest
from fastapi.testclient import TestClient
from tests.watch.made_readings import NINE_MS, readings
from tests.web.conftest import client_of, demo_into, desk_of_client, planned
from tests.web.test_live_api import eventually
from tests.web.wrapped import LINKS, day_behind, gone_through, log_csv

from linkwright.store import READINGS, Store
from linkwright.store.placebook import PlaceBook
from linkwright.watch.diagnose.episodes import iso
from linkwright.watch.log.kept import packed


@pytest.fixture(scope="module")
def looked_at(tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    """A day that tests look at and leave as it is."""
    with (
        Store.open(tmp_path_factory.mktemp("day") / "job.lwjob", create=True) as store,
        day_behind(store) as client,
    ):
        yield client


@pytest.fixture
def wrapped(store: Store, tmp_path: Path) -> Iterator[TestClient]:
    """A day that tests change."""
    with day_behind(store, tmp_path / "places") as client:
        yield client


def rows(client: TestClient, path: str) -> list[dict[str, str]]:
    answered = client.get(path)
    assert answered.status_code == 200, answered.text
    return list(csv.DictReader(io.StringIO(answered.text)))


def test_the_sentence_says_what_broke_up(looked_at: TestClient) -> None:
    text = looked_at.get("/wrap").text
    assert re.search(r"One link broke up in 6 min: Boom at 09:03 for 4(\.\d)? s, switched off\.", text)
    assert "Boom: carrier set to 583.25 (was 571.6)" in text, "what was done about it"


def test_the_time_line_as_a_table_is_in_order_and_has_what_was_done(looked_at: TestClient) -> None:
    table = rows(looked_at, "/wrap.csv")
    assert [row["from"] for row in table] == sorted(row["from"] for row in table)
    assert {row["what"] for row in table} >= {"call", "episode", "take", "note", "switched", "changed"}
    broke = [row for row in table if row["what"] == "episode" and row["heard"] == "1"]
    assert len(broke) == 1
    assert (broke[0]["about"], broke[0]["from"][:19]) == ("Boom", "2027-05-14T09:03:30")
    assert broke[0]["because"]
    assert broke[0]["do"]
    assert "carrier set to 583.25" in broke[0]["done"]
    assert "wind" not in broke[0]["done"], "ten minutes later is not about it"


def test_the_statistics_are_those_of_the_readings(looked_at: TestClient) -> None:
    by_link = {row["link"]: row for row in rows(looked_at, "/wrap/links.csv")}
    assert set(by_link) == {"Presenter", "Boom"}
    # 6 minutes of ten readings a second, from the first to the last: 359.9 s
    assert by_link["Boom"]["readings"] == by_link["Presenter"]["readings"] == "3600"
    assert by_link["Boom"]["on_air_s"] == "359.9"
    assert (by_link["Boom"]["dropouts"], by_link["Boom"]["lost_s"]) == ("1", "4")
    assert (by_link["Presenter"]["dropouts"], by_link["Presenter"]["a_median_dbm"]) == ("0", "-60")


def test_the_episodes_are_as_the_command_prints_them(looked_at: TestClient) -> None:
    found = looked_at.get("/wrap/episodes.json").json()["episodes"]
    for one in found:
        assert {"link", "from", "to", "cause", "probability", "because", "do"} <= set(one)


@pytest.mark.parametrize("width", [390, 1280])
def test_the_picture_whole_and_closer(looked_at: TestClient, width: int) -> None:
    whole = looked_at.get(f"/api/wrap/picture?width={width}").json()
    assert whole["whole"]
    ElementTree.fromstring(whole["svg"])
    close = looked_at.get(
        "/api/wrap/picture",
        params={"width": width, "from": iso(NINE_MS + 208_000), "to": iso(NINE_MS + 216_000)},
    ).json()
    svg = ElementTree.fromstring(close["svg"])
    assert not close["whole"]
    assert (svg.attrib["data-from"], svg.attrib["data-to"]) == (str(NINE_MS + 208_000), str(NINE_MS + 216_000))
    assert "09:03:30" in close["svg"]


@pytest.mark.parametrize(
    ("begin", "end"),
    [("x", "y"), ("2027-05-14T09:00:00", "2027-05-14T10:00:00"), ("2027-05-14T09:00:00Z", "2027-05-14T08:00:00Z"),
     ("0001-01-01T00:00:00Z", "9999-12-31T23:59:59Z"), ("2027-05-14T09:00:00Z", "")],
)  # fmt: skip
def test_a_stretch_that_is_none_is_a_sentence(looked_at: TestClient, begin: str, end: str) -> None:
    answered = looked_at.get("/api/wrap/picture", params={"from": begin, "to": end})
    assert answered.status_code == 400
    assert len(answered.json()["says"]) == 1


def test_a_receiver_s_log_is_taken_in_and_away(wrapped: TestClient) -> None:
    answered = wrapped.post("/wrap/logs", files={"file": ("rack.csv", log_csv(), "text/csv")})
    assert answered.status_code == 200, answered.text
    gone_through(wrapped)
    assert {row["link"] for row in rows(wrapped, "/wrap/links.csv")} == {"Presenter", "Boom", "Raker"}
    (one,) = [one for one in desk_of_client(wrapped).store.attachment_list() if one.kind == "log"]
    assert wrapped.post(f"/wrap/logs/remove?of={one.id}").status_code == 200
    gone_through(wrapped)
    assert {row["link"] for row in rows(wrapped, "/wrap/links.csv")} == {"Presenter", "Boom"}


@pytest.mark.parametrize("data", [b"", b"PAR1nothing", b"a,b\n1,2\n", b"\x00" * 999, b"time,link\nx,y\n"])
def test_a_file_that_is_no_log_is_refused_and_leaves_nothing(looked_at: TestClient, data: bytes) -> None:
    before = desk_of_client(looked_at).store.attachment_list()
    answered = looked_at.post("/wrap/logs", files={"file": ("x.csv", data, "text/csv")})
    assert answered.status_code == 400, answered.text
    assert len(answered.json()["says"]) == 1
    assert desk_of_client(looked_at).store.attachment_list() == before


def test_damaged_readings_are_told_and_the_others_stay(wrapped: TestClient) -> None:
    desk_of_client(wrapped).store.attach(
        "2027-05-14T08:30:00+00:00", b"LWR1xx", "x", most_bytes=99, kind="readings"
    )
    gone_through(wrapped)
    text = wrapped.get("/wrap").text
    assert "they are left out" in text
    assert "One link broke up" in text


def test_what_was_planned_stands_beside_what_was_read(looked_at: TestClient) -> None:
    lowest: dict[str, float] = {}
    for link in (link for call in looked_at.get("/plan.json").json()["calls"] for link in call["links"]):
        lowest[link["link"]] = min(link["wanted_dbm"], lowest.get(link["link"], 0.0))
    told = {row["link"]: float(row["planned_dbm"]) for row in rows(looked_at, "/wrap/links.csv")}
    assert told
    assert told == {link: pytest.approx(lowest[link], abs=0.051) for link in told}
    assert "Planned, worst spot" in looked_at.get("/wrap").text


def test_the_report_is_a_tagged_pdf_with_the_same_words(looked_at: TestClient) -> None:
    from pypdf import PdfReader

    answered = looked_at.get("/wrap/report.pdf?paper=us-letter")
    assert answered.headers["content-type"] == "application/pdf"
    text = " ".join(" ".join(page.extract_text().split()) for page in PdfReader(io.BytesIO(answered.content)).pages)
    for words in ("One link broke up in 6 min", "Link by link", "carrier set to 583.25", "Pans reaches"):
        assert words in text
    assert "wrap.pdf" in looked_at.get("/sheets").text
    assert looked_at.get("/sheets/file/wrap-links.csv").text == looked_at.get("/wrap/links.csv").text


def test_without_readings_the_page_says_so_and_there_is_no_report_among_the_sheets(demo: TestClient) -> None:
    text = demo.get("/wrap").text
    assert "No readings were kept, so nothing is known of the links" in text
    assert "wrap.pdf" not in demo.get("/sheets").text
    assert demo.get("/api/wrap/picture").status_code == 200
    assert rows(demo, "/wrap.csv")[0]["what"] == "call"


def test_an_empty_job_has_a_page_too(empty: TestClient) -> None:
    assert empty.get("/wrap").status_code == 200
    assert empty.get("/api/wrap/picture").status_code == 200
    assert empty.get("/wrap/report.pdf").status_code == 400
    assert empty.get("/places/near").status_code == 200


# What was learnt of the place


def entry(client: TestClient, name: str) -> dict[str, Any]:
    found = [
        site
        for _, site in desk_of_client(client).snapshot().document.draft.entries("site")
        if site.get("name") == name
    ]
    return found[0]


def test_what_was_learnt_is_kept_only_when_asked(wrapped: TestClient, tmp_path: Path) -> None:
    places = tmp_path / "places"
    assert not places.exists()
    text = wrapped.get("/wrap").text
    assert "Pans reaches" in text
    assert "A set of Boom lasted 5" in text
    answered = wrapped.post("/places/keep", json={"site": "Pans"})
    assert answered.status_code == 200, answered.text
    (file,) = places.glob("*.toml")
    kept = tomllib.loads(file.read_text())
    assert (kept["name"], kept["latitude"], kept["tv"]) == ("Pans", 49.9, ["24", "27", "31"])
    assert kept["learnt"]["format"] == "linkwright-walk/1"
    # changed five hours before nine, empty five minutes after it: 5.08 h
    assert [run["ran_h"] for run in kept["run"] if run.get("link") == "Boom"] == [5.08]
    assert wrapped.post("/places/keep", json={"site": "Nowhere"}).status_code == 400
    assert "You were near here" not in wrapped.get("/places/near").text, "not offered to the shoot that it is from"


def test_it_is_offered_nearby_and_taken_over_by_one_edit(wrapped: TestClient, tmp_path: Path) -> None:
    wrapped.post("/places/keep", json={"site": "Pans"})
    with Store.open(tmp_path / "next.lwjob", create=True) as store:
        demo_into(store)
        id_ = next(iter(store.document().ids[("site",)]))
        store.set_field(("shoot", "title"), "Salt works, day 1", "Salt works again", "laptop")
        # 0.0027 degrees of latitude are 300 m
        store.set_field(("site", id_, "latitude"), 49.9, 49.9027, "laptop")
        with client_of(store, places=PlaceBook(tmp_path / "places")) as client:
            planned(client)
            text = client.get("/places/near").text
            assert "is 300 m from Pans, where you were on 14 May 2027" in text
            (place,) = [one.stem for one in (tmp_path / "places").glob("*.toml")]
            before = store.document().document
            answered = client.post("/places/take", json={"site": id_, "place": place})
            assert answered.status_code == 200, answered.text
            assert answered.json()["problems"] == 0
            site = entry(client, "Pans")
            assert site["learnt"]["site"] == "Pans"
            assert site["sweeps"] == ["sweep.csv", "2027-05-14 1-sweep.csv"]
            shoot = desk_of_client(client).snapshot().document.shoot
            assert shoot is not None
            assert shoot.site[0].learnt is not None
            assert client.post("/api/undo").json()["changed"]
            assert store.document().document == before
            assert client.post("/places/take", json={"site": id_, "place": "../x"}).status_code == 400
            assert client.post("/places/take", json={"site": "x", "place": place}).status_code == 400


def test_what_was_confirmed_of_the_kit_is_kept_with_the_bag_and_known_on_the_next_job(
    store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    with day_behind(store) as client:
        entry = {"use": "body-worn, 470-694 MHz", "name": "boom", "count": "1"}
        assert client.post("/bag/entry", json=entry).status_code == 200
        assert client.post("/bag/confirmed", json={}).status_code == 400, "nothing was confirmed yet"
        gone_through(client)
        (episode,) = [told for told in client.get("/wrap/episodes.json").json()["episodes"] if told["heard"]]
        at_ms = round(datetime.datetime.fromisoformat(episode["from"]).timestamp() * 1000)
        said = client.post("/wrap/was", json={"link": "Boom", "at_ms": at_ms, "was": "battery"})
        assert said.status_code == 200, said.text
        assert "Confirmed with boom: battery empty (1)." in client.get("/wrap").text
        kept = client.post("/bag/confirmed", json={}).json()
        assert kept["says"] == ["boom: 1 confirmed cause, was 0."]
        assert client.post("/bag/confirmed", json={}).json()["says"] == ["The bag has it already."]
        (item,) = tomllib.loads((tmp_path / "data" / "linkwright" / "kit.toml").read_text())["item"]
        assert item["confirmed"][0]["cause"] == "battery"
        assert "Confirmed with boom: battery empty (1)." in client.get("/bag").text
        of_kit = desk_of_client(client).watching.known_of_kit()
        assert not of_kit, "what was confirmed today counts once"
    with Store.open(tmp_path / "next.lwjob", create=True) as another, client_of(another) as client:
        demo_into(another)
        date = another.document().document["shoot"]["date"]
        another.set_field(("shoot", "date"), date, "2027-05-20", "laptop")
        desk = desk_of_client(client)
        boom = desk.snapshot().names.id_of("link", "Boom")
        assert desk.watching.known_of_kit() == {boom: {"battery": 1}}
        desk.watching.answered_elsewhere()
        likelier = desk.watching._watcher.likelier_of[boom]
        assert likelier["battery"] > 1.0 > likelier["switched-off"]


def test_where_no_places_are_kept_nothing_is_offered(store: Store) -> None:
    with day_behind(store) as client:
        assert "Keep what was learnt" not in client.get("/wrap").text
        assert client.post("/places/keep", json={"site": "Pans"}).status_code == 400


def test_readings_of_another_date_do_not_stretch_the_picture(store: Store) -> None:
    """A minute of half a year before made an axis of half a year, of which all but a hair was empty."""
    early = packed(readings(LINKS, seconds=60.0, from_ms=NINE_MS - 180 * 86_400_000))
    store.attach("2026-11-15T09:00:00", early, "live", most_bytes=1 << 24, kind=READINGS)
    with day_behind(store) as client:
        told = client.get("/api/wrap/picture").json()
        begin, end = (datetime.datetime.fromisoformat(told[key]) for key in ("from", "to"))
        assert end - begin < datetime.timedelta(hours=24)
        assert begin.date() == end.date() == datetime.date(2027, 5, 14)
        assert "the picture shows the longest day of them" in client.get("/wrap/body").text


def test_every_shape_has_its_cause_in_words(looked_at: TestClient) -> None:
    """Where there was no room beside a shape it stood alone."""
    svg = ElementTree.fromstring(looked_at.get("/api/wrap/picture?width=390").json()["svg"])
    assert "switched off" in ["".join(one.itertext()) for one in svg.iter("{http://www.w3.org/2000/svg}text")]


def test_what_an_episode_was_is_said_learnt_from_and_taken_back(wrapped: TestClient, tmp_path: Path) -> None:
    at_ms = NINE_MS + 60_000 * 3 + 30_000
    told = wrapped.post("/wrap/was", json={"link": "Boom", "at_ms": at_ms, "was": "receiver"})
    assert "says that it was: power of the receivers" in told.json()["says"][0]
    text = wrapped.get("/wrap/body").text
    assert "says that it was: power of the receivers" in text
    assert "Take the answer back" in text
    assert "Confirmed at Pans: power of the receivers or their antenna feed (1)" in text
    wrapped.post("/places/keep", json={"site": "Pans"})
    (file,) = (tmp_path / "places").glob("*.toml")
    assert tomllib.loads(file.read_text())["causes"] == {"receiver": 1}
    with Store.open(tmp_path / "next.lwjob", create=True) as store:
        demo_into(store)
        store.set_field(("shoot", "title"), "Salt works, day 1", "Salt works again", "laptop")
        with client_of(store, places=PlaceBook(tmp_path / "places")) as client:
            watching = desk_of_client(client).watching
            eventually(lambda: watching._watcher.likelier.get("receiver", 0.0) > 1.0)
    back = wrapped.post("/wrap/was", json={"link": "Boom", "at_ms": at_ms})
    assert back.json()["says"] == ["The answer was taken back."]
    assert "Take the answer back" not in wrapped.get("/wrap/body").text
    assert wrapped.post("/wrap/was", json={"link": "Boom", "at_ms": at_ms, "was": "magic"}).status_code == 400
