"""The pages from outside, without a browser: what each says, what each change answers, and who may ask."""

from __future__ import annotations

import datetime
import importlib.resources
import io
import json
import re
import struct
import tomllib
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient
from tests.web.conftest import HOST, ORIGIN, client_of, demo_into, desk_of_client, planned

from linkwright.shoot.kept_place import KeptPlace
from linkwright.shoot.reading import parse_shoot
from linkwright.store import Store
from linkwright.store.placebook import PlaceBook

PAGES = ("/shoot", "/air", "/plan", "/ground", "/sound", "/day", "/bag", "/setup", "/connect")


def change(client: TestClient, path: list[str], text: str, seen: str = "null") -> dict[str, object]:
    answered = client.post("/api/field", json={"path": path, "seen": seen, "text": text})
    assert answered.status_code == 200, answered.text
    found: dict[str, object] = answered.json()
    return found


@pytest.mark.parametrize("page", PAGES)
def test_every_page_opens_with_an_answer_before_anything_is_known(empty: TestClient, page: str) -> None:
    answered = empty.get(page)
    assert answered.status_code == 200
    answer = re.search(r'<p id="answer"[^>]*>([^<]+)</p>', answered.text)
    assert answer is not None
    assert answer[1].endswith((".", ":"))


@pytest.mark.parametrize("page", PAGES)
def test_every_page_opens_with_an_answer_once_all_is_known(demo: TestClient, page: str) -> None:
    answered = demo.get(page)
    assert answered.status_code == 200
    assert "no plan" not in answered.text.lower()
    assert "script-src 'self'" in answered.headers["content-security-policy"]
    assert not re.search(r"<script(?![^>]*src)|\son\w+=|style=", answered.text), (
        "nothing that the policy would block"
    )


def test_an_undo_gives_back_carriers_and_spares(demo: TestClient) -> None:
    """A plan made again after the undo of a lock kept to the carrier that the lock had given."""

    def carriers() -> list[tuple[str, int, list[int]]]:
        planned(demo)
        calls = demo.get("/plan.json").json()["calls"]
        return [(one["link"], one["carrier_khz"], one["spares_khz"]) for call in calls for one in call["links"]]

    before = carriers()
    salter = next(one for one in before if one[0] == "Salter")
    link = desk_of_client(demo).names().id_of("link", "Salter")
    assert demo.post("/plan/lock", json={"link": link, "mhz": f"{salter[2][0] / 1000}"}).status_code == 200
    assert next(carrier for carrier in carriers() if carrier[0] == "Salter")[1] == salter[2][0]
    assert demo.post("/api/undo").json()["changed"]
    assert carriers() == before


def test_four_answers_make_a_shoot_and_stand_until_more_is_said(
    empty: TestClient, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    answers = {
        "where": "Quay", "region": "GB", "date": "2027-05-14", "begins": "09:00", "ends": "12:30",
        "who": ["Pilot", "Cook", "Pilot"], "permits": ["gb-coordinated"], "kit": "body-worn, 470-694 MHz",
    }  # fmt: skip
    told = empty.post("/prepare/begin", json=answers)
    assert told.status_code == 200, told.text
    assert [row[0] for row in told.json()["outfits"]] == ["Pilot", "Cook"]
    assert told.json()["wrong"] == []
    planned(empty)
    assert "Both links hold" in (said := empty.get("/prepare/answer").text) or "two links hold" in said
    page = empty.get("/shoot").text
    assert 'id="questions"' in page
    assert "<option selected>body-worn, 470-694 MHz" in page
    change(empty, ["shoot", "breaks_per_hour"], "1")
    assert 'id="questions"' not in empty.get("/shoot").text, "more was said than the four answers"
    again = empty.get("/shoot?again=1").text
    assert "Pilot" in again
    assert 'name="where" value=""' in again
    (tmp_path / "linkwright").mkdir(exist_ok=True)
    (tmp_path / "linkwright" / "kit.toml").write_text("[[item", "utf-8")
    assert "The bag cannot be read" in empty.get("/shoot?again=1").text
    (tmp_path / "linkwright" / "kit.toml").unlink()
    wrongs: list[dict[str, Any]] = [{"region": "XX"}, {"who": []}, {"kit": "no such kit"}, {"date": "tomorrow"}]
    for wrong in wrongs:
        refused = empty.post("/prepare/begin", json=answers | wrong)
        assert refused.status_code in (400, 422), wrong
        assert refused.json()["says"], wrong


def test_a_place_that_was_kept_brings_what_is_known_of_it(
    store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    text = (importlib.resources.files("linkwright.demo") / "shoot.toml").read_text("utf-8")
    demo = parse_shoot(text, "shoot.toml")
    yard = demo.site[1]
    assert yard.walls, "a site with walls"
    book = PlaceBook(tmp_path / "places")
    kept = KeptPlace(
        name="Boiling house", date=datetime.date(2027, 5, 14), latitude=49.9, longitude=-7.5, tv=("24",),
        surroundings=yard.surroundings, spots=yard.spots, walls=yard.walls,
    )  # fmt: skip
    id_ = book.keep(kept, {"sweep.csv": b"566.000,-104\n"})
    with client_of(store, places=book) as client:
        page = client.get("/shoot").text
        assert "Boiling house, 14 May 2027" in page
        answers = {
            "where": "Boiling house", "region": "GB", "surroundings": "hall", "date": "2027-05-15",
            "who": ["Pilot", "Cook"], "permits": ["gb-coordinated"], "place": id_,
        }  # fmt: skip
        told = client.post("/prepare/begin", json=answers)
        assert told.status_code == 200, told.text
        assert told.json()["wrong"] == []
        shoot = desk_of_client(client).snapshot().document.shoot
        assert shoot is not None
        site = shoot.site[0]
        assert (site.latitude, site.spots, site.walls, site.tv) == (49.9, yard.spots, yard.walls, ("24",))
        assert site.sweeps == ("2027-05-14 1-sweep.csv",)
        assert client.post("/prepare/begin", json=answers | {"place": "../etc"}).status_code == 400


def test_a_rule_that_nobody_read_is_read_with_a_tap(demo: TestClient) -> None:
    page = demo.get("/plan").text
    assert "was read by nobody here" in page
    assert "accepts =" not in page
    (row,) = re.findall(r'data-post="/plan/accept/([^"]+)"', page)
    assert demo.post("/plan/accept/nonsense").status_code == 400
    assert demo.post(f"/plan/accept/{row}").json()["change"]
    planned(demo)
    assert "was read by nobody here" not in demo.get("/plan").text
    assert demo.post("/api/undo").json()["changed"]


def test_from_nothing_to_a_plan(empty: TestClient) -> None:
    for key, text in (("title", "Trial"), ("region", "GB"), ("date", "2027-05-14"), ("permits", "gb-coordinated")):
        change(empty, ["shoot", key], text)
    change(empty, ["shoot", "accepts"], "gb-coordinated-470-606")
    for name in ("Pilot", "Cook"):
        added = empty.post("/api/entry", json={"path": ["link"], "value": {"name": name}}).json()
        change(empty, [*added["path"], "transmitter"], "uhf-body-worn")
        answered = change(empty, [*added["path"], "receiver"], "uhf-cart-rack")
    assert answered["wrong"] == []
    planned(empty)
    text = empty.get("/plan/body").text
    assert "All two links hold" in text or "Both" in text or "links hold" in text
    assert {"Pilot", "Cook"} <= set(re.findall(r'<strong class="name">(\w+)</strong>', text))


def test_what_is_wrong_is_kept_and_told_beside_its_field(empty: TestClient) -> None:
    answered = change(empty, ["shoot", "date"], "the fourteenth")
    assert answered["text"] == "the fourteenth"
    pairs: Any = answered["wrong"]
    wrong = {tuple(path): says for path, says in pairs}
    assert "expected a date" in wrong["shoot", "date"][0]
    assert 'date = "the fourteenth"' in empty.get("/shoot.toml").text


def test_the_file_goes_in_and_comes_out(empty: TestClient) -> None:
    text = Path("tests/shoot/data/quay.toml").read_text("utf-8")
    text = text.replace('surroundings = "street"', 'surroundings = "street"\nsweeps = ["quay-0830.csv"]', 1)
    answered = empty.post("/api/import", files={"file": ("quay.toml", text.encode())})
    assert answered.status_code == 200
    assert answered.json()["missing"] == ["quay-0830.csv"]
    again = empty.get("/shoot.toml").text
    assert parse_shoot(again, "again") == parse_shoot(text, "quay")
    assert tomllib.loads(again)["link"][0]["name"] == tomllib.loads(text)["link"][0]["name"]


def test_two_people_at_one_field(demo: TestClient) -> None:
    change(demo, ["shoot", "title"], "Ours", json.dumps("Salt works, day 1"))
    refused = demo.post(
        "/api/field", json={"path": ["shoot", "title"], "seen": '"Salt works, day 1"', "text": "Theirs"}
    )
    assert refused.status_code == 409
    assert refused.json()["theirs"] == "Ours"
    assert demo.get("/api/state").json()["values"][-1]["text"] == "Ours"


def test_undo_and_redo(demo: TestClient) -> None:
    change(demo, ["shoot", "title"], "Other", json.dumps("Salt works, day 1"))
    assert demo.post("/api/undo").json()["changed"]
    assert "Salt works, day 1" in demo.get("/shoot").text
    assert demo.post("/api/redo").json()["changed"]
    assert desk_of_client(demo).snapshot().document.draft.at("shoot", "title") == "Other"


def test_a_paste_fills_rows_and_adds_more(demo: TestClient) -> None:
    ids = desk_of_client(demo).snapshot().document.draft.ids["link",]
    pasted = "Alder\tpocket\tcamera\nBirch\tpocket\tcamera\n"
    assert (
        demo.post(
            "/api/paste", json={"path": ["link"], "entry": ids[-1], "key": "name", "text": pasted}
        ).status_code
        == 200
    )
    names = [value["name"] for _, value in desk_of_client(demo).snapshot().document.draft.entries("link")]
    assert names[len(ids) - 1 :] == ["Alder", "Birch"]


def test_rows_are_removed_and_moved(demo: TestClient) -> None:
    job = desk_of_client(demo)
    first, second, *_ = job.snapshot().document.draft.ids["link",]
    at = job.snapshot().document.revision
    moved = demo.post("/api/move", json={"path": ["link", second], "before": first, "revision": at})
    assert moved.status_code == 200
    assert job.snapshot().document.draft.ids["link",][:2] == (second, first)
    demo.post("/api/remove", json={"path": ["link", second], "revision": moved.json()["revision"]})
    assert second not in job.snapshot().document.draft.ids["link",]


def test_a_lock_moves_the_plan_and_a_try_moves_nothing(demo: TestClient) -> None:
    plan = demo.get("/plan.json").json()
    link = plan["calls"][0]["links"][0]
    tried = demo.get("/plan/try", params={"link": link["link"], "mhz": str(link["spares_khz"][0] / 1000)})
    assert tried.status_code == 200
    assert link["link"] in tried.text
    assert demo.get("/plan.json").json() == plan
    demo.post("/plan/aside")
    demo.post("/plan/lock", json={"link": link["link"], "mhz": str(link["spares_khz"][0] / 1000)})
    planned(demo)
    moved = demo.get("/plan.json").json()["calls"][0]["links"]
    assert next(one for one in moved if one["link"] == link["link"])["carrier_khz"] == link["spares_khz"][0]
    body = demo.get("/plan/body").text
    assert "Switch in this order" in body
    assert "Against the plan set aside" in body


def test_the_score_is_told_as_numbers(demo: TestClient) -> None:
    lanes = demo.get("/api/air/lanes", params={"site": "Pans"}).json()
    assert lanes["ours"]
    assert lanes["allowed"]
    answered = demo.get("/api/air/levels", params={"site": "Pans", "low": 566000, "high": 590000, "columns": 100})
    values = struct.unpack("<300f", answered.content)
    low, high, floor = values[:100], values[100:200], values[200:]
    assert all(a <= b for a, b in zip(low, high, strict=True) if a == a and b == b)
    assert max(floor) < max(high)
    fall = demo.get("/api/air/waterfall", params={"site": "Pans", "low": 566000, "high": 590000, "columns": 50})
    assert len(fall.content) == 50 * int(fall.headers["x-rows"])
    why = demo.get("/air/why", params={"site": "Pans", "mhz": "571.125", "link": "Salter"})
    assert "571.125" in why.text


def test_a_sweep_is_taken_in_and_a_bad_one_is_not_kept(demo: TestClient) -> None:
    job = desk_of_client(demo)
    site = job.snapshot().document.draft.ids["site",][0]
    good = "".join(f"{566 + n * 0.025:.3f},{-100 + n % 3}\n" for n in range(200))
    files = {"file": ("../../etc/morning.csv", io.BytesIO(good.encode()))}
    answered = demo.post("/api/attach", data={"site": site, "use": "sweeps"}, files=files)
    assert answered.status_code == 200, answered.text
    assert answered.json()["name"] == "morning.csv"
    assert "morning.csv" in job.snapshot().document.draft.at("site", site, "sweeps")
    before = len(job.store.attachment_list())
    bad = demo.post(
        "/api/attach", data={"site": site}, files={"file": ("bad.csv", io.BytesIO(b"\x00\x01\x02 nothing"))}
    )
    assert bad.status_code == 400
    assert "bad.csv" in bad.json()["says"][0]
    assert len(job.store.attachment_list()) == before


def test_the_ground_follows_a_spot(demo: TestClient) -> None:
    there = demo.get("/api/ground/site", params={"site": "Pans"}).json()
    spot = there["spots"][-1]["name"]

    def worst(x: float) -> float:
        answered = demo.get("/api/ground/margins", params={"site": "Pans", "spot": spot, "x": x, "y": 0})
        return float(min(one["in_hand"] for one in answered.json()["margins"]))

    assert worst(50_000.0) < min(0.0, worst(40.0))
    assert desk_of_client(demo).snapshot().document.draft.at("site", there["id"], "spots")[-1]["x_m"] != 50_000.0


def test_the_ground_has_a_map_a_walk_and_places(demo: TestClient) -> None:
    piece: dict[str, str | int] = {
        "site": "Pans",
        "link": "Salter",
        "left": -30,
        "right": 80,
        "low": -30,
        "high": 40,
    }
    drawn = demo.get("/ground/map.svg", params=piece)
    assert drawn.headers["content-type"].startswith("image/svg+xml")
    assert "dB in hand and more" in drawn.text
    assert demo.get("/ground/map.svg", params={**piece, "right": -31}).status_code == 400
    walk = demo.get("/api/ground/along", params={"site": "Pans", "link": "Salter"}).json()
    assert len({len(values) for values in walk.values()}) == 1
    planned = next(
        link
        for call in demo.get("/plan.json").json()["calls"]
        for link in call["links"]
        if link["link"] == "Salter"
    )
    # All the time where it is worst is worse than all the way, and at one turn there worse yet.
    assert planned["alone_db"] - 0.5 <= min(walk["in_hand_db"]) <= planned["in_hand_db"] + 0.1
    places = demo.get("/ground/places", params={"site": "Pans"}).text
    assert "Camera" in places
    assert "least power that holds" in places


def test_a_picture_lies_under_the_ground_at_its_scale_and_only_pictures_are_shown(demo: TestClient) -> None:
    png = b"\x89PNG\r\n\x1a\n" + b"\0" * 20
    for name, data in (("Pans: 80 m wide: plan.png", png), ("Boiling house: 10 m wide: page.html", b"<script>")):
        answered = demo.post("/api/attach", data={"use": "picture"}, files={"file": (name, io.BytesIO(data))})
        assert answered.status_code == 200
    there = demo.get("/api/ground/site", params={"site": "Pans"}).json()
    assert there["picture_m"] == 80.0
    assert demo.get(there["picture"]).headers["content-type"] == "image/png"
    other = demo.get("/api/ground/site", params={"site": "Boiling house"}).json()
    assert demo.get(other["picture"]).status_code == 415


# Who may ask.


@pytest.mark.parametrize("host", ["evil.example", "127.0.0.1:9", "", f"{HOST}:81"])
def test_other_names_are_not_answered(store: Store, host: str) -> None:
    with client_of(store) as client:
        assert client.get("/shoot", headers={"host": host}).status_code == 421


@pytest.mark.parametrize(
    "origin", [None, "null", "http://evil.example", f"http://{HOST}.evil.example", f"http://{HOST}:81"]
)
def test_changes_from_other_pages_are_refused(store: Store, origin: str | None) -> None:
    with client_of(store) as client:
        headers = {} if origin is None else {"origin": origin}
        client.headers.pop("origin", None)
        body = {"path": ["shoot", "title"], "text": "x"}
        assert client.post("/api/field", json=body, headers=headers).status_code == 403
        assert client.post("/api/field", json=body, headers=ORIGIN).status_code == 200


def from_the_network(store: Store) -> TestClient:
    """A device on the network."""
    from linkwright.web.app import create_app

    app = create_app(store, frozenset({HOST}), ("http://192.0.2.9:8037",))
    return TestClient(app, headers=ORIGIN, client=("192.0.2.7", 4711))


def test_a_device_from_the_network_needs_a_code_and_has_its_role(store: Store) -> None:
    demo_into(store)
    with client_of(store, lan_urls=("http://192.0.2.9:8037",)) as laptop, from_the_network(store) as phone:
        assert phone.get("/plan").status_code == 401
        assert phone.get("/connect").status_code == 401
        page = laptop.post("/connect/code", data={"role": "look"}).text
        assert "<svg" in page
        assert phone.post("/join", json={"code": "guess", "name": "p"}).status_code == 400
        code = phone.app.state.pages.codes.new("look")  # type: ignore[attr-defined]
        joined = phone.post("/join", json={"code": code, "name": "Phone"})
        assert joined.status_code == 200
        assert "httponly" in joined.headers["set-cookie"].lower()
        assert "samesite=strict" in joined.headers["set-cookie"].lower()
        assert phone.post("/join", json={"code": code, "name": "Again"}).status_code == 400, "a code is good once"
        assert phone.get("/plan").status_code == 200
        assert phone.post("/api/field", json={"path": ["shoot", "title"], "text": "x"}).status_code == 403
        assert phone.get("/connect").status_code == 403, "devices are let in on the laptop only"
        device = store.devices()[0]
        laptop.post("/connect/forget", data={"device": device.id})
        assert phone.get("/plan").status_code == 401


def test_too_many_wrong_codes_shut_the_door_to_their_address_alone(store: Store, tmp_path: Path) -> None:
    from linkwright.door.codes import MOST_WRONG, Codes

    now, began = [0.0], datetime.datetime(2027, 5, 10, 12, tzinfo=datetime.UTC)
    with Store.open(
        tmp_path / "codes.lwjob", create=True, now=lambda: began + datetime.timedelta(seconds=now[0])
    ) as other_job:
        codes_shut_the_door(Codes(other_job, lambda: now[0]), now)
    with from_the_network(store) as phone:
        stranger = TestClient(phone.app, headers=ORIGIN, client=("192.0.2.66", 4711))
        code = phone.app.state.pages.codes.new("look")  # type: ignore[attr-defined]
        for n in range(MOST_WRONG + 5):
            assert stranger.post("/join", json={"code": f"wrong {n}"}).status_code == 400
        assert phone.post("/join", json={"code": code, "name": "Phone"}).status_code == 200


def codes_shut_the_door(codes: Any, now: list[float]) -> None:
    from linkwright.door.codes import CODE_S, MOST_WRONG

    good, other = codes.new("edit"), codes.new("look")
    assert all(codes.take(f"wrong {n}", "192.0.2.66") is None for n in range(MOST_WRONG + 5))
    assert codes.take(good, "192.0.2.66") is None
    admitted = codes.take(good, "192.0.2.7")
    assert admitted is not None
    assert admitted.role == "edit", "the crew joins meanwhile"
    now[0] = CODE_S + 1
    assert codes.take(other, "192.0.2.66") is None, "old"
    assert codes.take(codes.new("look"), "192.0.2.66") is not None, "heard again"


def test_static_files_have_the_name_of_their_content_and_nothing_else_is_served(demo: TestClient) -> None:
    page = demo.get("/shoot").text
    for url in re.findall(r'(?:src|href)="(/static/[^"]+)"', page):
        answered = demo.get(url)
        assert answered.status_code == 200
        assert "immutable" in answered.headers["cache-control"]
    for name in ("../app.py", "..%2fapp.py", "%2e%2e/app.py", "page.py", "nothing.css"):
        assert demo.get(f"/static/x/{name}").status_code == 404


def test_clearing_a_field_clears_it(demo: TestClient) -> None:
    job = desk_of_client(demo)
    link = job.snapshot().document.draft.ids["link",][0]
    now = json.dumps(job.snapshot().document.draft.at("link", link, "microphone"))
    change(demo, ["link", link, "microphone"], "", now)
    assert job.snapshot().document.draft.at("link", link, "microphone") is None
    assert "microphone" not in tomllib.loads(demo.get("/shoot.toml").text)["link"][0]


@pytest.mark.parametrize(
    ("path", "body"),
    [
        ("/api/field", {"path": ["no", "such"], "text": "x"}),
        ("/api/field", {"path": ["shoot", "title"], "seen": "{", "text": "x"}),
        ("/api/field", {"path": ["link"] * 11, "text": "x"}),
        ("/api/entry", {"path": ["shoot"]}),
        ("/api/remove", {"path": ["link", "nobody"], "revision": 0}),
        ("/api/paste", {"path": ["link"], "key": "nothing", "text": "a\tb"}),
        ("/api/equipment", {"kind": "transmitter", "name": "x", "use": "nothing"}),
        ("/plan/lock", {"link": "nobody", "mhz": "571"}),
        ("/plan/lock", {"link": "Salter", "mhz": "many"}),
    ],
)
def test_what_cannot_be_is_one_sentence(demo: TestClient, path: str, body: dict[str, object]) -> None:
    answered = demo.post(path, json=body)
    assert answered.status_code in (200, 400, 409, 422)
    if answered.status_code != 200:
        assert "Traceback" not in answered.text
        assert answered.json()["says"]
