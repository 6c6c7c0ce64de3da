"""TV predicted at a place from a list of stations: the level in every channel, and whether it is closed or free.

Fields come from ITU-R P.1546-6 over land without terrain, contours from the curves of 47 CFR 73.699. Both tables
are arguments; nothing here reads a file.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from linkwright.air.others import overlap_share
from linkwright.air.predicted.fields import band_of, heard_there
from linkwright.air.predicted.model import (
    ExpectedChannel,
    Predicted,
    ProtectedChannel,
    ReceivingPlace,
    State,
    StationAtPlace,
)
from linkwright.air.predicted.states import WITHIN_KM, judged
from linkwright.air.stations.model import Stations
from linkwright.physics.broadcast.contour import ServiceCurves
from linkwright.physics.broadcast.curves import Curves
from linkwright.physics.geodesy import great_circles_km
from linkwright.units import FloatArray, IntArray, dbm_from_mw_array, mw_from_dbm

__all__ = [
    "ExpectedChannel",
    "Predicted",
    "ProtectedChannel",
    "ReceivingPlace",
    "State",
    "StationAtPlace",
    "levels_at",
    "predict",
]

#: No path is shorter than this [km].
NEAREST_KM: Final = 0.01


def predict(
    stations: Stations,
    bands: Sequence[ProtectedChannel],
    place: ReceivingPlace,
    curves: Curves,
    service: Sequence[ServiceCurves] = (),
    separation_km: float | None = None,
) -> Predicted:
    """TV in `bands` at a place.

    curves : ITU-R P.1546-6; service, separation_km : curves of the protected contours and how far outside them the
    rules let anybody transmit [km], where they do.
    A channel is closed where the place is nearer to a contour than that, or TV stands above a receiver's noise at
    nine places in ten. It is free where TV stays 6 dB under that noise at nine places in ten half of the time, and
    at half of the places for all but a tenth of the time, and the contours are clear of doubt; else doubtful.
    """
    away = great_circles_km(place.latitude, place.longitude, stations.latitude, stations.longitude)
    index = band_of(stations, bands)
    near = np.flatnonzero((away <= WITHIN_KM) & (index >= 0))
    near = near[np.lexsort((near, away[near]))]
    there, distance, band = stations.only(near), np.maximum(away[near], NEAREST_KM), index[near]
    heard = heard_there(there, distance, band, bands, place, curves, service)
    unknown = int(np.sum((away <= WITHIN_KM) & (index < 0)))
    notes = list(stations.notes)
    if unknown:
        notes.append(f"{unknown} stations within {WITHIN_KM:g} km are on channels that the region has not any more")
    return judged(heard, bands, separation_km, tuple(notes))


def levels_at(predicted: Predicted, carriers_khz: IntArray, bandwidth_khz: float) -> tuple[FloatArray, FloatArray]:
    """What predicted TV puts into a receiver: median levels [dBm] and their spread [dB] at each carrier (n,).

    For an isotropic antenna in `bandwidth_khz`; `units.NOTHING_DBM` and 0 where no TV is predicted. A
    multiplex counts as flat over its channel.
    """
    total = np.zeros(carriers_khz.shape)
    spread = np.zeros(carriers_khz.shape)
    strongest = np.zeros(carriers_khz.shape)
    for channel in predicted.channels:
        if channel.level_dbm is None or channel.spread_db is None:
            continue
        share = overlap_share(carriers_khz, bandwidth_khz, channel.from_khz, channel.to_khz)
        power = share * mw_from_dbm(channel.level_dbm)
        spread = np.where(power > strongest, channel.spread_db, spread)
        strongest = np.maximum(strongest, power)
        total += power
    return dbm_from_mw_array(total), spread
