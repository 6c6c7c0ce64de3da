"""Which plan a command explains: the one that is named, the one beside the shoot, or a new one; never silently."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from tests.cli.calling import call
from tests.plan.shoots import HEADER, links, pocket

Capture = pytest.CaptureFixture[str]
BODY = pocket("[[518.0, 566.0]]") + links(2)


@pytest.fixture
def shoot(tmp_path: Path) -> Path:
    path = tmp_path / "yard.toml"
    path.write_text(HEADER + BODY, "utf-8")
    return path


@pytest.fixture
def moved(shoot: Path, tmp_path: Path, capsys: Capture) -> Path:
    """A plan of the shoot in which the first link stands where no new plan would put it."""
    plan = tmp_path / "kept.json"
    assert call(capsys, "plan", str(shoot), "-o", str(plan)).status == 0
    written = json.loads(plan.read_text("utf-8"))
    written["calls"][0]["links"][0]["carrier_khz"] = 561_000
    plan.write_text(json.dumps(written, indent=1), "utf-8")
    return plan


def test_why_reach_and_sheets_explain_the_plan_beside_the_shoot(
    shoot: Path, moved: Path, tmp_path: Path, capsys: Capture
) -> None:
    why = call(capsys, "why", str(shoot), "L1")
    assert "561.000 MHz" in why.out
    assert f"by the plan in {moved}" in why.err
    reach = json.loads(call(capsys, "reach", str(shoot), "--json").out)
    assert reach["links"][0]["carrier_khz"] == 561_000
    paper = tmp_path / "paper"
    assert call(capsys, "sheets", str(shoot), "-o", str(paper), "--only", "carriers.csv").status == 0
    assert "561" in (paper / "carriers.csv").read_text("utf-8")


def test_a_named_plan_outranks_the_one_beside(shoot: Path, moved: Path, tmp_path: Path, capsys: Capture) -> None:
    named = tmp_path / "elsewhere" / "named.json"
    named.parent.mkdir()
    written = json.loads(moved.read_text("utf-8"))
    written["calls"][0]["links"][0]["carrier_khz"] = 562_000
    named.write_text(json.dumps(written), "utf-8")
    for command in (["why", str(shoot), "L1"], ["reach", str(shoot), "--json"]):
        assert "562" in call(capsys, *command, "--plan", str(named)).out


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("[[518.0, 566.0]]", "[[518.0, 540.0]]", "L1 stands on 561.000 MHz, which pocket does not tune"),
        ('name = "L2"', 'name = "Cook"', 'it plans the link "L2" in the call "Whole shoot", which lacks it'),
        ("", '[[call]]\nname = "Late"\nlinks = ["L1"]', 'it has no call "Late"'),
    ],
)
def test_a_plan_that_does_not_fit_any_more_is_refused_with_what_differs(
    shoot: Path, moved: Path, tmp_path: Path, capsys: Capture, old: str, new: str, says: str
) -> None:
    text = shoot.read_text("utf-8")
    shoot.write_text(text.replace(old, new, 1) if old else text + new, "utf-8")
    for command in (
        ["why", str(shoot), "L1"], ["reach", str(shoot)], ["sheets", str(shoot), "-o", str(tmp_path / "paper")],
    ):  # fmt: skip
        told = call(capsys, *command, "--plan", str(moved))
        assert told.status == 2
        assert says in told.err
    beside = call(capsys, "why", str(shoot), "L1")
    assert beside.status == 0, "without --plan it is passed over, and that is told"
    assert f"{moved} is passed over" in beside.err
    assert says in beside.err
