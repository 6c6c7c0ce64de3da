"""The same people at a new place: from the command line and on the pages by one function."""

from __future__ import annotations

import importlib.resources
import json
import tomllib
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient
from tests.cli.calling import call
from tests.web.conftest import demo, desk_of_client, planned, store

__all__ = ["demo", "store"]
Capture = pytest.CaptureFixture[str]
OLD = Path(str(importlib.resources.files("linkwright.demo") / "shoot.toml"))
#: What is of a place, of a day, or of both.
GONE = ("at", "route", "set_mhz", "set_at", "heard_at", "locked_mhz", "in_vehicle")


@pytest.fixture(autouse=True)
def _home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    monkeypatch.chdir(tmp_path)


def old() -> dict[str, Any]:
    return tomllib.loads(OLD.read_text("utf-8"))


def ends(link: dict[str, Any]) -> list[dict[str, Any]]:
    return [link, *([link["transmit"]] if "transmit" in link else []), *link.get("receive", [])]


def is_as_before(new: dict[str, Any], names: list[str]) -> None:
    """Whether the people have what they had, and nothing of the old place is left."""
    before = {link["name"]: link for link in old()["link"]}
    assert [link["name"] for link in new["link"]] == names
    for link in new["link"]:
        was = before[link["name"]]
        for key in was.keys() - {*GONE, "within_m", "transmit", "receive"}:
            assert link[key] == was[key], (link["name"], key)
        assert not any(key in end for end in ends(link) for key in GONE)
        assert [end.get("kit") for end in ends(link)] == [end.get("kit") for end in ends(was)]
    for kind in ("transmitter", "receiver", "microphone", "recorder"):
        assert (new.get(kind) or {}).keys() == (old().get(kind) or {}).keys()
    assert "other" not in new
    assert [site["name"] for site in new["site"]] == ["Mill"]


def test_only_the_place_is_said_and_it_plans(capsys: Capture) -> None:
    said = call(capsys, "new", "b", "--like", str(OLD), "--where", "Mill", "--on", "2027-05-20", "--json")
    assert said.status == 0, said.err
    new = tomllib.loads(Path("b/shoot.toml").read_text("utf-8"))
    is_as_before(new, [link["name"] for link in old()["link"]])
    assert new["shoot"]["permits"] == old()["shoot"].get("permits", [])
    assert json.loads(said.out)["links"].keys() == {link["name"] for link in old()["link"]}
    done = call(capsys, "plan", "b/shoot.toml", "--json")
    assert done.status in (0, 1), done.err
    (only,) = json.loads(done.out)["calls"]
    assert only["site"] == "Mill"


def test_fewer_come_and_somebody_new_gets_the_next_of_the_bag(capsys: Capture) -> None:
    call(capsys, "kit", "add", "Spare pack", "--as", "body-worn 470-694")
    said = call(
        capsys, "new", "b", "--like", str(OLD), "--where", "Mill", "--on", "2027-05-20", "--who", "Boom, Guest"
    )  # fmt: skip
    assert said.status == 0, said.err
    new = tomllib.loads(Path("b/shoot.toml").read_text("utf-8"))
    assert [link["name"] for link in new["link"]] == ["Boom", "Guest"]
    assert new["link"][1]["transmitter"] == "Spare pack"
    assert "Spare pack" in new["transmitter"]


def test_another_country_keeps_no_permit_of_the_old_one(capsys: Capture) -> None:
    words = ("--where", "Mill", "--region", "DE", "--on", "2027-05-20")
    assert call(capsys, "new", "b", "--like", str(OLD), *words).status == 0
    shoot = tomllib.loads(Path("b/shoot.toml").read_text("utf-8"))["shoot"]
    assert (shoot["permits"], shoot["timezone"], "accepts" in shoot) == ([], "Europe/Berlin", False)


def test_an_old_shoot_that_is_none_is_told(capsys: Capture) -> None:
    said = call(capsys, "new", "b", "--like", "none.toml", "--where", "Mill")
    assert (said.status, "none.toml" in said.err, Path("b").exists()) == (2, True, False)


def test_the_pages_keep_packs_and_gains_too(demo: TestClient) -> None:
    text = demo.get("/shoot?again=1").text
    assert 'data-again="yes"' in text
    assert "packs, microphones, gains and licences stay as they were" in text
    names = [link["name"] for link in old()["link"]]
    begun = {
        "where": "Mill", "region": old()["shoot"]["region"], "date": "2027-05-20", "who": names, "again": True,
        "permits": old()["shoot"].get("permits", []),
    }  # fmt: skip
    for _ in range(2):  # each answer is kept as it is given
        told = demo.post("/prepare/begin", json=begun)
        assert told.status_code == 200, told.text
        assert [one[0] for one in told.json()["outfits"]] == names
    document = desk_of_client(demo).store.document().document
    is_as_before(json.loads(json.dumps(document, default=str)), names)
    planned(demo)
    assert demo.post("/api/undo").status_code == 200
