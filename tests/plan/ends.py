"""Shoots of every kind of link, for the tests of both their ends: a gala in two countries, and small ones."""

from __future__ import annotations

from pathlib import Path

from linkwright.plan.model import Plan, PlannedLink
from linkwright.plan.pipeline import make_plan
from linkwright.shoot.models import Shoot
from linkwright.shoot.reading import parse_shoot

GALA = Path(__file__).parent / "data" / "gala.toml"
#: What differs between the countries: region, permit, UHF range, that of the wideband set, that of the intercom.
COUNTRIES = {
    "US": ("US", "us-part-74", "518.0, 554.0", "470.0, 608.0", "1921.536, 1928.448"),
    "GB": ("GB", "gb-coordinated", "518.0, 554.0", "562.0, 606.0", "1881.792, 1897.344"),
}
HOLES = ("REGION", "PERMIT", "RANGE", "WIDE", "INTERCOM")

HEADER = """
[shoot]
title = "Two ends"
region = "GB"
permits = ["gb-coordinated"]
date = 2027-05-14
breaks_per_hour = 10
[[site]]
name = "Stage"
surroundings = "hall"
walls_complete = true
spots = [
  { name = "Rack", x_m = 0, y_m = 0, z_m = 2.5 },
  { name = "Left", x_m = 9, y_m = 3, z_m = 1.4 },
  { name = "Right", x_m = 13, y_m = -4, z_m = 1.4 },
  { name = "Door", x_m = 24, y_m = 8, z_m = 1.4 },
]
[transmitter.rack]
use = "uhf-body-worn"
form = "mounted"
tunes_mhz = [[518.0, 566.0]]
[transmitter.pocket]
use = "uhf-body-worn"
tunes_mhz = [[518.0, 566.0]]
[receiver.ear]
use = "uhf-camera-slot"
channels = 1
"""


def gala_text(country: str) -> str:
    """The gala of a country as text."""
    text = GALA.read_text("utf-8")
    for hole, value in zip(HOLES, COUNTRIES[country], strict=True):
        text = text.replace(hole, value)
    return text


def two_ends(body: str, header: str = HEADER) -> Shoot:
    """A shoot on the stage above."""
    return parse_shoot(header + body, "ends.toml")


def planned(body: str, header: str = HEADER, effort: float = 0.0) -> Plan:
    """The plan of a shoot on the stage above."""
    return make_plan(two_ends(body, header), {}, effort=effort)


def link_of(plan: Plan, name: str) -> PlannedLink:
    """The planned link of that name in the first call."""
    return next(link for link in plan.calls[0].links if link.link == name)
