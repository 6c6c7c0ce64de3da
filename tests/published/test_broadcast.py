"""Broadcast fields: the ITU-R's validation set and figures, and the FCC's own curves."""

from __future__ import annotations

import csv

import numpy as np
import pytest
from tests.physics.profiles import FOLDER, Case, cases

from linkwright.air.tables import P1546_LAND, land_curves, us_curves
from linkwright.physics.broadcast.contour import service_contour_km, service_field_dbuv_m
from linkwright.physics.broadcast.curves import FREQUENCIES_MHZ, HEIGHTS_M, TIMES_PERCENT
from linkwright.physics.broadcast.land import LandPath, land_field_dbuv_m

SHARED = FOLDER.parent
CASES = cases()
FCC_ROWS = SHARED / "tv" / "fcc_curves_check.csv"
NO_SET = f"the shared data is missing: {FOLDER.name}"


def at_10_m(distance_km: float, h1_m: float, frequency_mhz: float, time_percent: float) -> float:
    path = LandPath(frequency_mhz=frequency_mhz, distance_km=distance_km, h1_m=h1_m, h2_m=10.0, area="open")
    return float(land_field_dbuv_m(land_curves(), path, time_percent)[0])


@pytest.mark.published("ITU-R P.1546-6, figure 9 (600 MHz, 50 %, h1 300 m)")
@pytest.mark.parametrize(("distance_km", "field"), [(10, 77.84), (20, 67.61), (50, 45.73), (100, 22.14)])
def test_the_figure_at_600_mhz(distance_km: float, field: float) -> None:
    assert at_10_m(distance_km, 300.0, 600.0, 50.0) == pytest.approx(field, abs=0.01)


@pytest.mark.published("ITU-R Study Group 3 validation set for P.1546-6 (Py1546 @e235629), land paths, 0.01 dB")
@pytest.mark.skipif(not CASES, reason=NO_SET)
@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_the_validation_set(case: Case) -> None:
    field = land_field_dbuv_m(land_curves(), case.path, case.time_percent)
    assert float(field[0]) == pytest.approx(case.stated_dbuv_m, abs=0.01)


@pytest.mark.published("ITU-R P.1546-6, figures 1-3, 9-11, 17-19: the table that the project carries")
@pytest.mark.skipif(not (FOLDER / "land_curves.csv").exists(), reason=NO_SET)
def test_the_project_carries_the_figures_unchanged() -> None:
    table = land_curves()
    seen = 0
    with (FOLDER / "land_curves.csv").open(encoding="utf-8") as file:
        for row in csv.DictReader(file):
            time = TIMES_PERCENT.index(float(row["time_percent"]))
            mhz = FREQUENCIES_MHZ.index(float(row["nominal_mhz"]))
            at = int(np.flatnonzero(table.distance_km == float(row["distance_km"]))[0])
            stated = [float(row[f"h1_{height:g}m".replace(".", "_")]) for height in HEIGHTS_M]
            assert table.field_dbuv_m[time, mhz, at].tolist() == stated, (P1546_LAND, row)
            seen += len(stated)
    assert seen == table.field_dbuv_m.size


def fcc_rows() -> list[dict[str, float]]:
    if not FCC_ROWS.exists():
        return []
    with FCC_ROWS.open(encoding="utf-8") as file:
        return [{name: float(value) for name, value in row.items()} for row in csv.DictReader(file)]


@pytest.mark.published("47 CFR 73.699 by the FCC's own program: F(50,50), F(50,10), F(50,90) of six cases")
@pytest.mark.skipif(not FCC_ROWS.exists(), reason=f"the shared data is missing: {FCC_ROWS.name}")
@pytest.mark.parametrize("row", fcc_rows(), ids=lambda row: f"{row['haat_m']:g} m {row['distance_km']:g} km")
def test_the_fcc_curves(row: dict[str, float]) -> None:
    curves = us_curves()[-1]
    haat, away = np.array([row["haat_m"]]), np.array([row["distance_km"]])
    gain = 10.0 * np.log10(row["erp_kw"])
    assert float(curves.half.at(away, haat)[0] + gain) == pytest.approx(row["F5050_dbu"], abs=0.01)
    assert float(curves.tenth.at(away, haat)[0] + gain) == pytest.approx(row["F5010_dbu"], abs=0.01)
    assert float(service_field_dbuv_m(curves, haat, away)[0] + gain) == pytest.approx(row["F5090_dbu"], abs=0.01)


@pytest.mark.published("FCC curves: channel 30, 1000 kW, 365 m: 41 dBuV/m F(50,90) at 103.1 km (tolerance 0.5 km)")
def test_the_service_contour() -> None:
    found = service_contour_km(us_curves()[-1], np.array([1000.0]), np.array([365.0]), 41.0)
    assert float(found[0]) == pytest.approx(103.1, abs=0.5)
