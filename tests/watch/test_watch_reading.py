"""Logs as files: what is read, what is refused in one sentence, and that nothing else is lost."""

from __future__ import annotations

import datetime
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from linkwright.shoot.errors import InputError
from linkwright.watch.log.columns import Amiss
from linkwright.watch.log.mapping import Mapping, parse_mapping
from linkwright.watch.log.parquet import write_parquet
from linkwright.watch.log.reading import read_batches, read_log
from linkwright.watch.log.record import FIELDS, RANGES, Batch, Log, iso_of, reading_from, time_ns_of
from linkwright.watch.log.scan import days_since_1970
from linkwright.watch.log.writing import csv_lines

HEAD = "time,link,rf_a_dbm,rf_b_dbm,audio_dbfs,quality,battery,muted\n"
ROW = "2027-05-14T09:00:00.{:03d}+01:00,Potter,-60.5,-61,-22,1,0.8,0\n"
TIDY = HEAD + "".join(ROW.format(100 * n) for n in range(10))


def log_of(tmp_path: Path, text: str | bytes, mapping: Mapping | None = None) -> Log:
    path = tmp_path / "log.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return read_log(path, "log.csv", mapping or Mapping())


def test_the_tidy_record(tmp_path: Path) -> None:
    (track,) = log_of(tmp_path, TIDY).tracks
    assert track.link == "Potter"
    at = datetime.datetime(2027, 5, 14, 8, 0, 0, 300_000, tzinfo=datetime.UTC)
    assert track.time_ns[3] == time_ns_of(at)
    assert track.values[0].tolist() == pytest.approx([-60.5, -61.0, -22.0, 1.0, 0.8, 0.0])
    assert track.gaps() == ()


@given(st.datetimes(datetime.datetime(2000, 1, 2), datetime.datetime(2199, 1, 1)), st.integers(-14 * 60, 14 * 60))
def test_times_are_those_of_the_standard_library(at: datetime.datetime, minutes: int) -> None:
    zoned = at.replace(tzinfo=datetime.timezone(datetime.timedelta(minutes=minutes)))
    import tempfile

    with tempfile.TemporaryDirectory() as folder:
        (track,) = log_of(Path(folder), f"time,link,quality\n{zoned.isoformat()},A,1\n").tracks
    assert track.time_ns[0] == time_ns_of(zoned)
    assert days_since_1970(at.year, at.month, at.day) == (at.date() - datetime.date(1970, 1, 1)).days


@given(st.floats(-200.0, 50.0, allow_subnormal=False), st.sampled_from(["f", "e", "r"]))
def test_numbers_are_those_of_the_standard_library(value: float, how: str) -> None:
    import tempfile

    text = repr(value) if how == "r" else f"{value:.7{how}}"
    with tempfile.TemporaryDirectory() as folder:
        (track,) = log_of(Path(folder), f"time,link,rf_a_dbm\n2027-05-14T09:00:00Z,A,{text}\n").tracks
    assert track.values[0, 0] == np.float32(float(text)) or abs(track.values[0, 0] - float(text)) < 1e-5


def test_missing_columns_and_empty_cells_are_not_known_and_never_zero(tmp_path: Path) -> None:
    text = "time,link,rf_a_dbm,quality\n2027-05-14T09:00:00Z,A,,1\n2027-05-14T09:00:01Z,A,nan,\n"
    (track,) = log_of(tmp_path, text).tracks
    assert np.isnan(track.values[:, [0, 1, 2, 4, 5]]).all()
    assert np.isnan(track.values[1, 3])


def test_quotes_semicolons_decimal_commas_crlf_and_a_bom(tmp_path: Path) -> None:
    text = '\ufefftime;link;rf_a_dbm\r\n2027-05-14 09:00:00,25Z;"Potter; the first";-60,5\r\n\r\n# end\r\n'
    (track,) = log_of(tmp_path, text).tracks
    assert track.link == "Potter; the first"
    assert track.values[0, 0] == np.float32(-60.5)
    assert track.time_ns[0] % 1_000_000_000 == 250_000_000


MAPPED = """
zone = "Europe/London"
clock_s = 10.0
[column]
time = "When"
link = "Channel"
rf_a_dbm = "RSSI 1"
battery = "Batt %"
[scale]
battery = 0.01
[offset]
rf_a_dbm = -107.0
[rename]
"CH 1" = "Potter"
[clock]
Potter = -2.5
"""


def test_a_mapping_file(tmp_path: Path) -> None:
    mapping = parse_mapping(MAPPED, "map.toml")
    text = "When,Channel,RSSI 1,Batt %\n2027-05-14 09:00:00,CH 1,40,75\n2027-01-14 09:00:00,CH 2,41,74\n"
    potter, other = log_of(tmp_path, text, mapping).tracks
    assert (potter.link, other.link) == ("Potter", "CH 2")
    assert iso_of(int(potter.time_ns[0])) == "2027-05-14T08:00:07.500+00:00"
    assert iso_of(int(other.time_ns[0])) == "2027-01-14T09:00:10.000+00:00"
    assert potter.values[0, [0, 4]].tolist() == pytest.approx([-67.0, 0.75])


def test_numbers_as_times(tmp_path: Path) -> None:
    for unit, text in (("s", "1810000000.125"), ("ms", "1810000000125"), ("ns", "1810000000125000000")):
        mapping = Mapping.model_validate({"time_unit": unit, "link": "Potter"})
        (track,) = log_of(tmp_path, f"time,quality\n{text},1\n", mapping).tracks
        assert track.time_ns[0] == 1_810_000_000_125_000_000


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("[colum]\ntime='x'", 'unknown key "colum"; did you mean "column"?'),
        ("zone = 'Europe/Londn'", "expected an IANA time zone"),
        ("[column]\nrf_a = 'x'", 'there is no field "rf_a"; did you mean "rf_a_dbm"?'),
        ("clock_s = 'x'", "clock_s is 'x'"),
        ("clock_s = nan", "clock_s is nan"),
        ("a = [", "is not valid TOML"),
    ],
)
def test_a_bad_mapping_gets_one_sentence(text: str, says: str) -> None:
    with pytest.raises(InputError, match=r"map\.toml") as refused:
        parse_mapping(text, "map.toml")
    assert says in str(refused.value)
    assert "\n" not in str(refused.value)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (b"", "is empty"),
        (b"\n\n", "is empty"),
        (b"\x00\x01\x02", "is not UTF-8 text"),
        ("time,link,quality\n".encode("utf-16"), "has no readings"),
        (b"RIFF....WAVEfmt ", 'has no column "time"'),
        (b"a,b\n1,2\n", 'has no column "time"'),
        (b"time,link\n2027-05-14T09:00:00Z,A\n", "has no column of values"),
        (b"time,quality\n2027-05-14T09:00:00Z,1\n", 'has no column "link"'),
        (b"tme,link,quality\n", 'did you mean "tme"?'),
        (b"time,link,quality,quality\n", 'has 2 columns "quality"'),
        (b"time,link,quality\n", "has no readings"),
        (b"time,link,quality\n2027-05-14T09:00:00,A,1\n", "times without an offset"),
        (b"time,link,quality\nyesterday,A,1\n", "line 2: the time is 'yesterday'"),
        (b"time,link,quality\n2027-02-30T09:00:00Z,A,1\n", "line 2: the time is"),
        (b"time,link,quality\n1812-05-14T09:00:00Z,A,1\n", "line 2: the time is"),
        (b"time,link,quality\n1990-05-14T09:00:00Z,A,1\n", "before 2000"),
        (b"time,link,quality\n2027-05-14T09:00:00Z,A,1e308\n", "line 2: quality is '1e308'; expected 0 to 1"),
        (b"time,link,quality\n2027-05-14T09:00:00Z,A,9e999999\n", "line 2: quality is"),
        (b"time,link,rf_a_dbm\n2027-05-14T09:00:00Z,A,x\n", "line 2: rf_a_dbm is 'x'; expected a number"),
        (b"time,link,rf_a_dbm\n2027-05-14T09:00:00Z,A,inf\n", "line 2: rf_a_dbm is 'inf'"),
        (b"time,link,rf_a_dbm\n2027-05-14T09:00:00Z,A,1700\n", "line 2: rf_a_dbm is '1700'; expected -200 to 50"),
        (b"time,link,rf_a_dbm\n2027-05-14T09:00:00Z,,-60\n", "line 2: it names no link"),
        (b"time,link,rf_a_dbm\n2027-05-14T09:00:00Z\n", "line 2: it has too few cells"),
        (b'time,link,rf_a_dbm\n2027-05-14T09:00:00Z,"A,-60\n', "line 2: its quotes do not match"),
        (b"time,link,rf_a_dbm\n2027-05-14T09:00:00Z," + b"A" * 90 + b",-60\n", "expected a name of 1 to 80"),
        (b"PAR1 not really", "is no Parquet log"),
    ],
)
def test_a_bad_log_gets_one_sentence(tmp_path: Path, text: bytes, says: str) -> None:
    with pytest.raises(InputError, match=r"log\.csv") as refused:
        log_of(tmp_path, text)
    assert says in str(refused.value)
    assert "\n" not in str(refused.value)


def test_a_missing_file_a_folder_and_a_line_without_end(tmp_path: Path) -> None:
    for path, says in ((tmp_path / "no.csv", "no such file"), (tmp_path, "is a folder")):
        with pytest.raises(InputError, match=says):
            read_log(path)
    with pytest.raises(InputError, match="a line of more than"):
        log_of(tmp_path, b"time,link,quality\n" + b"1" * 18_000_000)


def test_a_few_broken_rows_are_told_and_the_rest_is_kept(tmp_path: Path) -> None:
    log = log_of(tmp_path, TIDY * 3 + "2027-05-14T09:00:01Z,Potter,-6")  # cut off as the power failed
    assert log.tracks[0].time_ns.size == 11
    log = log_of(tmp_path, TIDY + ROW.format(999).replace("-61", "?!"))
    assert log.tracks[0].time_ns.size == 10
    assert any("1 row was left out, the first because line 12: rf_b_dbm" in told for told in log.told)


def test_a_formula_is_a_name_like_any_other(tmp_path: Path) -> None:
    (track,) = log_of(tmp_path, "time,link,quality\n2027-05-14T09:00:00Z,=1+1,1\n").tracks
    assert track.link == "=1+1"


def test_duplicates_and_disorder_are_put_right_and_told(tmp_path: Path) -> None:
    lines = [ROW.format(100 * n) for n in (3, 1, 2, 2, 0)]
    log = log_of(tmp_path, HEAD + "".join(lines))
    assert np.diff(log.tracks[0].time_ns).tolist() == [100_000_000] * 3
    assert len(log.told) == 2


def test_blocks_do_not_change_what_is_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "log.csv"
    rng = np.random.default_rng(3)
    values = np.round(rng.uniform(0.0, 1.0, (4000, len(FIELDS))), 1).astype(np.float32)
    values[rng.random(values.shape) < 0.2] = np.nan
    values[:, 5] = np.round(values[:, 5])
    times = 1_810_000_000_000_000_000 + np.arange(4000, dtype=np.int64) * 100_000_000
    batch = Batch(("A", "B, too", "C"), rng.integers(0, 3, 4000).astype(np.int32), times, values)
    path.write_text("".join(csv_lines([batch])), "utf-8")
    whole = list(read_batches(path))
    monkeypatch.setattr("linkwright.watch.log.reading.BLOCK_BYTES", 7001)
    parts = list(read_batches(path))
    assert len(parts) > 10
    for found in (whole, parts):
        names = [one.names[n] for one in found for n in one.link]
        assert names == [batch.names[n] for n in batch.link]
        assert np.array_equal(np.concatenate([one.time_ns for one in found]), times)
        assert np.allclose(np.concatenate([one.values for one in found]), values, atol=1e-3, equal_nan=True)


def test_parquet_is_the_same_log(tmp_path: Path) -> None:
    path = tmp_path / "log.parquet"
    log = log_of(tmp_path, TIDY)
    write_parquet(str(path), log.in_time())
    amiss = Amiss("log")
    (batch,) = read_batches(path, amiss=amiss)
    assert amiss.rows == 10
    assert batch.names == ("Potter",)
    assert np.array_equal(batch.time_ns, log.tracks[0].time_ns)
    assert np.array_equal(batch.values, log.tracks[0].values, equal_nan=True)


def test_parquet_of_other_making(tmp_path: Path) -> None:
    import pyarrow as pa
    import pyarrow.parquet as pq

    path = tmp_path / "log.parquet"
    table = {"time": ["2027-05-14T09:00:00+01:00", None], "link": ["A", "B"], "rf_a_dbm": [-60, -61]}
    pq.write_table(pa.table(table), path)
    with pytest.raises(InputError, match="a row lacks its time"):
        list(read_batches(path))
    pq.write_table(pa.table({**table, "time": ["2027-05-14T09:00:00", "2027-05-14T09:00:01"]}), path)
    with pytest.raises(InputError, match="times without an offset"):
        list(read_batches(path))
    (batch,) = read_batches(path, mapping=Mapping(zone="+01:00"))
    assert iso_of(int(batch.time_ns[0])) == "2027-05-14T08:00:00.000+00:00"
    pq.write_table(pa.table({**table, "time": [1.0, 2.0]}), path)
    with pytest.raises(InputError, match="has times of type double"):
        list(read_batches(path))
    pq.write_table(pa.table({**table, "rf_a_dbm": ["x", "y"]}), path)
    with pytest.raises(InputError, match="rf_a_dbm of type"):
        list(read_batches(path))


@pytest.mark.parametrize(
    ("record", "says"),
    [
        ([], "is a list; expected an object"),
        ({"link": "A"}, 'has no "time"'),
        ({"time": "2027-05-14T09:00:00", "link": "A"}, "expected ISO 8601 with offset"),
        ({"time": 1e308, "link": "A"}, "expected ISO 8601 with offset"),
        ({"time": "2027-05-14T09:00:00Z", "link": ""}, "expected a name of 1 to 80"),
        ({"time": "2027-05-14T09:00:00Z", "link": "A", "rf_a_dbm": 1e308}, "expected a number from -200 to 50"),
        ({"time": "2027-05-14T09:00:00Z", "link": "A", "rf_a_dbm": float("nan")}, "has rf_a_dbm nan"),
        ({"time": "2027-05-14T09:00:00Z", "link": "A", "quality": "good"}, "has quality 'good'"),
        ({"time": "2027-05-14T09:00:00Z", "link": "A", "muted": 2}, "expected 0 or 1"),
        ({"time": "2027-05-14T09:00:00Z", "link": "A", "rf_dbm": 2}, 'unknown key "rf_dbm"; did you mean'),
    ],
)
def test_a_bad_record_gets_one_sentence(record: object, says: str) -> None:
    with pytest.raises(InputError) as refused:
        reading_from(record)
    assert says in str(refused.value)


def test_ranges_hold_what_is_read() -> None:
    assert len(RANGES) == len(FIELDS)
