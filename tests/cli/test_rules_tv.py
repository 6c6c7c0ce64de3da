"""`linkwright rules --stations` from outside, and a site's list in a shoot."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from tests.cli.calling import call

from linkwright.desk.loading import load_tv
from linkwright.shoot.errors import InputError
from linkwright.shoot.reading import parse_shoot

Capture = pytest.CaptureFixture[str]
LIST = """Call,Ch,Lat,Lon,HAAT,ERP,DA
NEAR,30,404500,735900,365,1000,ND
SIDE,24,411500,735900,150,20 kW,DA
WEST,36,404500,1184500,300,500,ND
"""


@pytest.fixture
def stations(tmp_path: Path) -> str:
    path = tmp_path / "stations.csv"
    path.write_text(LIST, "utf-8")
    return str(path)


def test_json(capsys: Capture, stations: str) -> None:
    said = call(capsys, "rules", "US", "--at", "40.75,-74.0", "--stations", stations, "--json")
    assert said.status == 0
    found = json.loads(said.out)
    assert {"channel", "station", "field_dbuv_m", "distance_km"} <= set(found["tv"][0])
    assert {(one["channel"], one["station"]) for one in found["tv"]} == {("30", "NEAR"), ("24", "SIDE")}
    near = next(one for one in found["tv"] if one["station"] == "NEAR")
    assert near["distance_km"] == pytest.approx(1.4, abs=0.05)
    states = {one["channel"]: one["state"] for one in found["channels"]}
    assert len(states) == 35  # channels 2 to 36
    assert states["30"] == states["24"] == "closed"
    assert states["36"] == "free"
    separation = {one["channel"]: one for one in found["separation"]}
    assert separation["30"]["kept"] is False
    assert separation["30"]["required_km"] == 4
    assert "us-part-15-470-608" in separation["30"]["rows"]
    assert any("read as west" in note for note in found["stations"]["notes"])


def test_text(capsys: Capture, stations: str) -> None:
    said = call(capsys, "rules", "US", "--at", "40.75,-74.0", "--stations", stations)
    assert said.status == 0
    assert "closed: 24, 30" in said.out
    assert "inside the contour of NEAR" in " ".join(said.out.split())
    assert "sweep the place" in said.out


def test_without_stations_nothing_is_predicted(capsys: Capture) -> None:
    found = json.loads(call(capsys, "rules", "US", "--json").out)
    assert found["tv"] == []
    assert "channels" not in found


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["US", "--stations", "{list}"], "--at LAT,LON"),
        (["US", "--at", "40,-74", "--stations", "missing.csv"], "no such file"),
        (["CN", "--at", "40,116", "--stations", "{list}"], "no raster"),
    ],
)
def test_refusals(capsys: Capture, stations: str, arguments: list[str], words: str) -> None:
    said = call(capsys, "rules", *(argument.replace("{list}", stations) for argument in arguments))
    assert said.status == 2
    assert words in said.err
    assert said.err.count("\n") == 1


SHOOT = """
[shoot]
title = "Roof"
region = "US"
date = 2027-05-14
timezone = "America/New_York"
[[site]]
name = "Roof"
{position}
stations = "stations.csv"
spots = [{{ name = "Cart", x_m = 0, y_m = 0, z_m = 1.6 }}]
[[link]]
name = "L1"
transmitter = "uhf-body-worn"
receiver = "uhf-cart-rack"
at = "Cart"
route = ["Cart"]
"""


def test_a_site_with_a_list(stations: str) -> None:
    path = str(Path(stations).parent / "shoot.toml")
    shoot = parse_shoot(SHOOT.format(position="latitude = 40.75\nlongitude = -74.0"), path)
    found = load_tv(shoot, path)
    assert [channel.state for channel in found["Roof"].channels if channel.channel == "30"] == ["closed"]
    nowhere = parse_shoot(SHOOT.format(position=""), path)
    with pytest.raises(InputError, match="give its latitude"):
        load_tv(nowhere, path)
