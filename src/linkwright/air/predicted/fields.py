"""How strong each station of a list is at a place, and how far its protected area goes."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from linkwright.air.predicted.model import ProtectedChannel, ReceivingPlace, StationAtPlace
from linkwright.air.stations.model import Stations
from linkwright.physics.broadcast import heights
from linkwright.physics.broadcast.contour import ServiceCurves, service_contour_km
from linkwright.physics.broadcast.curves import Curves
from linkwright.physics.broadcast.land import (
    HIGHEST_M,
    LOWEST_RECEIVER_M,
    SIGMA_DB,
    Area,
    LandPath,
    land_field_dbuv_m,
)
from linkwright.physics.entry import RANGE_MHZ, entry_loss_db, entry_spread_db
from linkwright.physics.noise import isotropic_dbm
from linkwright.shoot.place import Surroundings
from linkwright.units import FloatArray, IntArray

#: Height at which fields are told, as planning and law do [m].
FIELD_HEIGHT_M: Final = 10.0
#: What stands about a receiver, by the surroundings of the site; indoors, the street outside. Assumed.
AREAS: Final[dict[Surroundings, Area]] = {
    "open": "open",
    "street": "urban",
    "residential": "suburban",
    "office": "urban",
    "hall": "suburban",
}
INDOORS: Final = ("office", "hall")


def band_of(stations: Stations, bands: Sequence[ProtectedChannel]) -> IntArray:
    """(n,) index of each station's band, -1 where there is none."""
    by_name = {band.channel.upper(): n for n, band in enumerate(bands)}
    band_numbers = np.array([by_name.get(name, -1) for name in stations.channel], dtype=np.int64)
    khz = 1000.0 * stations.frequency_mhz
    for n, band in enumerate(bands):
        band_numbers = np.where((band_numbers < 0) & (khz > band.from_khz) & (khz < band.to_khz), n, band_numbers)
    return band_numbers


def heard_there(
    there: Stations,
    distance_km: FloatArray,
    band: IntArray,
    bands: Sequence[ProtectedChannel],
    place: ReceivingPlace,
    curves: Curves,
    service: Sequence[ServiceCurves],
) -> list[StationAtPlace]:
    """Every station of `there`: its field, its levels and its contour, in the same order."""
    if not len(there):
        return []
    centre_mhz = np.array([(b.from_khz + b.to_khz) / 2000.0 for b in bands])[band]
    power_db = 10.0 * np.log10(there.erp_kw)
    foot = np.where(np.isnan(there.antenna_m), there.height_m, there.antenna_m)
    h1 = np.minimum(heights.h1_without_terrain_m(there.height_m, foot, distance_km), HIGHEST_M)

    def field(height_m: float, area: Area, time_percent: float) -> FloatArray:
        path = LandPath(frequency_mhz=centre_mhz, distance_km=distance_km, h1_m=h1, h2_m=height_m, area=area)
        return land_field_dbuv_m(curves, path, time_percent) + power_db

    area = AREAS[place.surroundings]
    wall_db, spread_db = _indoors(place, centre_mhz, area)
    level, high = (
        isotropic_dbm(field(max(place.height_m, LOWEST_RECEIVER_M), area, time), centre_mhz) - wall_db
        for time in (50.0, 10.0)
    )
    told = field(FIELD_HEIGHT_M, "open", 50.0)
    contour = _contours(there, band, bands, service)
    return [
        StationAtPlace(
            bands[band[n]].channel, there.name[n], float(distance_km[n]), float(told[n]), float(level[n]),
            float(high[n]), float(spread_db[n]), None if np.isnan(contour[n]) else float(contour[n]),
            bool(there.directional[n]), "modelled" if there.height_known[n] else "assumed",
        )
        for n in range(len(there))
    ]  # fmt: skip


def _indoors(place: ReceivingPlace, frequency_mhz: FloatArray, area: Area) -> tuple[FloatArray, FloatArray]:
    """What the building keeps out in the middle [dB], and the spread of all together [dB], each (n,)."""
    sigma = np.full(frequency_mhz.shape, SIGMA_DB[area])
    if place.surroundings not in INDOORS:
        return np.zeros_like(sigma), sigma
    known = np.maximum(frequency_mhz, RANGE_MHZ[0])
    return entry_loss_db(known, 0.5, "traditional"), np.hypot(sigma, entry_spread_db(known, "traditional"))


def _contours(
    there: Stations, band: IntArray, bands: Sequence[ProtectedChannel], service: Sequence[ServiceCurves]
) -> FloatArray:
    """(n,) how far the protected areas go [km], nan where none is defined."""
    contours = np.full(len(there), np.nan)
    for number, tv_band in enumerate(bands):
        which = np.flatnonzero(band == number)
        usable = [c for c in service if tv_band.channel.isdigit() and c.first_channel <= int(tv_band.channel)]
        if tv_band.contour_dbuv_m is not None and usable and which.size:
            contours[which] = service_contour_km(
                usable[-1], there.erp_kw[which], there.height_m[which], tv_band.contour_dbuv_m
            )
    return contours
