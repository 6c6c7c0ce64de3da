"""Tables and calendar as other programs read them: RFC 4180, spreadsheets, RFC 5545."""

from __future__ import annotations

import csv
import datetime
import io
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from icalendar import Calendar
from tests.plan.shoots import HEADER, links, pocket, shoot
from tests.sheets.made import files, sheets

from linkwright.plan.pipeline import make_plan
from linkwright.sheets.calendar import calendar_bytes
from linkwright.sheets.tables import csv_text
from linkwright.units import mhz_text


def events_of(data: bytes) -> list[Any]:
    """The events of a calendar, as a library reads them."""
    return list(Calendar.from_ical(data).walk("VEVENT"))


def rows(name: str, which: str = "demo") -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(files(which)[name].decode(), newline="")))


def test_links_csv_is_the_plan() -> None:
    found = rows("links.csv")
    planned = [(call.call, link) for call in sheets().plan.calls for link in call.links]
    itself = [link.link for call in sheets().plan.calls for link in call.by_themselves or ()]
    assert [row["link"] for row in found if not row["carrier_mhz"]] == itself == ["Crew"]
    found = [row for row in found if row["carrier_mhz"]]
    assert len(found) == len(planned)
    for row, (call, link) in zip(found, planned, strict=True):
        assert (row["call"], row["link"], row["carrier_mhz"]) == (call, link.link, mhz_text(link.carrier_khz))
        assert row["spares_mhz"].split() == [mhz_text(khz) for khz in link.spares_khz]
        assert float(row["margin_db"]) == pytest.approx(link.margin_db, abs=0.01)


def test_every_line_ends_as_rfc_4180_says() -> None:
    """RFC 4180 section 2: CRLF after each record, the same number of fields in each."""
    for name in ("links.csv", "day.csv", "carriers.csv"):
        text = files()[name].decode()
        assert text.endswith("\r\n")
        assert text.count("\n") == text.count("\r\n")
        assert len({len(row) for row in csv.reader(io.StringIO(text, newline=""))}) == 1


@given(st.lists(st.text(min_size=0, max_size=30), min_size=1, max_size=5))
def test_no_text_begins_like_a_formula_and_none_is_lost(cells: list[str]) -> None:
    text = csv_text([f"c{n}" for n in range(len(cells))], [cells])
    (_, row) = list(csv.reader(io.StringIO(text, newline="")))
    for shown, cell in zip(row, cells, strict=True):
        assert not shown.lstrip(" \N{NO-BREAK SPACE}").startswith(("=", "+", "-", "@", "\t", "\r", "\n"))
        assert shown in (cell, f"'{cell}")


def test_numbers_stay_numbers() -> None:
    assert csv_text(("a", "b", "c"), [(-61.25, 3, None)]) == "a,b,c\r\n-61.25,3,\r\n"


def test_hostile_names_are_text_in_tables() -> None:
    assert rows("links.csv", "hostile")[0]["link"].startswith("'=HYPERLINK")


def test_the_calendar_is_read_by_a_library_and_holds_the_day() -> None:
    events = events_of(files()["day.ics"])
    names = [str(event["summary"]) for event in events]
    assert "Raking" in names
    assert "Boiling" in names
    assert sum(name.startswith("Break: ") for name in names) == 2
    assert sum(name.startswith("Cells: ") for name in names) == len(sheets().plan.batteries) > 0
    raking = next(event for event in events if str(event["summary"]) == "Raking")
    # 09:00 in London on 14 May is British Summer Time, an hour ahead of UTC.
    assert raking["dtstart"].dt == datetime.datetime(2027, 5, 14, 8, 0, tzinfo=datetime.UTC)
    assert len({str(event["uid"]) for event in events}) == len(events)


def test_the_calendar_keeps_rfc_5545() -> None:
    """Section 3.1: lines of at most 75 octets, CRLF; 3.6.1: UID and DTSTAMP in every event; 3.6.6: alarms."""
    data = files("hostile")["day.ics"] + files()["day.ics"]
    for line in data.split(b"\r\n"):
        assert len(line) <= 75
        assert b"\n" not in line
    for event in events_of(files()["day.ics"]):
        assert {"UID", "DTSTAMP", "DTSTART"} <= set(event)
        assert event["dtend"].dt > event["dtstart"].dt
    for alarm in Calendar.from_ical(files()["day.ics"]).walk("VALARM"):
        assert {"ACTION", "TRIGGER", "DESCRIPTION"} <= set(alarm)


def test_a_day_past_midnight_and_over_a_change_of_clocks() -> None:
    night = (
        '[[call]]\nname = "Night"\nfrom = 22:00:00\nto = 04:00:00\nnext_day = true\n'
        "breaks = [{ from = 00:30:00, to = 01:00:00 }]\n"
    )
    header = HEADER.replace("date = 2027-05-14", 'date = 2027-03-27\ntimezone = "Europe/London"')
    read = shoot(pocket() + links(1) + night, header)
    events = {str(one["summary"]): one for one in events_of(calendar_bytes(read, make_plan(read, {})))}
    assert events["Night"]["dtstart"].dt == datetime.datetime(2027, 3, 27, 22, 0, tzinfo=datetime.UTC)
    # Clocks go forward at 01:00 UTC on 28 March 2027: 04:00 is British Summer Time.
    assert events["Night"]["dtend"].dt == datetime.datetime(2027, 3, 28, 3, 0, tzinfo=datetime.UTC)
    assert events["Break: Night"]["dtstart"].dt == datetime.datetime(2027, 3, 28, 0, 30, tzinfo=datetime.UTC)
