"""The licences of a crew go along from shoot to shoot, and what does not hold there and then is said."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path
from typing import Any

import pytest
from tests.cli.calling import Said, call

from linkwright.store.kitbook import own_bag

Capture = pytest.CaptureFixture[str]
YARD = (51.5, -0.12)


@pytest.fixture(autouse=True)
def _home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    (tmp_path / "work").mkdir()
    monkeypatch.chdir(tmp_path / "work")


def licence(capsys: Capture, *more: str, name: str = "Summer") -> Said:
    figures = ["carriers_mhz = [582.5, 583.1]", 'number = "12/7"', "from = 2027-05-01", "to = 2027-08-31", *more]
    return call(capsys, "kit", "permit", name, *(word for figure in figures for word in ("--with", figure)))


def new(capsys: Capture, folder: str, *more: str) -> dict[str, Any]:
    said = call(
        capsys, "new", folder, "--where", "Yard", "--region", "GB", "--who", "Pilot, Cook", "--kit",
        "body-worn 470-694", "--permit", "gb-coordinated", "--json", *more,
    )  # fmt: skip
    assert said.status == 0, said.err
    found: dict[str, Any] = json.loads(said.out)
    return {**found, "shoot": tomllib.loads((Path(folder) / "shoot.toml").read_text("utf-8"))}


def test_a_licence_that_holds_goes_along_and_the_plan_stands_on_it(capsys: Capture) -> None:
    assert licence(capsys, 'region = "GB"', "only = true").status == 0
    assert "12/7" in call(capsys, "kit").out
    found = new(capsys, "a", "--on", "2027-06-14")
    assert found["lacking"] == []
    (permit,) = found["shoot"]["permit"]
    assert (permit["name"], permit["number"]) == ("Summer", "12/7")
    planned = json.loads(call(capsys, "plan", "a/shoot.toml", "--json").out)
    assert {link["carrier_khz"] for link in planned["calls"][0]["links"]} == {582_500, 583_100}


@pytest.mark.parametrize(
    ("figures", "more", "says"),
    [
        (
            (),
            ("--on", "2027-09-01"),
            "is left out: it holds from 2027-05-01 to 2027-08-31, and the day is 2027-09-01",
        ),
        ((), ("--on", "2027-04-30"), "is left out: it holds from 2027-05-01"),
        (('region = "US"',), ("--on", "2027-06-14"), "is left out: it is of US"),
        (
            ("place = [51.5, -0.12]", "radius_m = 500"),
            ("--on", "2027-06-14", "--at", "51.6,-0.12"),
            "is left out: it holds within 500 m of 51.5, -0.12, 11.1 km from here",  # 0.1 degrees of latitude
        ),
        (('for = ["Mate"]',), ("--on", "2027-06-14"), "is left out: it is for Mate alone"),
        (('outranks = ["us-nowhere"]',), ("--on", "2027-06-14"), "is left out: it outranks"),
    ],
)
def test_what_does_not_hold_is_left_out_and_said(
    capsys: Capture, figures: tuple[str, ...], more: tuple[str, ...], says: str
) -> None:
    assert licence(capsys, *figures).status == 0
    found = new(capsys, "a", *more)
    (told,) = found["lacking"]
    assert told.startswith('permit "Summer", number 12/7 of the bag')
    assert says in told
    assert "permit" not in found["shoot"]


def test_on_its_last_day_and_at_its_edge_it_holds(capsys: Capture) -> None:
    licence(capsys, "place = [51.5, -0.12]", "radius_m = 500", 'for = ["Cook", "Mate"]')
    found = new(capsys, "a", "--on", "2027-08-31", "--at", "51.5044,-0.12")  # 489 m
    assert found["lacking"] == []
    assert found["shoot"]["permit"][0]["for"] == ["Cook"]


def test_where_the_place_is_not_known_it_comes_along_and_both_say_so(capsys: Capture) -> None:
    licence(capsys, "place = [51.5, -0.12]", "radius_m = 500")
    found = new(capsys, "a", "--on", "2027-06-14")
    assert (
        "may not hold here: it holds within 500 m of 51.5, -0.12, and where this is was not said"
        in found["lacking"][0]
    )
    planned = json.loads(call(capsys, "plan", "a/shoot.toml", "--json").out)
    (told,) = [one["says"] for one in planned["findings"] if one["code"] == "permit-unfit"]
    assert "and where Yard is was not said" in told


def test_one_is_taken_out_of_a_shoot_and_knows_its_region(capsys: Capture) -> None:
    licence(capsys)
    new(capsys, "a", "--on", "2027-06-14")
    call(capsys, "kit", "remove", "Summer")
    assert own_bag().permit == ()
    assert call(capsys, "kit", "permit", "summer", "--out-of", "a/shoot.toml").status == 2
    assert call(capsys, "kit", "permit", "Summer", "--out-of", "a/shoot.toml").status == 0
    assert own_bag().permit[0].region == "GB"
    assert call(capsys, "kit", "write", "Summer", "a/shoot.toml").status == 2  # it has that already
    Path("b.toml").write_text("".join(Path("a/shoot.toml").read_text("utf-8").partition("[[permit]]")[:1]), "utf-8")
    assert call(capsys, "kit", "write", "Summer", "b.toml").status == 0
    assert tomllib.loads(Path("b.toml").read_text("utf-8"))["permit"][0]["region"] == "GB"


def test_it_goes_with_the_bag_and_a_shoot_of_another_region_does_not_use_it(capsys: Capture) -> None:
    licence(capsys, 'region = "US"')
    call(capsys, "kit", "export", "bag.toml")
    call(capsys, "kit", "remove", "Summer")
    assert json.loads(call(capsys, "kit", "import", "bag.toml", "--json").out)["permits"] == ["Summer"]
    new(capsys, "a", "--on", "2027-06-14")
    call(capsys, "kit", "write", "Summer", "a/shoot.toml")
    planned = json.loads(call(capsys, "plan", "a/shoot.toml", "--json").out)
    assert any("opens nothing here: it is of US" in one["says"] for one in planned["findings"])
    assert not any("Summer" in one["says"] for one in planned["findings"] if one["code"] == "permit-left")


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("kit", "permit", "X"), "lists nothing"),
        (("kit", "permit", "X", "--with", "carriers_mhz = 606.5"), "carriers_mhz"),
        (("kit", "remove", "Sumer"), 'the bag has no "Sumer"'),
        (("kit", "permit", "X", "--out-of", "none.toml"), "no such file"),
    ],
)
def test_what_is_none_is_told_in_a_sentence(capsys: Capture, words: tuple[str, ...], says: str) -> None:
    said = call(capsys, *words)
    assert (said.status, says in said.err) == (2, True), said.err
