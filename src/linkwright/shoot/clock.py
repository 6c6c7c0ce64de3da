"""The time zone of a shoot: what it says, else that of its region, by the place where a region has several."""

from __future__ import annotations

import datetime
import zoneinfo
from dataclasses import dataclass

from linkwright.shoot.models import Shoot
from linkwright.shoot.zones import nearest, zones_of


@dataclass(frozen=True, slots=True)
class Chosen:
    """The zone of a shoot.

    how : "said"; "region", as it has but one time that day; "place", the nearest of several; "unknown", several,
    and nothing says which.
    """

    zone: zoneinfo.ZoneInfo
    how: str


def chosen(shoot: Shoot) -> Chosen:
    """The zone of a shoot, and how it is known."""
    header = shoot.shoot
    if header.timezone is not None:
        return Chosen(zoneinfo.ZoneInfo(header.timezone), "said")
    zones = zones_of(header.region)
    if not zones:
        return Chosen(zoneinfo.ZoneInfo("UTC"), "unknown")
    noon = datetime.datetime.combine(header.date, datetime.time(12))
    if len({noon.replace(tzinfo=zoneinfo.ZoneInfo(zone.name)).utcoffset() for zone in zones}) == 1:
        return Chosen(zoneinfo.ZoneInfo(zones[0].name), "region")
    placed = [(site.latitude, site.longitude) for site in shoot.site]
    for latitude, longitude in placed:
        if latitude is not None and longitude is not None:
            near = nearest(zones, latitude, longitude)
            return Chosen(zoneinfo.ZoneInfo(near.name), "place")
    return Chosen(zoneinfo.ZoneInfo(zones[0].name), "unknown")


def zone_of(shoot: Shoot) -> zoneinfo.ZoneInfo:
    """The time zone of a shoot, in which all of its times are."""
    return chosen(shoot).zone
