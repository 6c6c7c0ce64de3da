"""What the display of the kit shows is all that a plan chooses from, and what everybody reads."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from tests.cli.calling import call

from linkwright.shoot.carrier_list import display_carriers
from linkwright.shoot.equipment import DisplayCarrier, Transmitter
from linkwright.shoot.errors import InputError

Capture = pytest.CaptureFixture[str]

#: Off any raster of 25 kHz, as displays have them.
LISTED = {"1-01": 518.113, "1-02": 519.321, "1-03": 521.239, "1-04": 524.701, "2-01": 527.917, "2-02": 531.301,
          "2-03": 533.777, "2-04": 538.049}  # fmt: skip
GROUPS = (("A", 518.1), ("B", 519.2))
SHOOT = """[shoot]
title = "Yard"
region = "GB"
permits = ["gb-coordinated"]
accepts = ["gb-coordinated-470-606"]
date = 2027-05-14

[transmitter.Pocket]
use = "uhf-body-worn"
carriers = [
{rows}
]

[[link]]
name = "Pilot"
transmitter = "Pocket"
receiver = "uhf-camera-slot"
within_m = 10

[[link]]
name = "Cook"
transmitter = "Pocket"
receiver = "uhf-camera-slot"
within_m = 10
"""


@pytest.fixture(autouse=True)
def _yard(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    row = '{{ label = "{0}", mhz = {1}, group = "{0[0]}" }}'
    rows = ",\n".join(row.format(label, mhz) for label, mhz in LISTED.items())
    (tmp_path / "yard.toml").write_text(SHOOT.replace("{rows}", rows), "utf-8")
    monkeypatch.chdir(tmp_path)


def test_the_plan_chooses_from_the_list_alone_and_says_the_labels(capsys: Capture) -> None:
    found = json.loads(call(capsys, "plan", "yard.toml", "--json").out)
    khz = {round(1000 * mhz): label for label, mhz in LISTED.items()}
    for link in found["calls"][0]["links"]:
        used = [link["carrier_khz"], *link["spares_khz"]]
        assert link["spares_khz"]
        assert link["labels"] == [[one, khz[one]] for one in used]


def test_every_paper_and_command_shows_them(capsys: Capture) -> None:
    call(capsys, "plan", "yard.toml", "-o", "yard-plan.json")
    link = json.loads(Path("yard-plan.json").read_text("utf-8"))["calls"][0]["links"][0]
    label = link["labels"][0][1]
    shown = f"{label} = {LISTED[label]:.3f}"
    assert shown in call(capsys, "plan", "yard.toml").out
    assert f"on {shown} MHz" in call(capsys, "why", "yard.toml", "Pilot", "--plan", "yard-plan.json").out
    other = next(name for name in LISTED if name not in dict(link["labels"]).values())
    asked = call(capsys, "why", "yard.toml", "Pilot", other, "--plan", "yard-plan.json").out
    assert f"{other} = {LISTED[other]:.3f} MHz" in asked
    assert "none that the display has (next are" in call(capsys, "why", "yard.toml", "Pilot", "520.0").out
    call(capsys, "sheets", "yard.toml", "-o", "paper", "--plan", "yard-plan.json")
    table = next(Path("paper").rglob("*links*.csv")).read_text("utf-8")
    assert f",{label}," in table


def test_neighbours_applications_and_walks_show_them(capsys: Capture) -> None:
    call(capsys, "plan", "yard.toml", "-o", "yard-plan.json")
    link = json.loads(Path("yard-plan.json").read_text("utf-8"))["calls"][0]["links"][0]
    label = link["labels"][0][1]
    shown = f"{label} = {LISTED[label]:.3f}"
    Path("theirs.csv").write_text(f"carrier_mhz,radiated_mw\n{LISTED[label]},250\n", "utf-8")
    assert shown in call(capsys, "neighbours", "yard.toml", "theirs.csv", "--plan", "yard-plan.json").out
    applied = call(capsys, "apply", "yard.toml", "-o", "paper", "--plan", "yard-plan.json").out
    assert f"{shown} (Pilot)" in applied
    assert f",Pilot,{label}," in Path("paper/application.csv").read_text("utf-8")
    log = "\n".join(
        f"2027-05-14T10:00:{n:02}+01:00,Pilot,{-40 - n},{-41 - n},{1 + n},0" for n in range(40)
    )  # fmt: skip
    Path("walk.csv").write_text(f"time,link,rf_a_dbm,rf_b_dbm,x_m,y_m\n{log}\n", "utf-8")
    walked = call(capsys, "walk", "yard.toml", "walk.csv", "--carrier-mhz", str(LISTED[label]), "--power-mw", "5")
    assert f"on {shown} MHz with 5 mW" in " ".join(walked.out.split()), walked.err


def test_a_plan_made_before_the_list_does_not_fit(capsys: Capture) -> None:
    call(capsys, "plan", "yard.toml", "-o", "yard-plan.json")
    text = Path("yard.toml").read_text("utf-8")
    link = json.loads(Path("yard-plan.json").read_text("utf-8"))["calls"][0]["links"][0]
    label = link["labels"][0][1]
    gone = "\n".join(line for line in text.splitlines() if f'"{label}"' not in line)
    Path("yard.toml").write_text(gone, "utf-8")
    said = call(capsys, "why", "yard.toml", "Pilot", "--plan", "yard-plan.json")
    assert "which its display does not have" in said.err + said.out


@pytest.mark.parametrize(
    "text",
    [
        "label,mhz,group\nA1,518.1,A\nA2,519.2,A\n",
        "group;mhz;label;more\nA;518,1;A1;x\nA;519,2;A2;y\n",
        "A1\t518.1\tA\nA2\t519.2\tA\n",
        "A1;518,1;A\r\nA2;519,2;A\r\n",
    ],
)
def test_lists_are_read_as_people_write_them(text: str) -> None:
    assert display_carriers(text, "list.csv") == [
        {"label": "A1", "mhz": 518.1, "group": "A"}, {"label": "A2", "mhz": 519.2, "group": "A"},
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "is empty"),
        ("label,khz\nA,518100\n", "has no column mhz"),
        ("label,mhz\nA,high\n", 'line 2: mhz is "high"; expected a number'),
        ("label,mhz\n,518.1\n", "a row has no label"),
    ],
)
def test_lists_that_are_none_are_told(text: str, says: str) -> None:
    with pytest.raises(InputError, match=says):
        display_carriers(text, "list.csv")


def test_labels_of_several_groups_are_told_apart() -> None:
    carriers = tuple(DisplayCarrier(label="01", mhz=mhz, group=group) for group, mhz in GROUPS)
    of = Transmitter.model_validate({"use": "uhf-body-worn", "carriers": carriers})
    assert of.shown(518_100) == "A 01 = 518.100"
    assert of.shown(520_000) == "520.000"


def test_a_list_brings_its_own_range_and_keeps_within_a_stated_one() -> None:
    rows = ({"label": "1", "mhz": 700.1}, {"label": "2", "mhz": 701.2})
    assert Transmitter.model_validate({"use": "uhf-body-worn", "carriers": rows}).tunes_mhz == ((700.1, 701.2),)
    with pytest.raises(ValueError, match="which tunes_mhz does not hold"):
        Transmitter.model_validate({"use": "uhf-body-worn", "tunes_mhz": ((470.0, 694.0),), "carriers": rows})


def used_groups(capsys: Capture) -> list[set[str]]:
    links = json.loads(call(capsys, "plan", "yard.toml", "--json").out)["calls"][0]["links"]
    return [{label[0] for _, label in link["labels"]} for link in links]


def test_one_group_does_for_all_links_of_a_kit_where_it_costs_nothing(capsys: Capture) -> None:
    first, second = used_groups(capsys)
    assert first == second
    assert len(first) == 1


def test_a_group_that_has_too_few_carriers_is_not_kept_to(capsys: Capture) -> None:
    text = Path("yard.toml").read_text("utf-8")
    few = [
        line for line in text.splitlines() if not any(f'"{label}"' in line for label in ("1-01", "1-02", "2-01"))
    ]
    Path("yard.toml").write_text("\n".join(few), "utf-8")
    first, second = used_groups(capsys)
    assert first | second == {"1", "2"}  # four carriers with spares, of which no group has as many
