"""The time zones of a region and where they are.

Source of zones and their places: IANA time zone database, zone.tab (in the package `tzdata`).
"""

from __future__ import annotations

import functools
import importlib.resources
import math
import re
from dataclasses import dataclass
from typing import Final

#: So many zones of a region are named where one is asked for.
NAMED: Final = 6


@dataclass(frozen=True, slots=True)
class Zone:
    """A zone of a region: its IANA name, and latitude and longitude of the place that it is named after [deg]."""

    name: str
    latitude: float
    longitude: float


@functools.cache
def _table() -> dict[str, tuple[Zone, ...]]:
    """Every region's zones in the order of the database: those with most people first."""
    text = importlib.resources.files("tzdata").joinpath("zoneinfo", "zone.tab").read_text("utf-8")
    by_region: dict[str, list[Zone]] = {}
    for line in text.splitlines():
        if line and not line.startswith("#"):
            region, place, name, *_ = line.split("\t")
            latitude, longitude = re.findall(r"[+-]\d+", place)
            by_region.setdefault(region, []).append(Zone(name, _degrees(latitude, 2), _degrees(longitude, 3)))
    return {region: tuple(zones) for region, zones in by_region.items()}


def _degrees(text: str, whole: int) -> float:
    """Degrees of ISO 6709: sign, degrees, minutes, and seconds where there are any."""
    digits = text[1:]
    parts = (digits[:whole], digits[whole : whole + 2], digits[whole + 2 :] or "0")
    degrees = float(sum(int(part) / 60.0**n for n, part in enumerate(parts)))
    return -degrees if text[0] == "-" else degrees


def zones_of(region: str) -> tuple[Zone, ...]:
    """The zones of a region (ISO 3166-1 alpha-2); none of one that the database does not have."""
    return _table().get(region, ())


def named(region: str) -> str:
    """The zones of a region as a person is offered them."""
    names = [zone.name for zone in zones_of(region)]
    more = f" and {len(names) - NAMED} more" if len(names) > NAMED else ""
    return ", ".join(f'"{name}"' for name in names[:NAMED]) + more


def nearest(zones: tuple[Zone, ...], latitude: float, longitude: float) -> Zone:
    """The zone whose place is nearest to a position [deg]."""
    return min(zones, key=lambda zone: _apart(zone, latitude, longitude))


def _apart(zone: Zone, latitude: float, longitude: float) -> float:
    """How far a zone's place is: the chord on a sphere, which ranks as the distance does."""
    a, b = math.radians(zone.latitude), math.radians(latitude)
    turn = math.radians(zone.longitude - longitude)
    return math.sin((a - b) / 2) ** 2 + math.cos(a) * math.cos(b) * math.sin(turn / 2) ** 2
