"""Hard warnings by range and place, and the document with its printed form."""

from __future__ import annotations

import datetime
import io
import json

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rich.console import Console

from linkwright.cli.rules_table import print_rules
from linkwright.physics.geodesy import MEAN_EARTH_RADIUS_KM, great_circle_km
from linkwright.rules import RulesReport, hard_warnings, known_codes, territory, territory_or_group

ON = datetime.date(2027, 5, 14)
LATITUDES = st.floats(-90.0, 90.0)
LONGITUDES = st.floats(-180.0, 180.0)
PITTSBURGH = (40.4386667, -79.9997778)


@given(LATITUDES, LONGITUDES, LATITUDES, LONGITUDES)
def test_distance_is_symmetric_and_bounded(lat_a: float, lon_a: float, lat_b: float, lon_b: float) -> None:
    there = great_circle_km(lat_a, lon_a, lat_b, lon_b)
    assert there == pytest.approx(great_circle_km(lat_b, lon_b, lat_a, lon_a), abs=1e-6)
    assert 0.0 <= there <= 3.1415926536 * MEAN_EARTH_RADIUS_KM


@given(LATITUDES, LONGITUDES)
def test_distance_to_itself_is_nothing(latitude: float, longitude: float) -> None:
    assert great_circle_km(latitude, longitude, latitude, longitude) == 0.0
    assert great_circle_km(latitude, -180.0, latitude, 180.0) == pytest.approx(0.0, abs=1e-6)


@given(LATITUDES, LONGITUDES, LATITUDES, LONGITUDES, LATITUDES, LONGITUDES)
def test_a_detour_is_never_shorter(
    lat_a: float, lon_a: float, lat_b: float, lon_b: float, lat_c: float, lon_c: float
) -> None:
    direct = great_circle_km(lat_a, lon_a, lat_c, lon_c)
    detour = great_circle_km(lat_a, lon_a, lat_b, lon_b) + great_circle_km(lat_b, lon_b, lat_c, lon_c)
    assert direct <= detour + 1e-3


def north_of(position: tuple[float, float], km: float) -> tuple[float, float]:
    """A position `km` farther north: one degree of arc is 111.195 km on the mean sphere."""
    return position[0] + km / 111.195, position[1]


@pytest.mark.parametrize(("km", "severity"), [(79.0, "warn"), (81.0, "note"), (129.0, "note"), (131.0, None)])
def test_land_mobile_by_distance(km: float, severity: str | None) -> None:
    found = hard_warnings(territory("US"), *north_of(PITTSBURGH, km), [(494_000, 500_000)])
    assert [one.severity for one in found] == ([severity] if severity else [])
    if severity:
        assert found[0].about == "land mobile on channel 18, Pittsburgh PA"
        assert found[0].says.startswith("494-500 MHz carries land mobile radio in Pittsburgh PA, ")
        assert found[0].distance_km == pytest.approx(km, abs=0.1)


def test_land_mobile_on_its_channels_only() -> None:
    assert not hard_warnings(territory("US"), *PITTSBURGH, [(476_000, 494_000), (500_000, 600_000)])


@pytest.mark.parametrize(("km", "count"), [(2.3, 1), (2.5, 0)])
def test_observatory_by_distance(km: float, count: int) -> None:
    found = hard_warnings(territory("US"), *north_of((38.433056, -79.839722), km), [(566_000, 572_000)])
    assert len(found) == count
    assert all("Green Bank" in one.about for one in found)


def test_without_a_position_places_are_told_in_general() -> None:
    found = hard_warnings(territory("US"), None, None, [(470_000, 476_000)])
    assert [(one.severity, one.distance_km) for one in found] == [("note", None), ("note", None)]
    assert found[0].says.startswith("470-512 MHz carries land mobile radio about ")  # 47 CFR 90.301
    assert "Pittsburgh PA" in found[0].says
    assert "Green Bank" in found[1].says


def test_without_ranges_there_is_nothing_to_warn_of() -> None:
    assert hard_warnings(territory("US"), *PITTSBURGH, []) == ()


@pytest.mark.parametrize(
    ("region", "span", "about"),
    [
        ("US", (1_500_000, 1_500_200), "flight-test telemetry"),
        ("US", (607_900, 608_100), "medical telemetry and radio astronomy"),
        ("CA", (610_000, 610_200), "medical telemetry and radio astronomy"),
        ("GB", (610_000, 610_200), "radio astronomy near channel 38"),
    ],
)
def test_warnings_by_range(region: str, span: tuple[int, int], about: str) -> None:
    assert [hard_warning.about for hard_warning in hard_warnings(territory(region), 30.0, -100.0, [span])] == [
        about
    ]
    assert not hard_warnings(territory(region), 30.0, -100.0, [(span[0] - 500_000, span[1] - 500_000)])


def test_a_range_that_only_touches_is_not_warned_of() -> None:
    assert not hard_warnings(territory("US"), 30.0, -100.0, [(607_800, 608_000), (614_000, 614_200)])


@pytest.mark.parametrize(("position", "count"), [((21.3, -157.8), 1), ((34.0, -100.0), 0)])
def test_hawaii(position: tuple[float, float], count: int) -> None:
    assert len(hard_warnings(territory("US"), *position, [(488_000, 494_000)])) == count


@pytest.mark.parametrize("region", [*known_codes(), "CEPT"])
def test_the_document_is_plain_json_and_prints(region: str) -> None:
    report = RulesReport(territory_or_group(region), None, ON)
    document = report.document()
    assert json.loads(json.dumps(document, allow_nan=False)) == document
    told = io.StringIO()
    print_rules(report, None, Console(file=told, width=400))
    for row in document["rows"]:
        assert row["id"] in told.getvalue()
        assert row["source"] in told.getvalue()
    assert all(caution in told.getvalue() for caution in document["cautions"])


def test_the_document_has_the_fields_that_are_promised() -> None:
    document = RulesReport(territory("US"), (40.75, -73.99375), ON).document()
    promised = {
        *("id", "from_khz", "to_khz", "max_mw", "power_reference", "bandwidth_khz", "permit", "conditions"),
        *("source", "evidence", "as_of"),
    }
    assert all(promised <= set(row) for row in document["rows"])
    assert all({"from_khz", "to_khz", "why"} <= set(one) for one in document["closed"])
    assert document["tv"] == []
    assert [row["from_khz"] for row in document["rows"]] == sorted(row["from_khz"] for row in document["rows"])
    assert any(one["distance_km"] == 0.0 for one in document["warnings"])
    assert document["at"] == {"latitude": 40.75, "longitude": -73.99375}


def test_ended_rows_are_shown_as_ended() -> None:
    ended = {row["id"]: row["ended"] for row in RulesReport(territory("DE"), None, ON).document()["rows"]}
    assert ended["de-general-863-865"] is True
    assert ended["de-general-470-608"] is False


@pytest.mark.parametrize(
    ("region", "says"),
    [
        ("GB", "863-865 MHz without a permit; 470-606, 606.5-613.5, 614-694"),
        ("DE", "nothing without a permit; 470-608, 614-694, 863-865, 1785-1805 MHz with one."),
        ("ES", "470-694, 823-832, 863-865, 1785-1805 MHz without a permit."),
    ],
)
def test_the_printed_answer_comes_first(region: str, says: str) -> None:
    told = io.StringIO()
    print_rules(RulesReport(territory(region), None, ON), None, Console(file=told, width=400))
    assert says in told.getvalue().splitlines()[0]
