"""A broadcast field over land by ITU-R P.1546-6: the steps of Annex 6 in their order."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import ArrayLike

from linkwright.physics.broadcast import corrections
from linkwright.physics.broadcast.corrections import NEAREST_KM
from linkwright.physics.broadcast.curves import TIMES_PERCENT, Curves, curve_field_dbuv_m, free_field_dbuv_m
from linkwright.units import FloatArray

Area = Literal["open", "suburban", "urban", "dense urban"]

#: Representative height of the clutter about a receiver [m]; Annex 5, section 9.
CLUTTER_M: Final[dict[Area, float]] = {"open": 10.0, "suburban": 10.0, "urban": 20.0, "dense urban": 30.0}
#: Standard deviation of the field from place to place where no terrain is known [dB]; Annex 5, section 12, as the
#: reference implementation of the ITU-R Study Group 3 has it (the Recommendation's own text was not read).
SIGMA_DB: Final[dict[Area, float]] = {"open": 12.0, "suburban": 10.0, "urban": 8.0, "dense urban": 8.0}

#: What P.1546-6 is stated for: frequency [MHz], distance [km], effective height [m], receiving height [m].
FREQUENCY_MHZ: Final = (30.0, 4000.0)
LONGEST_KM: Final = 1000.0
HIGHEST_M: Final = 3000.0
LOWEST_RECEIVER_M: Final = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class LandPath:
    """Paths over land from transmitters to one kind of receiver; what is an array has n entries or broadcasts.

    h1_m : height h1 of Annex 5, section 3 (`heights.py`); h2_m : receiving antenna above ground.
    area, clutter_m : what stands about the receiver.
    antenna_m : transmitting antenna above ground; None where it is not known (no slope is corrected then, and
        h1 stands for it below 1 km).
    antenna_clutter_m : clutter about the transmitter; None for no correction.
    clearance_1_deg, clearance_2_deg : terrain clearance angles of transmitter and receiver, where the ground
        is known.
    ground_m : ground at transmitter and receiver above sea [m].
    """

    frequency_mhz: ArrayLike
    distance_km: ArrayLike
    h1_m: ArrayLike
    h2_m: float
    area: Area
    clutter_m: float | None = None
    antenna_m: ArrayLike | None = None
    antenna_clutter_m: float | None = None
    clearance_1_deg: ArrayLike | None = None
    clearance_2_deg: ArrayLike | None = None
    ground_m: tuple[float, float] = (0.0, 0.0)


def land_field_dbuv_m(curves: Curves, path: LandPath, time_percent: float) -> FloatArray:
    """Field (n,) [dB(uV/m)] of 1 kW e.r.p. at half of the locations for `time_percent`; P.1546-6, Annex 6.

    Raises ValueError outside what the Recommendation is stated for: `FREQUENCY_MHZ`, 1 to 50 % of time, up to
    `LONGEST_KM` and `HIGHEST_M`, receivers from `LOWEST_RECEIVER_M`. Paths over sea are not modelled: a field
    over sea can be far above the answer.
    """
    f, d, h1 = np.broadcast_arrays(
        *(np.atleast_1d(np.asarray(x, dtype=np.float64)) for x in (path.frequency_mhz, path.distance_km, path.h1_m))
    )
    _check_range(f, d, h1, path.h2_m, time_percent)
    tops = _tops(path, h1)
    far_km = np.maximum(d, NEAREST_KM)
    field = _from_1_km(curves, path, f, far_km, h1, time_percent)
    if np.any(d < NEAREST_KM):
        short = corrections.short_path_dbuv_m(d, *tops, field)
        field = np.where(d < NEAREST_KM, short, field)
    return np.asarray(np.minimum(field, _most(path, d, tops)))


def _check_range(f: FloatArray, d: FloatArray, h1: FloatArray, h2_m: float, time_percent: float) -> None:
    if np.any(f < FREQUENCY_MHZ[0]) or np.any(f > FREQUENCY_MHZ[1]):
        raise ValueError(f"ITU-R P.1546 holds from {FREQUENCY_MHZ[0]:g} to {FREQUENCY_MHZ[1]:g} MHz")
    if not TIMES_PERCENT[0] <= time_percent <= TIMES_PERCENT[-1]:
        raise ValueError(f"ITU-R P.1546 holds for 1 to 50 % of time, not for {time_percent:g} %")
    if np.any(d <= 0.0) or np.any(d > LONGEST_KM):
        raise ValueError(f"ITU-R P.1546 holds up to {LONGEST_KM:g} km, and no path is without length")
    if np.any(h1 > HIGHEST_M):
        raise ValueError(f"ITU-R P.1546 holds for transmitters up to {HIGHEST_M:g} m")
    if h2_m < LOWEST_RECEIVER_M:
        raise ValueError(f"ITU-R P.1546 holds for receivers from {LOWEST_RECEIVER_M:g} m")


def _tops(path: LandPath, h1: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Heights of both antennas above one level [m]."""
    antenna = h1 if path.antenna_m is None else np.broadcast_to(np.asarray(path.antenna_m, np.float64), h1.shape)
    return antenna + path.ground_m[0], np.full(h1.shape, path.h2_m + path.ground_m[1])


def _most(path: LandPath, d: FloatArray, tops: tuple[FloatArray, FloatArray]) -> FloatArray:
    """The highest field that can be; Annex 5, section 2, along the slope where that is known."""
    slope_known = (d < NEAREST_KM) | (path.antenna_m is not None)
    return np.asarray(free_field_dbuv_m(d) + np.where(slope_known, corrections.slope_db(d, *tops), 0.0))


def _from_1_km(
    curves: Curves, path: LandPath, f: FloatArray, d: FloatArray, h1: FloatArray, time_percent: float
) -> FloatArray:
    """Annex 6, steps 6 to 16, from 1 km outwards."""
    tops = _tops(path, h1)
    field = curve_field_dbuv_m(curves, h1, d, f, time_percent, _most(path, d, tops))
    if path.clearance_2_deg is not None:
        field = field + corrections.clearance_db(f, path.clearance_2_deg)
        if path.clearance_1_deg is not None:
            scatter = corrections.scatter_dbuv_m(d, f, time_percent, path.clearance_1_deg, path.clearance_2_deg)
            field = np.maximum(field, scatter)
    clutter_m = CLUTTER_M[path.area] if path.clutter_m is None else path.clutter_m
    built_up = path.area != "open"
    field = field + corrections.receiver_height_db(f, h1, d, path.h2_m, clutter_m, built_up)
    if path.antenna_m is not None:
        if path.antenna_clutter_m is not None:
            field = field + corrections.transmitter_clutter_db(f, path.antenna_m, path.antenna_clutter_m)
        field = field + corrections.slope_db(d, *tops)
    return np.asarray(field)
