"""Every kind of link on the command line: what `plan`, `why`, `reach` and `check` say of both ends."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from tests.cli.calling import call
from tests.plan.ends import gala_text

from linkwright.shoot.reading import parse_shoot
from linkwright.shoot.writing import write_shoot


@pytest.fixture
def gala(tmp_path: Path) -> str:
    path = tmp_path / "gala.toml"
    path.write_text(gala_text("US"), "utf-8")
    return str(path)


def test_plan_why_and_reach_name_each_one_who_listens(gala: str, capsys: pytest.CaptureFixture[str]) -> None:
    plan = Path(gala).with_name("plan.json")
    said = call(capsys, "plan", gala, "-o", str(plan))
    assert said.status == 0
    text = " ".join(said.out.split())
    assert "Band's ears is heard by Singer" in text
    assert "Floor: finds its carriers by itself in 1921.536 to 1928.448 MHz, so it is given none" in text
    why = " ".join(call(capsys, "why", gala, "Band's ears", "--plan", str(plan)).out.split())
    assert "body at the receiver" in why
    assert "Drummer at Riser: ● holds" in why
    itself = " ".join(call(capsys, "why", gala, "Floor", "--plan", str(plan)).out.split())
    assert "it is given none" in itself
    assert "kTB" in itself
    reach = json.loads(call(capsys, "reach", gala, "--plan", str(plan), "--json").out)
    told = {
        (link["link"], link.get("listener")): [spot["spot"] for spot in link["spots"]] for link in reach["links"]
    }
    assert told["Band's ears", "Singer"] == ["Riser", "Front"]
    assert told["Band's ears", "Drummer"] == ["Riser"]
    assert told["Mix to camera", None] == ["Front", "Aisle"]
    assert "Aisle, heard at Front" in told["Reporter", None]


def test_a_frequency_that_a_block_did_not_get_is_explained(gala: str, capsys: pytest.CaptureFixture[str]) -> None:
    said = call(capsys, "why", gala, "Actor 2", "475.0")
    assert "inside one TV channel" in " ".join(said.out.split())
    assert "Actor 1" not in said.out  # who shares its block stands against nothing


def test_check_and_sheets_know_every_kind_of_link(
    gala: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert call(capsys, "check", gala).status == 0
    folder = tmp_path / "paper"
    assert call(capsys, "sheets", gala, "-o", str(folder)).status == 0
    table = (folder / "links.csv").read_text("utf-8")
    assert "Front (Singer)" in table
    assert "Floor,,," in table


def test_the_gala_is_written_as_it_was_read() -> None:
    for country in ("US", "GB"):
        shoot = parse_shoot(gala_text(country), "gala.toml")
        assert parse_shoot(write_shoot(shoot), "again.toml") == shoot
