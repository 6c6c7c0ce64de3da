"""`linkwright hit`: somebody is on a carrier, told from the command line."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path

import pytest
from tests.cli.calling import call
from tests.plan.shoots import HEADER, links, pocket

from linkwright.shoot.reading import read_shoot

Capture = pytest.CaptureFixture[str]


@pytest.fixture
def shoot(tmp_path: Path, capsys: Capture) -> Path:
    path = tmp_path / "yard.toml"
    path.write_text(f"# a remark that stays\n{HEADER}{pocket('[[518.0, 566.0]]')}{links(3)}", "utf-8")
    assert call(capsys, "plan", str(path), "-o", str(tmp_path / "plan.json")).status == 0
    return path


def carriers(path: Path) -> dict[str, int]:
    plan = json.loads(path.read_text("utf-8"))
    return {link["link"]: link["carrier_khz"] for link in plan["calls"][0]["links"]}


def test_one_moves_in_order_with_its_reason_and_both_files_say_so(shoot: Path, capsys: Capture) -> None:
    before = carriers(shoot.parent / "plan.json")
    hit = before["L2"] / 1000.0
    told = call(capsys, "hit", str(shoot), f"{hit}", "--dbm", "-60", "--until", "14:00")
    assert told.status == 0
    assert "1. L2 from " in told.out
    assert f"Stranger on {hit:.3f} at -60 dBm" in " ".join(told.out.split())
    text = shoot.read_text("utf-8")
    assert text.startswith("# a remark that stays")
    (other,) = tomllib.loads(text)["other"]
    assert (other["carrier_mhz"], other["heard_dbm"], str(other["to"])) == (hit, -60.0, "14:00:00")
    after = carriers(shoot.parent / "yard-plan-1.json")
    assert [name for name in before if before[name] != after[name]] == ["L2"]


def test_without_a_level_the_least_kind_is_assumed_and_said(shoot: Path, capsys: Capture) -> None:
    told = call(capsys, "hit", str(shoot), "540.0", "--wide", "400", "--json")
    plan = json.loads(told.out)
    (assumed,) = [found for found in plan["findings"] if found["code"] == "other-assumed"]
    assert "10 m from the receivers, with 50 mW, assumed" in assumed["says"]
    assert read_shoot(shoot).other[0].bandwidth_khz == 400


def test_twice_the_same_are_two_others(shoot: Path, capsys: Capture) -> None:
    for _ in range(2):
        call(capsys, "hit", str(shoot), "540.0", "--dbm", "-80")
    assert [other.name for other in read_shoot(shoot).other] == ["Stranger on 540.000", "Stranger on 540.000 (2)"]
    assert {path.name for path in shoot.parent.glob("*-plan-*.json")} == {"yard-plan-1.json", "yard-plan-2.json"}


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["540.0", "--until", "soon"], "expected a time of day such as 14:00"),
        (["540.0005"], "is no whole number of kHz"),
        (["540.0", "--site", "Moon"], 'there is no site "Moon"'),
    ],
)
def test_what_cannot_be_is_one_sentence_and_changes_nothing(
    shoot: Path, capsys: Capture, arguments: list[str], says: str
) -> None:
    before = shoot.read_bytes()
    told = call(capsys, "hit", str(shoot), *arguments)
    assert told.status == 2
    assert says in told.err
    assert shoot.read_bytes() == before
