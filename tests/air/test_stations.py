"""Lists of stations: notations, units, columns by name; and what is refused, in one sentence each."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from linkwright.air.stations import Stations, parse_stations, read_stations
from linkwright.air.stations.angles import Angle, angles
from linkwright.air.stations.columns import find_columns
from linkwright.air.stations.model import ASSUMED_HEIGHT_M
from linkwright.shoot.errors import InputError


def read(text: str, region: str = "GB") -> Stations:
    return parse_stations(text.encode(), "list.csv", region)


def one(header: str, row: str, region: str = "GB") -> Stations:
    return read(f"{header}\n{row}\n", region)


@pytest.mark.parametrize(
    ("text", "axis", "degrees"),
    [
        ("50.155", "latitude", 50.155),
        ("-5.045", "longitude", -5.045),
        ("5.045 W", "longitude", -5.045),
        ("50 09 18 N", "latitude", 50.155),
        ("50° 09′ 18″ N", "latitude", 50.155),
        ("50-09-18", "latitude", 50.155),
        ("-50 09 18", "latitude", -50.155),
        ("50°09.3'N", "latitude", 50.155),
        ("50d 9m 18s N", "latitude", 50.155),
        ("50d 9m 18s", "latitude", 50.155),
        ("50deg 9min 18sec S", "latitude", -50.155),
        ("33 51 36 S", "latitude", -33.86),
        ("W005:02:42", "longitude", -5.045),
        ("005W0242", "longitude", -5.045),
        ("50N0918", "latitude", 50.155),
        ("500918", "latitude", 50.155),
        ("500918.0N", "latitude", 50.155),
        ("1174159W", "longitude", -(117 + 41 / 60 + 59 / 3600)),
        ("195.5", "longitude", -164.5),
        ("40 59 60", "latitude", 41.0),
    ],
)
def test_notations(text: str, axis: str, degrees: float) -> None:
    (found,) = angles([text], axis)  # type: ignore[arg-type]
    assert isinstance(found, Angle)
    assert found.degrees == pytest.approx(degrees, abs=1e-9)


@pytest.mark.parametrize(
    ("text", "axis"),
    [
        ("", "latitude"),
        ("north", "latitude"),
        ("50 61 00", "latitude"),
        ("500975", "latitude"),
        ("50 09 18 E", "latitude"),
        ("5 02 42 N", "longitude"),
        ("5 02 42 O", "longitude"),
        ("1 2 3 4", "latitude"),
        ("50 N 10 S", "longitude"),
        ("50x155", "latitude"),
        ("90.1", "latitude"),
        ("1 e", "latitude"),
    ],
)
def test_no_angles(text: str, axis: str) -> None:
    (found,) = angles([text], axis)  # type: ignore[arg-type]
    assert isinstance(found, str)


@given(
    st.integers(0, 89),
    st.integers(0, 59),
    st.integers(0, 59),
    st.booleans(),
    st.sampled_from([" ", ":", "-", "° "]),
)
def test_every_notation_says_the_same(deg: int, minute: int, second: int, south: bool, mark: str) -> None:
    degrees = (deg + minute / 60 + second / 3600) * (-1 if south else 1)
    letter = "S" if south else "N"
    texts = [
        f"{degrees:.9f}",
        f"{deg:02}{mark}{minute:02}{mark}{second:02} {letter}",
        f"{deg:02}{letter}{minute:02}{second:02}",
    ]
    for text in texts:
        (found,) = angles([text], "latitude")
        assert isinstance(found, Angle), (text, found)
        assert found.degrees == pytest.approx(degrees, abs=1e-8)
    packed = angles([f"{deg:02}{minute:02}{second:02}{letter}", "891500N"], "latitude")[0]  # told from the column
    assert isinstance(packed, Angle)
    assert packed.degrees == pytest.approx(degrees, abs=1e-8)


@pytest.mark.parametrize(
    ("title", "cell", "kw"),
    [
        ("ERP (kW)", "12.5", 12.5),
        ("ERP kW", "1e3", 1000.0),
        ("ERPkW", "0.015", 0.015),
        ("erp_w", "15", 0.015),
        ("ERP [W]", "50000", 50.0),
        ("ERP dBW", "47", 50.118723),
        ("Max ERP (dBk)", "20", 100.0),
        ("ERP", "100 W", 0.1),
        ("ERP", "50 kW", 50.0),
        ("ERP", "40 dBW", 10.0),
        ("ERP", "60", 60.0),
        ("ERP", "1 MW", 1000.0),
        ("EIRP kW", "1.6405898", 1.0),
        ("Effective Radiated Power (W)", "1000", 1.0),
    ],
)
def test_powers(title: str, cell: str, kw: float) -> None:
    found = one(f"Call,Ch,Lat,Lon,HAAT,{title}", f"A,21,50.1N,5.0W,100,{cell}")
    assert float(found.erp_kw[0]) == pytest.approx(kw, rel=1e-6)


@pytest.mark.parametrize("cell", ["-3", "0", "lots", "5 hp", "50000", "nan", "1e999", "900 dBW"])
def test_no_powers(cell: str) -> None:
    with pytest.raises(InputError, match=r"line 2.*(power|unit)"):
        one("Call,Ch,Lat,Lon,HAAT,ERP", f"A,21,50.1N,5.0W,100,{cell}")


@pytest.mark.parametrize(
    ("titles", "heights"),
    [
        ("HAAT m", 100.0),
        ("heff", 100.0),
        ("Effective height (m)", 100.0),
        ("HAAT (ft)", 30.48),
        ("Aerial height", 100.0),
        ("ignored", ASSUMED_HEIGHT_M),
    ],
)
def test_heights(titles: str, heights: float) -> None:
    found = one(f"Call,Ch,Lat,Lon,ERP kW,{titles}", "A,21,50.1N,5.0W,1,100")
    assert float(found.height_m[0]) == pytest.approx(heights)
    assert bool(found.height_known[0]) is (titles != "ignored")
    assert any("height" in note for note in found.notes) is (titles in ("Aerial height", "ignored"))


def test_nought_for_a_height_is_none() -> None:
    found = one("Call,Ch,Lat,Lon,ERP kW,HAAT", "A,21,50.1N,5.0W,1,0")
    assert not found.height_known[0]
    assert found.notes == (f"no height is stated in 1 of 1 rows: {ASSUMED_HEIGHT_M:g} m is assumed there",)


@pytest.mark.parametrize(
    "header",
    [
        "Call Sign,RF Channel,Latitude,Longitude,ERP (kW)",
        "station_name,channel,lat_dd,long_dd,erp_kw",
        "Transmitter,UHF Channel,LatitudeDeg,LongitudeDeg,MaxERPkW",
        "SITE NAME,CH,LAT (WGS84),LON (WGS84),ERP kW",
        "Name,Kanal,Site Lat,Site Long,Power (kW)",
    ],
)
def test_spellings(header: str) -> None:
    found = one(header, "Hill,C21,50.5,-5.5,10")
    assert (found.name, found.channel) == (("Hill",), ("21",))
    assert (float(found.latitude[0]), float(found.longitude[0])) == (50.5, -5.5)


def test_a_header_below_a_title_and_other_marks() -> None:
    text = (
        "TV stations; of 2027\n\nName;Ch;Lat;Lon;ERP kW;HAAT m;Pattern\n"
        "Hill;021+;50,5;-5,5;0,25;75,5;DA\n\nDale;22;50,6;-5,6;1;80;ND\n"
    )
    found = read(text)
    assert found.channel == ("21", "22")
    assert found.latitude.tolist() == [50.5, 50.6]
    assert found.erp_kw.tolist() == [0.25, 1.0]
    assert found.directional.tolist() == [True, False]


def test_by_frequency_and_other_encodings() -> None:
    text = "Name,Centre frequency (kHz),Lat,Lon,ERP kW\nHügel,474000,50.5,-5.5,1\n"
    for encoding in ("utf-8", "utf-8-sig", "latin-1", "utf-16"):
        found = parse_stations(text.encode(encoding), "x", "GB")
        assert (found.name, found.channel) == (("Hügel",), ("",))
        assert float(found.frequency_mhz[0]) == 474.0


@pytest.mark.parametrize(
    ("region", "title", "longitude", "west"),
    [
        ("US", "Lon", "992657", True),
        ("GB", "Lon", "0050242", False),
        ("GB", "West longitude", "5.045", True),
        ("US", "Lon", "-99.45", True),
        ("US", "Lon", "99.45 W", True),
        ("CA", "Lon", "99.45", True),
        ("AU", "Lon", "151.2", False),
    ],
)
def test_west_or_east(region: str, title: str, longitude: str, west: bool) -> None:
    found = one(f"Call,Ch,Lat,{title},ERP kW,HAAT", f"A,21,501200,{longitude},1,100", region)
    assert (float(found.longitude[0]) < 0.0) is west


def test_a_few_bad_rows_are_left_out_and_told() -> None:
    rows = "\n".join(f"S{n},21,50.{n:02},-5.1,1,100" for n in range(40))
    found = read(f"Call,Ch,Lat,Lon,ERP kW,HAAT\n{rows}\nBad,21,north,-5.1,1,100\n")
    assert len(found) == 40
    assert found.notes[-1] == '1 of 41 rows cannot be read and are left out (line 42: "north" is no latitude)'


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "is empty"),
        ("\n \n", "is empty"),
        ("a,b,c\n1,2,3\n", "no line names its columns"),
        ("Call,Ch,Lat,Lon\nA,21,50,5\n", "no column for ERP"),
        ("Call,Lat,ERP\nA,50,5\n", "no column for longitude, channel or frequency"),
        ("Call,Ch,Lat,Lon,ERP\n", "no station under it"),
        ("Call,Ch,Lat,Lon,ERP\nA,21,50.1N,5.1E\n", "is no power"),
        ("Call,Ch,Lat,Lon,ERP\nA,twenty,50.1N,5.1E,1\n", "is no TV channel"),
        ("Call,Ch,Lat,Lon,ERP\nA,21,50.1N,5.1 O,1\n", "O is east"),
        ("Call,Ch,Lat,Lon,ERP,HAAT\nA,21,50.1N,5.1E,1,tall\n", "is no height"),
        ("Call,Ch,Lat,Lon,ERP,HAAT\nA,21,50.1N,5.1E,1,9 yd\n", "m and ft"),
    ],
)
def test_refusals(text: str, words: str) -> None:
    with pytest.raises(InputError, match=words) as refused:
        read(text)
    assert "\n" not in str(refused.value)
    assert str(refused.value).startswith("list.csv")


def test_files_that_are_none(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no such file"):
        read_stations(tmp_path / "none.csv", "none.csv", "GB")
    with pytest.raises(InputError, match="folder"):
        read_stations(tmp_path, "here", "GB")
    with pytest.raises(InputError, match="binary"):
        parse_stations(b"Call,Ch\0\0\0\0", "x", "GB")
    with pytest.raises(InputError, match="MiB"):
        parse_stations(b" " * (33 * 1024 * 1024), "x", "GB")


def test_what_is_quoted_is_short_and_on_one_line() -> None:
    for cell in ("9" * 50_000, '"north\nof ' + "x" * 1000 + '"', "1" * 400 + ".5"):
        for row in (f"A,21,{cell},5.1E,1,1", f"A,{cell},50.1N,5.1E,1,1", f"A,21,50.1N,5.1E,{cell},1"):
            with pytest.raises(InputError) as refused:
                read(f"Call,Ch,Lat,Lon,ERP,HAAT\n{row}\n")
            assert "\n" not in str(refused.value)
            assert len(str(refused.value)) < 200


LISTISH = st.text(alphabet="0123456789.,;\t|-+ \n\"'°NSEWO", max_size=80)


@settings(max_examples=200)
@given(st.binary(max_size=120), LISTISH)
@example(b'"', "")
@example(b"\xff\xfe\xff", "")
def test_whatever_is_given_is_read_or_refused(junk: bytes, row: str) -> None:
    for data in (junk, b"Call,Ch,Lat,Lon,ERP,HAAT\n" + row.encode()):
        refusal: InputError | None = None
        try:
            found = parse_stations(data, "x", "US")
        except InputError as error:
            refusal = error
        if refusal is None:
            assert np.all(np.abs(found.latitude) <= 90.0)
            assert np.all(np.abs(found.longitude) <= 180.0)
            assert np.all(found.erp_kw > 0.0)
        else:
            assert "\n" not in str(refusal)
            assert len(str(refusal)) < 400


def test_columns_that_say_the_same_take_the_first_name() -> None:
    found = find_columns(
        ["FacID", "Site", "Call", "Ch", "PC", "City", "St", "Lat", "Lon", "RCAMSL", "HAAT", "ERP", "DA"]
    )
    assert {role: column.title for role, column in found.items()} == {
        "name": "Call", "channel": "Ch", "latitude": "Lat", "longitude": "Lon", "erp": "ERP", "effective": "HAAT",
        "pattern": "DA",
    }  # fmt: skip
