"""Logs of other column names and dates are read by what they are likely to be, and every guess is told."""

from __future__ import annotations

import datetime
import math
from pathlib import Path

import pytest
from tests.cli.calling import call
from tests.plan.shoots import QUAY

from linkwright.shoot.errors import InputError
from linkwright.watch.log.mapping import TIDY, Mapping, parse_mapping
from linkwright.watch.log.reading import read_log

UTC_10 = int(datetime.datetime(2027, 5, 14, 10, tzinfo=datetime.UTC).timestamp()) * 1_000_000_000
LONDON = Mapping(zone="Europe/London")


def log(tmp_path: Path, text: str, encoding: str = "utf-8") -> Path:
    path = tmp_path / "log.csv"
    path.write_text(text, encoding)
    return path


@pytest.mark.parametrize(
    ("head", "row"),
    [
        ("Timestamp,Channel,RSSI A (dBm),RSSI B (dBm),Battery (%)", "2027-05-14 11:00:00,Pilot,-60.5,-70,80"),
        ("Date/Time;Name;RF Level A;RF Level B;Batt", "14.05.2027 11:00:00;Pilot;-60,5;-70;80"),
        (
            "date_time\tReceiver\tAnt. A [dBm]\tAnt. B [dBm]\tBattery Level",
            "14/05/2027 11:00:00\tPilot\t-60.5\t-70\t80",
        ),
        ("time stamp,mic,rf1,rf2,bat %", "05/14/2027 11:00:00,Pilot,-60.5,-70,80"),
    ],
)
@pytest.mark.parametrize("encoding", ["utf-8", "utf-16"])
def test_a_log_of_other_names_is_read_and_says_how(tmp_path: Path, head: str, row: str, encoding: str) -> None:
    found = read_log(log(tmp_path, f"{head}\n{row}\n", encoding), "log.csv", LONDON)
    (track,) = found.tracks
    assert track.link == "Pilot"
    assert track.time_ns.tolist() == [UTC_10]  # 11:00 of summer time
    values = dict(zip(("a", "b", "audio", "quality", "battery", "muted"), track.values[0].tolist(), strict=True))
    assert (values["a"], values["b"]) == (-60.5, -70.0)
    assert values["battery"] == pytest.approx(0.8)
    (told,) = found.told
    assert told.startswith("guessed, as a mapping file (--mapping) would say it:")
    assert "rf_a_dbm = " in told


def test_what_is_told_is_a_mapping_that_does_the_same(tmp_path: Path) -> None:
    text = "Date/Time;Name;RF Level A;Batt\n14.05.2027 11:00:00;Pilot;-60,5;80\n"
    path = log(tmp_path, text)
    mapping = parse_mapping(
        'zone = "Europe/London"\ndates = "day-first"\n[column]\ntime = "Date/Time"\nlink = "Name"\n'
        'rf_a_dbm = "RF Level A"\nbattery = "Batt"\n[scale]\nbattery = 0.01\n',
        "map.toml",
    )
    said, guessed = read_log(path, "log.csv", mapping), read_log(path, "log.csv", LONDON)
    assert said.told == ()
    for part in ('dates = "day-first"', 'time = "Date/Time"', 'link = "Name"', "battery = 0.01"):
        assert part in guessed.told[0]
    assert said.tracks[0].time_ns.tolist() == guessed.tracks[0].time_ns.tolist()
    assert said.tracks[0].values[0, 0] == guessed.tracks[0].values[0, 0]


def test_days_that_are_none_are_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"32\.05\.2027"):
        read_log(log(tmp_path, "time,link,rf_a_dbm\n32.05.2027 11:00:00,Pilot,-60\n"), "log.csv", LONDON)


def test_a_tidy_log_is_read_as_before_and_what_it_has_besides_is_told_and_not_guessed(tmp_path: Path) -> None:
    found = read_log(log(tmp_path, "time,link,rf_a_dbm,Level\n2027-05-14T10:00:00Z,Pilot,-60,3\n"), "log.csv", TIDY)
    (told,) = found.told
    assert '"Level"' in told
    assert "--mapping" in told
    assert math.isnan(found.tracks[0].values[0, 1])
    assert found.tracks[0].time_ns.tolist() == [UTC_10]


def test_a_refusal_shows_the_mapping_that_would_do(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r'a mapping file \(--mapping\) that says \[column\] time = "t0"'):
        read_log(log(tmp_path, "t0,x\n1,2\n"), "log.csv")


def test_times_without_an_offset_are_the_shoot_s_and_that_is_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    rows = "".join(f"2027-05-14 09:00:{n:02d},Pilot,{-50 - (n > 5) * 60}\n" for n in range(12))
    path = log(tmp_path, f"time,link,rf_a_dbm\n{rows}")
    said = call(capsys, "diagnose", str(path), "--shoot", str(QUAY))
    assert said.status in (0, 1), said.err
    assert "times without an offset are taken as those of Europe/London" in " ".join(said.out.split())
    without = call(capsys, "diagnose", str(path))
    assert (without.status, 'zone = "Europe/London"' in without.err) == (2, True)


def test_a_link_that_the_shoot_lacks_is_named_with_the_mapping_that_would_do(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    rows = "".join(f"2027-05-14T09:00:{n:02d}Z,Nobody,-50\n" for n in range(12))
    said = call(capsys, "diagnose", str(log(tmp_path, f"time,link,rf_a_dbm\n{rows}")), "--shoot", str(QUAY))
    told = " ".join(said.out.split())
    assert 'the shoot has no "Nobody"' in told
    assert '[rename] "Nobody" = ' in told


@pytest.mark.parametrize(
    ("head", "row", "as_mapping"),
    [
        ("Date,Time,Channel,RSSI A", "2027-05-14,11:00:00,Pilot,-60.5", 'date = "Date"'),
        ("Time;Day;Name;RF A", "11:00:00;14.05.2027;Pilot;-60,5", 'date = "Day"'),
        ("date\ttime\tlink\trf_a_dbm", "5/14/2027\t11:00\tPilot\t-60.5", 'date = "date"'),
        ("Date,Clock,Mic,RSSI", "2027/5/14,11:00:00.0,Pilot,-60.5", 'time = "Clock"'),
        ("Date,Time,Channel,RSSI A", '"2027-05-14","11:00:00+01:00","Pilot","-60.5"', 'date = "Date"'),
    ],
)
def test_a_date_and_a_time_of_their_own_columns_are_read_as_one(
    tmp_path: Path, head: str, row: str, as_mapping: str
) -> None:
    found = read_log(log(tmp_path, f"{head}\n{row}\n"), "log.csv", LONDON)
    (track,) = found.tracks
    assert (track.link, track.time_ns.tolist(), track.values[0, 0]) == ("Pilot", [UTC_10], -60.5)
    told = next(one for one in found.told if one.startswith("guessed"))
    assert as_mapping in told


def test_a_time_that_has_its_date_takes_no_other(tmp_path: Path) -> None:
    text = "date,time,link,rf_a_dbm\n1999-01-01,2027-05-14T10:00:00Z,Pilot,-60.5\n"
    (track,) = read_log(log(tmp_path, text), "log.csv").tracks
    assert track.time_ns.tolist() == [UTC_10]


def test_lines_that_lack_cells_and_heads_that_come_again_are_no_readings(tmp_path: Path) -> None:
    rows = "2027-05-14,11:00:{0:02},Pilot,-60.5\n"
    text = "Date,Time,Channel,RSSI A\n" + "".join(rows.format(n) for n in range(30))
    text += "Date,Time,Channel,RSSI A\n2027-05-14\n" + rows.format(59)
    found = read_log(log(tmp_path, text), "log.csv", LONDON)
    assert found.tracks[0].time_ns.size == 31
    assert any("1 row was left out" in told and "line 33" in told for told in found.told)


def test_readings_of_any_listener_are_told_by_name(tmp_path: Path) -> None:
    text = (
        "time,link,listener,rf_a_dbm\n2027-05-14T10:00:00Z,Band's ears,Singer,-60.5\n"
        "2027-05-14T10:00:00Z,Band's ears,Drummer,-70\n2027-05-14T10:00:00Z,Pilot,,-50\n"
    )
    found = read_log(log(tmp_path, text), "log.csv")
    assert [track.link for track in found.tracks] == ["Singer of Band's ears", "Drummer of Band's ears", "Pilot"]
    assert not found.told
