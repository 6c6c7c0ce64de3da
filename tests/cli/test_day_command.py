"""`linkwright day` from outside: the day of the built-in shoot, a plan's powers, bad input."""

from __future__ import annotations

import datetime
import importlib.resources
import json
import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from tests.cli.calling import Said, call

DEMO = Path(str(importlib.resources.files("linkwright.demo") / "shoot.toml"))
Run = Callable[..., Said]


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]) -> Run:
    """The command line."""
    return lambda *arguments: call(capsys, *map(str, arguments))


def changed(folder: Path, old: str, new: str) -> Path:
    """The built-in shoot with something else in it, its sweep beside it."""
    text = DEMO.read_text("utf-8")
    assert old in text
    (folder / "shoot.toml").write_text(text.replace(old, new), "utf-8")
    (folder / "sweep.csv").write_bytes((DEMO.parent / "sweep.csv").read_bytes())
    return folder / "shoot.toml"


def test_the_day_of_the_demo_changes_in_breaks(run: Run) -> None:
    said = run("day", DEMO, "--json")
    assert said.status == 0, said.err
    told: dict[str, Any] = json.loads(said.out)
    changes = {one["link"]: one for one in told["batteries"]}
    assert set(changes) == {"Boom", "Presenter", "Salter", "Historian", "Packer"}
    for one in changes.values():
        at = datetime.datetime.fromisoformat(one["change_at"])
        assert at.utcoffset() == datetime.timedelta(hours=1), "British summer time"
        assert f"{at:%H:%M}" in ("10:30", "13:06", "15:10"), "in a break or between calls"
        assert one["left_h"] > 0.0
    assert [one["call"] for one in told["calls"]] == ["Raking", "Boiling"]


def test_a_plan_from_its_file_gives_the_powers(run: Run, tmp_path: Path) -> None:
    plan = tmp_path / "plan.json"
    assert run("plan", DEMO, "-o", plan).status == 1, "one link is thin"
    written = json.loads(plan.read_text("utf-8"))
    told = json.loads(run("day", DEMO, "--plan", plan, "--json").out)
    assert written["batteries"] == told["batteries"], "the plan's own field is the same"
    for one in written["calls"][0]["links"]:
        one["power_mw"] = 50.0
    plan.write_text(json.dumps(written), "utf-8")
    more = json.loads(run("day", DEMO, "--plan", plan, "--json").out)
    assert min(one["run_h"] for one in more["links"]) < min(one["run_h"] for one in told["links"])


def test_the_table_and_the_picture(run: Run, tmp_path: Path) -> None:
    picture = tmp_path / "day.svg"
    said = run("day", DEMO, "--picture", picture)
    assert said.status == 0
    assert said.out.startswith("8 battery changes, none in a take")
    assert "Pack 10 AA alkaline cells" in said.out
    assert "Never mix cells" in said.out
    svg = picture.read_text("utf-8")
    assert svg.startswith("<svg")
    assert "10:30" in svg


def test_a_take_that_no_set_outlasts_leaves_with_one(run: Run, tmp_path: Path) -> None:
    shoot = changed(tmp_path, "breaks = [{ from = 10:30:00, to = 10:50:00 }]", "")
    text = shoot.read_text("utf-8").replace('"alkaline", count = 2', '"alkaline", count = 2, capacity_mah = 2400')
    shoot.write_text(text, "utf-8")
    said = run("day", shoot, "--json")
    assert said.status == 1
    assert {one["link"] for one in json.loads(said.out)["batteries"] if one["when"] == "take"} == {"Boom"}
    plan = json.loads(run("plan", shoot, "--json").out)
    assert [one["about"] for one in plan["findings"] if one["code"] == "battery-in-take"] == ["Boom"]


LONG = """[shoot]
title = "Long"
region = "GB"
date = 2027-05-14
accepts = ["gb-coordinated-470-606"]
permits = ["gb-coordinated"]
[transmitter.plug]
use = "uhf-plug-on"
cells = { type = "AA", chemistry = "lithium", count = 2 }
drain_mw = { base = 380, per_radiated_mw = 8 }
latency_ms = 2.0
[[site]]
name = "Quay"
[[link]]
name = "Boom"
transmitter = "plug"
receiver = "uhf-cart-rack"
locked_mw = 5
[[call]]
name = "All day"
from = 07:00:00
to = 18:15:00
links = ["Boom"]
breaks = [{ from = 12:00:00, to = 12:45:00 }]
"""


def test_cells_are_changed_in_a_break_before_what_one_set_of_ten_may_lack(run: Run, tmp_path: Path) -> None:
    shoot = tmp_path / "shoot.toml"
    shoot.write_text(LONG, "utf-8")
    told = json.loads(run("day", shoot, "--json").out)
    (link,), (change,) = told["links"], told["batteries"]
    assert link["run_h"] > 11.5, "the median set would do"
    assert link["run_h"] * math.exp(-1.2816 * link["spread"]) < 11.25, "the weakest of ten would not"
    assert datetime.datetime.fromisoformat(change["change_at"]).time() == datetime.time(12, 0)


def test_a_plug_on_without_a_microphone_feeds_the_one_that_is_assumed(run: Run, tmp_path: Path) -> None:
    shoot = tmp_path / "shoot.toml"
    hours = []
    for named in ("", 'microphone = "short-gun"\n', 'microphone = "handheld-dynamic"\n'):
        shoot.write_text(LONG.replace("locked_mw = 5\n", f"locked_mw = 5\n{named}"), "utf-8")
        hours.append(json.loads(run("day", shoot, "--json").out)["links"][0]["run_h"])
    assert hours[0] == hours[1] < hours[2]


def test_times_that_do_not_fit_are_told(run: Run, tmp_path: Path) -> None:
    shoot = changed(tmp_path, "travel_min = 10", "travel_min = 55")
    said = run("day", shoot)
    assert said.status == 1
    assert "Boiling: 25 min are missing after Raking." in said.out


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ('[[run]]\ntransmitter = "pockt"\nran_h = 3\npower_mw = 10\n', 'unknown transmitter "pockt"'),
        ('[[run]]\ntransmitter = "pocket"\nran_h = -3\npower_mw = 10\n', "ran_h"),
        ('[[run]]\ntransmitter = "pocket"\n', "ran_h"),
    ],
)
def test_bad_runs_are_one_sentence(run: Run, tmp_path: Path, text: str, says: str) -> None:
    shoot = tmp_path / "shoot.toml"
    shoot.write_text(DEMO.read_text("utf-8") + text, "utf-8")
    said = run("day", shoot)
    assert said.status == 2
    assert says in said.err
    assert "Traceback" not in said.err


def test_a_power_that_is_no_step_is_refused(run: Run, tmp_path: Path) -> None:
    shoot = changed(tmp_path, 'name = "Salter"\n', 'name = "Salter"\nlocked_mw = 7\n')
    said = run("day", shoot)
    assert said.status == 2
    assert "locked to 7 mW; the steps of pocket are 5, 10, 20, 50" in said.err


def test_a_locked_power_is_kept(run: Run, tmp_path: Path) -> None:
    shoot = changed(tmp_path, 'name = "Salter"\n', 'name = "Salter"\nlocked_mw = 50\n')
    links = {one["link"]: one for one in json.loads(run("day", shoot, "--json").out)["links"]}
    assert (links["Salter"]["power_mw"], links["Raker"]["power_mw"]) == (50.0, 5.0)


def test_another_shoots_plan_is_refused(run: Run, tmp_path: Path) -> None:
    plan = tmp_path / "plan.json"
    run("plan", DEMO, "-o", plan)
    plan.write_text(plan.read_text("utf-8").replace('"Salter"', '"Somebody"'), "utf-8")
    said = run("day", DEMO, "--plan", plan)
    assert said.status == 2
    assert "Somebody" in said.err
