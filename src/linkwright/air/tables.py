"""The tabulated curves of broadcast fields, read from the data files beside and kept."""

from __future__ import annotations

from functools import cache
from importlib.resources import files
from typing import Final

import numpy as np

from linkwright.physics.broadcast.contour import ServiceCurves
from linkwright.physics.broadcast.curves import FREQUENCIES_MHZ, TIMES_PERCENT, Curves
from linkwright.physics.broadcast.surface import surface
from linkwright.units import FloatArray

#: ITU-R P.1546-6, figures of the land paths; the document stands in the file's head.
P1546_LAND: Final = "p1546-land.txt"
#: 47 CFR 73.699, figures 9 to 10c.
US_CURVES: Final = "us-73.699.txt"
#: One mile [km]: the US figures were drawn in miles.
MILE_KM: Final = 1.609344
#: The distances of the US table [miles]; F(50,10) begins with the sixth.
US_MILES: Final = (1, 2, 3, 4, 5, *range(10, 201, 10))
TENTH_FROM: Final = 5


def _table(name: str) -> FloatArray:
    """The numbers of a data file, a row a line; what begins with # is its head."""
    text = files("linkwright.air").joinpath("data", name).read_text("utf-8")
    lines = [line for line in text.splitlines() if not line.startswith("#")]
    flat = np.fromstring(" ".join(lines), dtype=np.float64, sep=" ")
    return flat.reshape(len(lines), -1)


@cache
def land_curves() -> Curves:
    """The land curves of ITU-R P.1546-6."""
    rows = _table(P1546_LAND)
    figures = {(time, mhz): rows[(rows[:, 2] == time) & (rows[:, 1] == mhz)] for time in TIMES_PERCENT
               for mhz in FREQUENCIES_MHZ}  # fmt: skip
    fields = np.array([[figures[time, mhz][:, 4:] for mhz in FREQUENCIES_MHZ] for time in TIMES_PERCENT])
    return Curves(figures[TIMES_PERCENT[0], FREQUENCIES_MHZ[0]][:, 3], fields)


@cache
def us_curves() -> tuple[ServiceCurves, ...]:
    """The curves of 47 CFR 73.699, one for each band, the lowest first."""
    rows = _table(US_CURVES)
    distance_km = MILE_KM * np.asarray(US_MILES, dtype=np.float64)
    services = []
    for first in np.unique(rows[:, 0]):
        half, tenth = (rows[(rows[:, 0] == first) & (rows[:, 1] == time)] for time in (50.0, 10.0))
        services.append(
            ServiceCurves(
                int(first),
                surface(distance_km, half[:, 2], half[:, 3:]),
                surface(distance_km[TENTH_FROM:], tenth[:, 2], tenth[:, 3 + TENTH_FROM :]),
            )
        )
    return tuple(services)
