"""Where a US TV station's field falls to a given value: the curves of 47 CFR 73.699.

These are not the curves of ITU-R P.1546, and the law names these. The table comes in as an argument.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from linkwright.physics.broadcast.surface import Surface
from linkwright.units import FloatArray

#: How finely a distance is looked for [km]; between two of these the field is taken as straight.
STEP_KM: Final = 0.25


@dataclass(frozen=True, slots=True, eq=False)
class ServiceCurves:
    """The field [dB(uV/m)] of 1 kW ERP over distance [km] and height above average terrain [m], of one band.

    first_channel : the lowest TV channel that it is for; half : F(50,50); tenth : F(50,10), drawn from farther out.
    """

    first_channel: int
    half: Surface
    tenth: Surface


def service_field_dbuv_m(curves: ServiceCurves, haat_m: FloatArray, distance_km: FloatArray) -> FloatArray:
    """F(50,90) [dB(uV/m)] of 1 kW ERP: haat_m (n,), distance_km (n,) or (n, m).

    F(50,90) = 2 F(50,50) - F(50,10) in dB, 47 CFR 73.619(b)(1). Nearer than F(50,10) is drawn, F(50,50) stands for
    it; outside the table's heights and distances, its edge.
    """
    half = curves.half.at(distance_km, haat_m)
    drawn = distance_km >= curves.tenth.x[0]
    return np.asarray(np.where(drawn, 2.0 * half - curves.tenth.at(distance_km, haat_m), half))


def service_contour_km(
    curves: ServiceCurves, erp_kw: FloatArray, haat_m: FloatArray, field_dbuv_m: float
) -> FloatArray:
    """How far (n,) [km] F(50,90) of stations with `erp_kw` (n,) and `haat_m` (n,) stays at or above a field.

    The table's first distance where it is below from the start, its last where it never falls below.
    """
    away = np.arange(curves.half.x[0], curves.half.x[-1], STEP_KM)
    grid = np.broadcast_to(away, (len(haat_m), len(away)))
    over = service_field_dbuv_m(curves, haat_m, grid) + (10.0 * np.log10(erp_kw) - field_dbuv_m)[:, None]
    holds = over >= 0.0
    last = len(away) - 1 - np.argmax(holds[:, ::-1], axis=1)
    last = np.where(np.any(holds, axis=1), last, 0)
    following = np.minimum(last + 1, len(away) - 1)
    row = np.arange(len(haat_m))
    at_last, after = over[row, last], over[row, following]
    fall = np.where(at_last > after, at_last - after, 1.0)
    return np.asarray(away[last] + STEP_KM * np.clip(at_last / fall, 0.0, 1.0) * (following > last))
