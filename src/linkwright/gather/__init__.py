"""Where the rules of a territory and what was read from files meet, for commands and pages alike."""

from __future__ import annotations

from linkwright.air.predicted import Band, Place, Predicted, predict
from linkwright.air.stations import Stations
from linkwright.air.tables import land_curves, us_curves
from linkwright.rules import Territory, tv_channels
from linkwright.shoot.errors import InputError


def predicted_tv(region: Territory, place: Place, stations: Stations) -> Predicted:
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
    bands = [Band(one.number, one.from_khz, one.to_khz, contours.get(one.number)) for one in channels]
    separation_km = None if protection is None else protection.extra_separation_km
    service = () if protection is None else us_curves()
    return predict(stations, bands, place, land_curves(), service, separation_km)
