"""`linkwright walk` from outside: a log teaches, the file is named, and the plan carries what was measured."""

from __future__ import annotations

import json
import math
from pathlib import Path

import numpy as np
import pytest
from tests.cli.calling import call
from tests.cli.test_reach_command import YARD
from tests.cli.walking import potter

from linkwright.reach.ground import along_route


@pytest.fixture
def yard(tmp_path: Path) -> Path:
    path = tmp_path / "yard.toml"
    path.write_text(YARD, "utf-8")
    return path


def walked(yard: Path, over_db: float) -> Path:
    """A log of a walk in which every level lies that much over the model, with some ripple."""
    link = potter(yard)
    way = along_route(link, 400)
    ripple = 2.0 * np.sin(np.arange(400) * 0.7)
    rows = [f"{t:.2f},{level:.1f}" for t, level in zip(way.time_s, way.level_dbm + over_db + ripple, strict=True)]
    path = yard.parent / "walk.csv"
    path.write_text("\n".join(["time,rf_a_dbm", *rows]), "utf-8")
    return path


def test_a_log_teaches_and_the_plan_carries_it(capsys: pytest.CaptureFixture[str], yard: Path) -> None:
    before = json.loads(call(capsys, "plan", str(yard), "--json").out)["calls"][0]["links"][0]
    said = call(capsys, "walk", str(yard), str(walked(yard, -8.0)), "--power-mw", "10", "--carrier-mhz", "570")
    assert said.status == 0, said.err
    assert "90 %" in said.out.splitlines()[0]
    file = yard.parent / "yard-walk.toml"
    assert f'measured = "{file.name}"' in said.out
    yard.write_text(
        YARD.replace('surroundings = "street"', f'surroundings = "street"\nmeasured = "{file.name}"'), "utf-8"
    )
    after = json.loads(call(capsys, "plan", str(yard), "--json").out)["calls"][0]["links"][0]
    (line,) = [line for line in after["ledger"] if line["part"] == "walk test"]
    assert line["evidence"] == "measured"
    assert line["spread_db"] > 0.0
    assert line["db"] == pytest.approx(-8.0, abs=3.0)
    assert sum(one["db"] for one in after["ledger"] if one["what"] == "wanted") == pytest.approx(
        after["wanted_dbm"]
    )
    assert after["power_mw"] > before["power_mw"] or after["margin_db"] < before["margin_db"]


def test_json_has_what_was_learnt(capsys: pytest.CaptureFixture[str], yard: Path, tmp_path: Path) -> None:
    out = tmp_path / "learnt.toml"
    said = call(capsys, "walk", str(yard), str(walked(yard, 3.0)), "--json", "-o", str(out))
    found = json.loads(said.out)
    assert found["written"] == str(out)
    assert found["learnt"]["offset_low_db"] <= found["learnt"]["offset_db"] <= found["learnt"]["offset_high_db"]
    assert math.isfinite(found["learnt"]["sigma_db"])


@pytest.mark.parametrize(
    ("content", "options", "says"),
    [
        ("time,rf_a_dbm\n0,-50\n1,x\n", [], 'walk.csv, line 3: rf_a_dbm is "x"; expected a number'),
        ("time,rf_a_dbm\n0,-50\n9,-50\n", [], "expected at least 12: walk farther, and log more often"),
        ("time,link,rf_a_dbm\n0,Cook,-50\n9,Cook,-50\n", [], 'there is no link "Cook"'),
        (
            "time,link,rf_a_dbm\n0,Cook,-50\n9,Cook,-50\n",
            ["--link", "Potter"],
            "the log has no readings of the link",
        ),
        ("time,rf_a_dbm\n0,-50\n9,-50\n", ["--site", "Quay"], "is live on no site 'Quay' of this shoot"),
    ],
)
def test_a_bad_log_gets_one_sentence(
    capsys: pytest.CaptureFixture[str], yard: Path, content: str, options: list[str], says: str
) -> None:
    path = yard.parent / "walk.csv"
    path.write_text(content, "utf-8")
    said = call(capsys, "walk", str(yard), str(path), *options)
    assert said.status == 2
    assert says in said.err
    assert len(said.err.strip().splitlines()) == 1


def test_a_measured_file_that_is_not_there_or_none_is_one_sentence(
    capsys: pytest.CaptureFixture[str], yard: Path
) -> None:
    yard.write_text(
        YARD.replace('surroundings = "street"', 'surroundings = "street"\nmeasured = "w.toml"'), "utf-8"
    )
    assert call(capsys, "check", str(yard)).err.strip() == "w.toml: there is no such file"
    (yard.parent / "w.toml").write_text("readings = 3\n", "utf-8")
    said = call(capsys, "check", str(yard))
    assert said.err.strip() == "w.toml: is not what a walk test taught: nearest_m: field required"
