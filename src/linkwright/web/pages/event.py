"""The page of an event in pictures: the carriers of a site through a day, all sites day by day, and where they are.

It is the coordinator's; crews see none of it (docs/roles.md).
"""

from __future__ import annotations

import contextlib
import datetime
from dataclasses import dataclass
from typing import Annotated, Any

from fastapi import APIRouter, Query, Request
from fastapi.responses import HTMLResponse, Response

from linkwright.desk.event import CarrierUse, EventDays, uses
from linkwright.desk.event_pictures import (
    BAND_HEAD,
    DAYS_HEAD,
    answer,
    band_table,
    days_table,
    fields,
    map_sites,
    map_table,
    stretches,
    unplaced,
)
from linkwright.draw.event_band import drawn_band, parts_of, rows_of
from linkwright.draw.event_days import days_at_once, drawn_days
from linkwright.draw.event_map import drawn_map
from linkwright.draw.ink import in_page_inks
from linkwright.shoot.clock import zone_of
from linkwright.shoot.errors import InputError
from linkwright.units import mhz_text
from linkwright.web.answers import KEEP_OUT, csv_response, desk_of, render, snapshot_of

router = APIRouter()

Id = Annotated[str, Query(max_length=100)]
Day = Annotated[str, Query(max_length=10)]
Width = Annotated[int, Query(ge=300, le=2000)]
Number = Annotated[int, Query(ge=0, le=10_000)]


@dataclass(frozen=True, slots=True)
class ShownDay:
    """The event by site and day, and the site and the day that are shown."""

    days: EventDays
    site: str
    day: datetime.date

    @property
    def title(self) -> str:
        """What is shown, in words."""
        return f"{self.site}, {self.day:%A %-d %B}"


def _asked(request: Request, site: str, day: str) -> ShownDay:
    """What is asked for; where nothing is, the call that is on. Raises InputError while there is no plan."""
    desk = desk_of(request)
    days = desk.event.of(snapshot_of(request).planned())
    now_site, now_day = days.now(round(1e9 * desk.store.now().timestamp()))
    name, wanted = days.site(site) if site else now_site, now_day
    with contextlib.suppress(ValueError):
        wanted = datetime.date.fromisoformat(day)
    return ShownDay(days, name, days.day_of(name, wanted))


def _used(request: Request, asked: ShownDay) -> list[CarrierUse]:
    draft = snapshot_of(request).document.draft
    return uses(asked.days, asked.site, asked.day, desk_of(request).store, draft)


@router.get("/crews/event")
def page(request: Request, site: Id = "", day: Day = "") -> Response:
    """The page."""
    if snapshot_of(request).made is None:
        says = "There is no plan yet: the pictures come with it."
        return render(request, "event.html", answer=says, asked=None)
    return render(request, "event.html", **_context(request, site, day))


@router.get("/crews/event/body")
def body(request: Request, site: Id = "", day: Day = "") -> Response:
    """What of the page follows the plan and the ticks: its sentence, and the sites as a table."""
    return render(request, "event_body.html", **_context(request, site, day))


def _context(request: Request, site: str, day: str) -> dict[str, Any]:
    asked = _asked(request, site, day)
    return {
        "answer": answer(asked.days, asked.site, asked.day, _used(request, asked)),
        "asked": asked,
        "site_id": asked.days.id_of(asked.site),
        "sites": map_table(asked.days, asked.day),
        "unplaced": unplaced(asked.days),
    }


@router.get("/crews/event/choice")
def choice(request: Request, site: Id = "", day: Day = "") -> Response:
    """The days on which a site has calls, to choose from."""
    return render(request, "event_choice.html", asked=_asked(request, site, day))


@router.get("/crews/event/band")
def band(request: Request, site: Id = "", day: Day = "", part: Number = 0, width: Width = 1000) -> Response:
    """The carriers of a site through a day, drawn; a wide band in parts."""
    asked = _asked(request, site, day)
    rows = rows_of(stretches(asked.days, asked.day, _used(request, asked)))
    parts = parts_of(rows)
    if not parts:
        return HTMLResponse('<p class="none">No carrier is planned there on that day.</p>', headers=KEEP_OUT)
    part = min(part, len(parts) - 1)
    now_ms = round(1000.0 * desk_of(request).store.now().timestamp())
    zone = zone_of(asked.days.made.shoot)
    svg = drawn_band(parts[part], zone, f"Carriers at {asked.title}", width, now_ms)
    spans = [f"{mhz_text(of[-1][0].khz)} to {mhz_text(of[0][0].khz)} MHz" for of in parts]
    turns = [(f"part={n}", told, n == part) for n, told in enumerate(spans)] if len(parts) > 1 else []
    return render(request, "event_picture.html", svg=in_page_inks(svg), turns=turns, told="Part of the band")


@router.get("/crews/event/days")
def days(
    request: Request, site: Id = "", day: Day = "", begin: Annotated[Day, Query(alias="from")] = "",
    width: Width = 1000,
) -> Response:  # fmt: skip
    """All sites day by day, drawn, as many days as have room."""
    asked = _asked(request, site, day)
    every, room = asked.days.days, days_at_once(width)
    at = every.index(asked.day)
    with contextlib.suppress(ValueError):
        at = every.index(datetime.date.fromisoformat(begin))
    begins = max(0, min(at - at % room if not begin else at, len(every) - room))
    shown = every[begins : begins + room]
    says = f"Links at each site, {shown[0]:%-d %B} to {shown[-1]:%-d %B}"
    site_days = fields(asked.days, shown, asked.site, asked.day)
    there = {name for name, _ in site_days}
    names = [place.name for place in asked.days.sites if place.name in there]
    svg = drawn_days(names, shown, site_days, asked.days.most, says, width)
    turns = []
    if begins > 0:
        turns.append((f"from={every[max(0, begins - room)]}", "Earlier days", False))
    if begins + room < len(every):
        turns.append((f"from={every[min(len(every) - 1, begins + room)]}", "Later days", False))
    return render(request, "event_picture.html", svg=in_page_inks(svg), turns=turns, told="Which days")


@router.get("/crews/event/map")
def site_map(request: Request, site: Id = "", day: Day = "", width: Width = 1000) -> Response:
    """Where the sites are, drawn: as large as links are on that day, joined where they hear each other."""
    asked = _asked(request, site, day)
    sites, joined = map_sites(asked.days, asked.site, asked.day)
    if not sites:
        return HTMLResponse('<p class="none">No site has a position.</p>', headers=KEEP_OUT)
    svg = drawn_map(sites, joined, f"Sites of the event on {asked.day:%A %-d %B}", width)
    return render(request, "event_picture.html", svg=in_page_inks(svg), turns=[], told="")


@router.get("/crews/event/table")
def table(request: Request, site: Id = "", day: Day = "") -> Response:
    """The carriers of a site through a day as a table."""
    asked = _asked(request, site, day)
    rows = [
        (mhz_text(use.khz), use.when(zone_of(asked.days.made.shoot)), use.who, use.call, use.state, use.note)
        for use in _used(request, asked)
    ]
    return render(request, "event_table.html", rows=rows)


@router.get("/crews/event.csv")
def as_csv(request: Request, site: Id = "", day: Day = "") -> Response:
    """All sites by day as CSV; with a site and a day the carriers there."""
    if not (site and day):
        made = snapshot_of(request).planned()
        return csv_response("event.csv", DAYS_HEAD, days_table(desk_of(request).event.of(made)))
    asked = _asked(request, site, day)
    if day != asked.day.isoformat():
        raise InputError("no call is planned at that place on that day")
    return csv_response("carriers.csv", BAND_HEAD, band_table(asked.days, _used(request, asked)))
