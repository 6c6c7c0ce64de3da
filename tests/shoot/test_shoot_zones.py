"""The time zone of a shoot, by the IANA database: what it says, else its region, its place; never UTC unsaid."""

from __future__ import annotations

import datetime
import zoneinfo

import pytest
from tests.cli.calling import call
from tests.plan.shoots import QUAY

from linkwright.shoot.clock import chosen, zone_of
from linkwright.shoot.errors import InputError
from linkwright.shoot.reading import parse_shoot
from linkwright.shoot.zones import zones_of

SHOOT = """
[shoot]
title = "A street"
region = "{region}"
date = 2027-07-14
{more}
[[site]]
name = "Street"
{place}
[[link]]
name = "Potter"
transmitter = "uhf-body-worn"
receiver = "uhf-cart-rack"
[[call]]
name = "Morning"
from = 09:00:00
to = 11:00:00
links = ["Potter"]
"""


def shoot(region: str, place: str = "", more: str = "") -> str:
    return SHOOT.format(region=region, place=place, more=more)


@pytest.mark.parametrize(
    ("region", "place", "zone", "how"),
    [
        ("DE", "", "Europe/Berlin", "region"),  # Busingen keeps the same time
        ("GB", "", "Europe/London", "region"),
        ("JP", "", "Asia/Tokyo", "region"),
        # Places of the world gazetteers, not those that the zones are named after.
        ("US", "latitude = 41.88\nlongitude = -87.63", "America/Chicago", "place"),
        ("US", "latitude = 34.05\nlongitude = -118.24", "America/Los_Angeles", "place"),
        ("ES", "latitude = 28.12\nlongitude = -15.43", "Atlantic/Canary", "place"),
        ("AU", "latitude = -31.95\nlongitude = 115.86", "Australia/Perth", "place"),
        ("US", "", "America/New_York", "unknown"),
    ],
)
def test_the_zone_of_a_region_and_a_place(region: str, place: str, zone: str, how: str) -> None:
    found = chosen(parse_shoot(shoot(region, place), "street.toml"))
    assert (str(found.zone), found.how) == (zone, how)


def test_what_the_shoot_says_wins() -> None:
    read = parse_shoot(shoot("US", "latitude = 41.88\nlongitude = -87.63", 'timezone = "America/Denver"'), "x")
    assert str(zone_of(read)) == "America/Denver"


def test_every_zone_of_the_table_is_one_and_lies_where_it_says() -> None:
    assert len(zones_of("US")) >= 28
    names = zoneinfo.available_timezones()
    for region in ("US", "BR", "RU", "AU", "CA", "FR", "GB"):
        for zone in zones_of(region):
            assert zone.name in names
            assert -90 <= zone.latitude <= 90
            assert -180 <= zone.longitude <= 180
    (london,) = zones_of("GB")
    assert (round(london.latitude, 3), round(london.longitude, 3)) == (51.508, -0.125)  # zone.tab: +513030-0000731


@pytest.mark.parametrize(
    ("region", "said", "offered"),
    [("GB", "BST", 'GB has "Europe/London"'), ("DE", "MEZ", '"Europe/Berlin"'), ("US", "EDT", '"America/New_York"'),
     ("GB", "Europe/Londn", 'did you mean "Europe/London"')],
)  # fmt: skip
def test_an_abbreviation_is_answered_with_the_zones_of_the_region(region: str, said: str, offered: str) -> None:
    with pytest.raises(InputError) as refused:
        parse_shoot(shoot(region, more=f'timezone = "{said}"'), "street.toml")
    assert offered in str(refused.value)
    assert "MST" not in str(refused.value)


def test_a_call_at_nine_in_berlin_is_at_nine_in_everybodys_calendar(
    capsys: pytest.CaptureFixture[str], tmp_path_factory: pytest.TempPathFactory
) -> None:
    folder = tmp_path_factory.mktemp("berlin")
    text = QUAY.read_text("utf-8")
    lines = [line for line in text.splitlines() if not line.startswith("timezone")]
    (folder / "quay.toml").write_text("\n".join(lines), "utf-8")
    said = call(capsys, "sheets", str(folder / "quay.toml"), "-o", str(folder / "out"))
    assert said.status in (0, 1), said.err
    calendar = next((folder / "out").glob("*.ics")).read_text("utf-8")
    begins = [line for line in calendar.splitlines() if line.startswith("DTSTART")]
    assert begins
    read = parse_shoot("\n".join(lines), "quay.toml")
    first = min(call.starts for call in read.call if call.starts)
    at = datetime.datetime.combine(read.shoot.date, first, zoneinfo.ZoneInfo("Europe/London"))
    utc = at.astimezone(datetime.UTC)
    assert any(f"{utc:%H%M}" in line or f"{at:%H%M}" in line for line in begins)


def test_where_it_had_to_be_chosen_it_is_told(
    capsys: pytest.CaptureFixture[str], tmp_path_factory: pytest.TempPathFactory
) -> None:
    folder = tmp_path_factory.mktemp("zones")
    for place, says in (
        ("", "warn  timezone"),
        ("latitude = 41.88\nlongitude = -87.63", "note  timezone"),
    ):
        (folder / "street.toml").write_text(shoot("US", place, 'permits = ["us-part-74"]'), "utf-8")
        said = call(capsys, "check", str(folder / "street.toml"))
        assert says in said.out
        assert "All times are taken as those of America/" in said.out
    (folder / "street.toml").write_text(shoot("GB"), "utf-8")
    assert "timezone" not in call(capsys, "check", str(folder / "street.toml")).out
