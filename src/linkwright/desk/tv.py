"""TV at a place: where the rules of a territory and a list of stations meet."""

from __future__ import annotations

import dataclasses
import sys
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
        Outside(one.channel, one.station, one.outside_km, one.contour_text)
        for one in predicted.heard
        if one.outside_km is not None
    ]
    return separations(region, outside)


def tv_document(region: Territory, position: tuple[float, float], path: str) -> dict[str, Any]:
    """What `--stations` adds to the document of the rules, as plain JSON values. Raises InputError."""
    predicted = predicted_tv(region, ReceivingPlace(*position), load_stations(path, region.code))
    return {
        "tv": [_heard(one) for one in predicted.heard],
        "channels": [dataclasses.asdict(channel) for channel in predicted.channels],
        "separation": [_separation(tv_separation) for tv_separation in tv_separations(region, predicted)],
        "stations": {"path": path, "notes": list(predicted.notes)},
    }


def _heard(one: StationAtPlace) -> dict[str, Any]:
    told = dataclasses.asdict(one) | {"outside_km": one.outside_km}
    return {key: round(value, 2) if isinstance(value, float) else value for key, value in told.items()}


def _separation(one: Separation) -> dict[str, Any]:
    return {
        "channel": one.channel.number,
        "from_khz": one.channel.from_khz,
        "to_khz": one.channel.to_khz,
        "station": one.nearest.station,
        "outside_km": round(one.nearest.outside_km, 2),
        "required_km": one.required_km,
        "kept": one.is_kept,
        "says": one.says,
        "rows": [row.id for row in one.rows],
    }
