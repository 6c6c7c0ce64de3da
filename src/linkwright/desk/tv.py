"""TV at a place: where the rules of a territory and a list of stations meet."""

from __future__ import annotations

import dataclasses
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from linkwright.air.predicted import Predicted, ProtectedChannel, ReceivingPlace, StationAtPlace, predict
from linkwright.air.stations import Stations, parse_stations, read_stations
from linkwright.air.stations.reader import LIMIT_BYTES
from linkwright.air.tables import land_curves, us_curves
from linkwright.rules import Outside, Separation, separations, tv_channels
from linkwright.shoot.errors import InputError

if TYPE_CHECKING:
    from linkwright.rules import Territory


def predicted_tv(region: Territory, place: ReceivingPlace, stations: Stations) -> Predicted:
    """TV in every channel of a territory at a place. Raises InputError where its channels are not known."""
    channels = tv_channels(region)
    if not channels:
        raise InputError(f"TV cannot be predicted: no raster of channels is known for region {region.code}")
    protection = region.tv_protection
    contours = {} if protection is None else {
        str(number): contour.field_dbuv_m
        for contour in protection.contour
        for number in range(contour.first, contour.last + 1)
    }  # fmt: skip
    bands = [
        ProtectedChannel(channel.number, channel.from_khz, channel.to_khz, contours.get(channel.number))
        for channel in channels
    ]
    separation_km = None if protection is None else protection.extra_separation_km
    service = () if protection is None else us_curves()
    return predict(stations, bands, place, land_curves(), service, separation_km)


def load_stations(path: str, region: str) -> Stations:
    """The list of stations in a file, or on standard input for `-`. Raises InputError."""
    if path == "-":
        return parse_stations(sys.stdin.buffer.read(LIMIT_BYTES + 1), "standard input", region)
    return read_stations(Path(path), path, region)


def tv_separations(region: Territory, predicted: Predicted) -> tuple[Separation, ...]:
    """What is left of the distances that the rows ask for, channel by channel."""
    outside = [
        Outside(station.channel, station.station, station.outside_km, station.contour_text)
        for station in predicted.heard
        if station.outside_km is not None
    ]
    return separations(region, outside)


@dataclass(frozen=True)
class TvReport:
    """TV predicted at a place [degrees north, degrees east] from a list of stations at `path`."""

    region: Territory
    position: tuple[float, float]
    path: str
    predicted: Predicted

    def document(self) -> dict[str, Any]:
        """What it adds to the document of the rules, as plain JSON values."""
        return {
            "tv": [_heard(station) for station in self.predicted.heard],
            "channels": [dataclasses.asdict(channel) for channel in self.predicted.channels],
            "separation": [_separation(distance) for distance in tv_separations(self.region, self.predicted)],
            "stations": {"path": self.path, "notes": list(self.predicted.notes)},
        }


def tv_report(region: Territory, position: tuple[float, float], path: str) -> TvReport:
    """TV at a place from the list in a file. Raises InputError."""
    predicted = predicted_tv(region, ReceivingPlace(*position), load_stations(path, region.code))
    return TvReport(region, position, path, predicted)


def _heard(station: StationAtPlace) -> dict[str, Any]:
    told = dataclasses.asdict(station) | {"outside_km": station.outside_km}
    return {key: round(value, 2) if isinstance(value, float) else value for key, value in told.items()}


def _separation(distance: Separation) -> dict[str, Any]:
    return {
        "channel": distance.channel.number,
        "from_khz": distance.channel.from_khz,
        "to_khz": distance.channel.to_khz,
        "station": distance.nearest.station,
        "outside_km": round(distance.nearest.outside_km, 2),
        "required_km": distance.required_km,
        "kept": distance.is_kept,
        "says": distance.says,
        "rows": [row.id for row in distance.rows],
    }
