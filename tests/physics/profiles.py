"""The land paths of the ITU-R Study Group 3 validation set for P.1546, as the shared data has them."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np

from linkwright.physics.broadcast import heights
from linkwright.physics.broadcast.land import Area, LandPath
from linkwright.units import FloatArray

#: So far the ground is looked at, from the transmitter and from the receiver [km]; sections 4.3 and 11.
FROM_TRANSMITTER_KM: Final = 15.0
FROM_RECEIVER_KM: Final = 16.0
FOLDER = Path(__file__).parents[3] / "shared" / "data" / "p1546"

#: Coverage code of a point of the profile -> what stands there and how high; codes 2 to 5 as the profiles' own
#: header names them, with the representative heights of Annex 5, section 9; 0 as the set's result file reads it.
COVER: dict[int, tuple[Area, float]] = {
    0: ("suburban", 0.0),
    2: ("open", 10.0),
    3: ("suburban", 10.0),
    4: ("urban", 20.0),
    5: ("dense urban", 30.0),
}


@dataclass(frozen=True)
class Case:
    """One row of measurements on one profile: the path, its time and the field that the set states for 1 kW."""

    name: str
    path: LandPath
    time_percent: float
    stated_dbuv_m: float


def cases() -> list[Case]:
    """Every land case; empty where the folder is missing. Paths with sea or coast are left out."""
    found = []
    for file in sorted((FOLDER / "validation_profiles").glob("*.csv")):
        profile, radio, rows, from_transmitter = _read(file)
        if np.all(radio == 4):
            found += [_case(file.stem, n, profile, row, from_transmitter) for n, row in enumerate(rows)]
    return found


def _read(file: Path) -> tuple[FloatArray, FloatArray, list[list[str]], bool]:
    lines = file.read_text("utf-8").splitlines()
    count = next(int(line.split(",")[1]) for line in lines if line.startswith("Number of Points"))
    begin = next(n for n, line in enumerate(lines) if line.startswith("Number of Points")) + 1
    table = np.array(
        [[float(x.strip() or "nan") for x in line.split(",")[:5]] for line in lines[begin : begin + count]]
    )
    begin = lines.index("{Begin of Measurements}") + 1
    rows = [line.split(",") for line in lines[begin : lines.index("{End of Measurements}")] if "," in line]
    first = next(line.split(",")[1].strip() for line in lines if line.startswith("First Point TX or RX"))
    return table[:, :4], table[:, 4], rows, first == "T"


def h1_over_terrain_m(distance_km: FloatArray, ground_m: FloatArray, antenna_m: float) -> float:
    """h1 [m] over a known profile; sections 3.1.2 and 3.2, equations (6) and (7).

    distance_km, ground_m : (n,) the profile from the transmitter's foot to the receiver's.
    The mean is that from 3 to 15 km, and from 0.2 d to d on shorter paths. Raises ValueError where fewer than
    two points of the profile lie there.
    """
    length = distance_km[-1]
    near, far = heights.AVERAGED_KM if length >= heights.AVERAGED_KM[1] else (0.2 * length, length)
    there = (distance_km >= near) & (distance_km <= far)
    x, y = distance_km[there], ground_m[there]
    if x.size < 2:
        raise ValueError(f"a profile with fewer than two points between {near:g} and {far:g} km")
    mean_m = float(np.trapezoid(y, x) / (x[-1] - x[0]))
    return antenna_m + float(ground_m[0]) - mean_m


def transmitter_clearance_deg(distance_km: FloatArray, ground_m: FloatArray, antenna_m: float) -> float:
    """Elevation [degrees] over all ground up to 15 km away, seen from the transmitter; section 4.3, case a."""
    near = distance_km <= distance_km[0] + FROM_TRANSMITTER_KM
    return _steepest_deg(distance_km[near], ground_m[near], antenna_m)


def receiver_clearance_deg(distance_km: FloatArray, ground_m: FloatArray, antenna_m: float) -> float:
    """Elevation [degrees] over all ground up to 16 km away, seen from the receiver; section 11."""
    back = distance_km[-1] - distance_km
    near = back <= FROM_RECEIVER_KM
    return _steepest_deg(back[near][::-1], ground_m[near][::-1], antenna_m)


def _steepest_deg(away_km: FloatArray, ground_m: FloatArray, antenna_m: float) -> float:
    """The steepest elevation over points `away_km`, the first of which is the antenna's foot; 0 without others."""
    if away_km.size < 2:
        return 0.0
    rise_m = ground_m[1:] - ground_m[0] - antenna_m
    return float(np.degrees(np.arctan(rise_m / (1000.0 * (away_km[1:] - away_km[0])))).max())


def _case(name: str, n: int, profile: FloatArray, row: list[str], from_transmitter: bool) -> Case:
    # The height columns are those of the first and of the last point; "R" says that the last one transmits.
    ends = [(float(row[1]), profile[0]), (float(row[3]), profile[-1])]
    x, ground = profile[:, 0], profile[:, 1]
    if not from_transmitter:
        ends.reverse()
        x, ground = x[-1] - x[::-1], ground[::-1]
    (h_a, foot), (h_2, end) = ends
    area, clutter = COVER[int(end[2])]
    path = LandPath(
        frequency_mhz=float(row[0]),
        distance_km=float(x[-1]),
        h1_m=h1_over_terrain_m(x, ground, h_a),
        h2_m=h_2,
        area=area,
        clutter_m=clutter if np.isnan(end[3]) else float(end[3]),
        antenna_m=h_a,
        antenna_clutter_m=float(np.nan_to_num(foot[3])),
        clearance_1_deg=transmitter_clearance_deg(x, ground, h_a),
        clearance_2_deg=receiver_clearance_deg(x, ground, h_2),
        ground_m=(float(ground[0]), float(ground[-1])),
    )
    erp_dbw = float(row[12]) if row[12] else 30.0
    return Case(f"{name} {n}", path, float(row[14]), float(row[16]) - (erp_dbw - 30.0))
