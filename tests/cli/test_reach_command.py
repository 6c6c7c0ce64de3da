"""`linkwright reach` from outside."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from tests.cli.calling import call

QUAY = Path(__file__).parents[1] / "shoot" / "data" / "quay.toml"
YARD = """
[shoot]
title = "Yard"
region = "GB"
permits = ["gb-coordinated"]
date = 2027-05-14
accepts = ["gb-coordinated-470-606"]

[[site]]
name = "Yard"
surroundings = "street"
spots = [
  { name = "Cart", x_m = 0, y_m = 0, z_m = 1.8 },
  { name = "Gate", x_m = 22, y_m = 14 },
  { name = "Shed", x_m = 40, y_m = -14 },
]
walls = [{ from = [30, -25], to = [30, -4], material = "brick" }]

[[link]]
name = "Potter"
transmitter = "uhf-body-worn-narrow"
receiver = "uhf-cart-rack"
route = ["Gate", "Shed"]
"""


@pytest.fixture
def yard(tmp_path: Path) -> Path:
    path = tmp_path / "yard.toml"
    path.write_text(YARD, "utf-8")
    return path


def test_the_answer_comes_first_and_every_spot_has_its_margin(
    capsys: pytest.CaptureFixture[str], yard: Path
) -> None:
    said = call(capsys, "reach", str(yard))
    assert said.status == 0, said.err
    first, *rest = said.out.splitlines()
    assert first.startswith("The one link reaches; the weakest is Potter at ")
    assert any("Gate" in line and "holds" in line for line in rest)
    assert any("Shed" in line for line in rest)
    assert any(line.startswith("Antennas together at one spot") for line in rest)


def test_json_is_the_contract_and_agrees_with_the_plan(capsys: pytest.CaptureFixture[str], yard: Path) -> None:
    found = json.loads(call(capsys, "reach", str(yard), "--json").out)
    plan = json.loads(call(capsys, "plan", str(yard), "--json").out)
    (link,), (planned,) = found["links"], plan["calls"][0]["links"]
    assert link["link"] == "Potter"
    assert [sorted(spot) for spot in link["spots"]] == [
        ["availability", "breaks_per_hour", "in_hand_db", "margin_db", "spot", "sure", "wanted_dbm"]
    ] * 2
    worst = min(link["spots"], key=lambda spot: spot["in_hand_db"])
    assert worst["spot"] == planned["worst_at"]
    # All the time at the worst spot is worse than half of it, and being turned the worst way there is worse yet.
    assert worst["in_hand_db"] <= planned["in_hand_db"] == link["in_hand_db"]
    assert link["alone"]["in_hand_db"] <= worst["in_hand_db"]
    assert worst["in_hand_db"] < worst["margin_db"]
    assert all((spot["in_hand_db"] >= 0.0) == (spot["sure"] >= 0.9) for spot in link["spots"])


@pytest.mark.parametrize("ending", ["svg", "png"])
def test_the_ground_is_drawn(capsys: pytest.CaptureFixture[str], yard: Path, tmp_path: Path, ending: str) -> None:
    path = tmp_path / f"ground.{ending}"
    assert call(capsys, "reach", str(yard), "--picture", str(path)).status == 0
    data = path.read_bytes()
    assert data.startswith(b"<svg" if ending == "svg" else b"\x89PNG")
    if ending == "svg":
        assert b"Potter" in data
        assert b"Shed" in data
        again = tmp_path / "again.svg"
        call(capsys, "reach", str(yard), "--picture", str(again))
        assert again.read_bytes() == data


@pytest.mark.parametrize(
    ("options", "says"),
    [
        (["--picture", "ground.jpg"], '--picture is "ground.jpg"; expected a file that ends in .svg or .png'),
        (["--call", "Evening"], 'there is no call "Evening"; the calls are Whole shoot'),
        (
            ["--link", "Poter", "--picture", "x.svg"],
            'there is no link "Poter" with a carrier; did you mean "Potter"?',
        ),
    ],
)
def test_what_is_not_there_is_one_sentence(
    capsys: pytest.CaptureFixture[str], yard: Path, options: list[str], says: str
) -> None:
    said = call(capsys, "reach", str(yard), *options)
    assert (said.status, said.err.strip()) == (2, says)


def test_a_link_that_does_not_hold_is_exit_1(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    far = tmp_path / "far.toml"
    far.write_text(YARD.replace("x_m = 40, y_m = -14", "x_m = 400, y_m = -14"), "utf-8")
    said = call(capsys, "reach", str(far))
    assert said.status == 1
    assert said.out.startswith("1 of 1 links does not reach surely; the weakest is Potter at Shed")


def test_the_example_of_the_contract(capsys: pytest.CaptureFixture[str]) -> None:
    found = json.loads(call(capsys, "reach", str(QUAY), "--json").out)
    assert {spot["spot"] for link in found["links"] for spot in link["spots"]} == {"Gangway", "Camera"}
