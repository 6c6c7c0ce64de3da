"""The distance that some rows keep from TV: measured against what was computed for a place, not recited."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from linkwright.rules.models import Closed, Row, Territory
from linkwright.rules.tv import TvChannel, tv_channel


@dataclass(frozen=True)
class Outside:
    """How far a place lies outside the protected contour of a station [km], inside it negative; and in words."""

    channel: str
    station: str
    outside_km: float
    says: str


@dataclass(frozen=True)
class Separation:
    """One channel at a place: the station that leaves the least, and what the rows `rows` ask for [km]."""

    channel: TvChannel
    nearest: Outside
    required_km: float
    rows: tuple[Row, ...]

    @property
    def is_kept(self) -> bool:
        """Whether the place lies far enough outside."""
        return self.nearest.outside_km >= self.required_km

    @property
    def says(self) -> str:
        """The result as a phrase: "2.1 km inside the contour of ...; 4 km outside it are asked for"."""
        return f"{self.nearest.says}; {self.required_km:g} km outside it are asked for"


def keeps_separation(row: Row, outside_km: float) -> bool:
    """Whether a place `outside_km` [km] outside the contours on its channel keeps the row's distance from TV."""
    return row.tv_separation_km is None or outside_km >= row.tv_separation_km


def separations(territory: Territory, outsides: Iterable[Outside]) -> tuple[Separation, ...]:
    """Every channel with a station whose contour is known, against the rows that ask for a distance.

    outsides : stations with their contours about one place. Channels that no such row covers are left out.
    Raises InputError for a channel that the territory has not.
    """
    nearest: dict[str, Outside] = {}
    for outside in outsides:
        if outside.channel not in nearest or outside.outside_km < nearest[outside.channel].outside_km:
            nearest[outside.channel] = outside
    kept = []
    for name, outside in nearest.items():
        channel = tv_channel(territory, name)
        rows = tuple(
            row
            for row in territory.rows
            if row.tv_separation_km is not None and row.from_khz < channel.to_khz and row.to_khz > channel.from_khz
        )
        if rows:
            most = max(row.tv_separation_km or 0.0 for row in rows)
            kept.append(Separation(channel, outside, most, rows))
    return tuple(sorted(kept, key=lambda station: station.channel.from_khz))


def closed_by_tv(kept: Iterable[Separation]) -> tuple[Closed, ...]:
    """The channels at which the distance is not kept, as closed ranges of one place.

    The contour is computed from a list of stations, so this is assumed until that list is looked at.
    """
    return tuple(
        Closed(
            id=f"tv-channel-{station.channel.number.lower()}",
            from_khz=station.channel.from_khz,
            to_khz=station.channel.to_khz,
            why=station.says,
            source=station.rows[0].source,
            basis="computed",
            evidence="assumed",
            as_of=station.rows[0].as_of,
        )
        for station in kept
        if not station.is_kept
    )
