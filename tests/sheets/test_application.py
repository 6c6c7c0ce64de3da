"""An application for a permit: what it asks, on which permit each carrier stands; in Britain and in America."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path

import pytest
from tests.cli.calling import call
from tests.plan.shoots import QUAY

PERMIT = """
[[permit]]
name = "Quay licence"
number = "PM 4711"
holder = "The crew"
ranges_mhz = [[518.0, 542.0]]
place = [49.9, -7.5]
radius_m = 500
from = 2027-05-14
to = 2027-05-14
"""
US = """
[shoot]
title = "Two rooms"
region = "US"
permits = ["us-part-74"]
date = 2027-07-14
[[site]]
name = "House"
latitude = 43.0
longitude = -108.0
surroundings = "open"
spots = [{ name = "Cart", x_m = 0, y_m = 0, z_m = 1.8 }, { name = "Barn", x_m = 180, y_m = 0, z_m = 1.4 }]
[[link]]
name = "Sheriff"
transmitter = "uhf-body-worn"
receiver = "uhf-cart-rack"
[[call]]
name = "Noon"
from = 11:00:00
to = 13:00:00
"""


def rows_of(folder: Path) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO((folder / "application.csv").read_text("utf-8"))))


def test_what_is_asked_for_a_british_shoot(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    said = call(capsys, "apply", str(QUAY), "-o", str(tmp_path))
    assert said.status == 1
    words = (
        "One carrier needs a permit (coordinated licence, by site, frequency and time), and no permit of the shoot"
    )
    assert words in " ".join(said.out.split())
    row = rows_of(tmp_path)[0]
    assert (row["from"], row["to"]) == ("2027-05-14T08:30:00+01:00", "2027-05-14T10:15:00+01:00")
    assert (row["latitude"], row["longitude"]) == ("49.9", "-7.5")
    # ERP is EIRP less 2.15 dB: a half-wave dipole's gain (ITU-R V.573, from memory).
    assert float(row["eirp_mw"]) / float(row["erp_mw"]) == pytest.approx(10 ** (2.15 / 10), rel=0.01)
    assert 518.0 <= float(row["carrier_mhz"]) <= 542.0
    assert (row["stands_on"], row["permit"]) == ("gb-coordinated", "")
    assert (tmp_path / "application.pdf").read_bytes().startswith(b"%PDF")


def test_a_permit_that_lists_the_carrier_is_printed_with_its_number(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    text = QUAY.read_text("utf-8")
    (tmp_path / "job.toml").write_text(text + PERMIT, "utf-8")
    said = call(capsys, "apply", str(tmp_path / "job.toml"), "-o", str(tmp_path), "--json")
    told = json.loads(said.out)
    assert told["says"] == []
    assert {row["permit"] for row in told["rows"]} == {"Quay licence, PM 4711"}
    assert {row["stands_on"] for row in told["rows"]} == {'permit "Quay licence", number PM 4711'}
    for change in ("radius_m = 500 ", "radius_m = 0.5"), ("to = 2027-05-14", "to = 2027-05-13"), ("542.0", "519.0"):
        changed = PERMIT.replace("from = 2027-05-14", "from = 2027-05-12").replace(
            "radius_m = 500", "radius_m = 500 "
        )
        if change[0].startswith("radius"):
            changed = changed.replace("-7.5]", "-7.6]")
        (tmp_path / "job.toml").write_text(text + changed.replace(*change), "utf-8")
        assert call(capsys, "apply", str(tmp_path / "job.toml"), "-o", str(tmp_path)).status == 1, change


def test_an_american_shoot_is_asked_in_its_own_time_and_place(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    (tmp_path / "rooms.toml").write_text(US, "utf-8")
    said = call(capsys, "apply", str(tmp_path / "rooms.toml"), "-o", str(tmp_path))
    assert "Part 74 low power auxiliary licence" in " ".join(said.out.split())
    (row,) = rows_of(tmp_path)
    assert row["from"] == "2027-07-14T11:00:00-06:00"  # mountain daylight time, by the place in Wyoming
    assert row["radius_m"] == "100"
    assert row["receiver_height_m"] == "1.8"


def test_check_says_which_carriers_of_the_plan_stand_on_no_permit(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    (tmp_path / "job.toml").write_text(QUAY.read_text("utf-8"), "utf-8")
    assert "no permit of the shoot lists" not in call(capsys, "check", str(tmp_path / "job.toml")).out
    call(capsys, "plan", str(tmp_path / "job.toml"), "-o", str(tmp_path / "plan.json"))
    said = call(capsys, "check", str(tmp_path / "job.toml"))
    assert "no permit of the shoot lists it: " in " ".join(said.out.split())
    assert "`linkwright apply`" in said.out
    (tmp_path / "job.toml").write_text(QUAY.read_text("utf-8") + PERMIT, "utf-8")
    said = call(capsys, "check", str(tmp_path / "job.toml"), "--plan", str(tmp_path / "plan.json"), "--json")
    assert json.loads(said.out)["without_permit"] == []
