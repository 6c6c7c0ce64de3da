"""What the pictures of an event are drawn from: its sites and days as marks, with their words and addresses."""

from __future__ import annotations

import datetime
from collections import Counter
from collections.abc import Iterator, Sequence
from typing import Final
from urllib.parse import urlencode

from linkwright.desk.event import CarrierUse, EventDays
from linkwright.draw.event_band import BandStretch
from linkwright.draw.event_days import VERDICTS, DayField
from linkwright.draw.event_map import MapSite
from linkwright.plan.neighbours import distances_m
from linkwright.shoot.carrier_list import from_site
from linkwright.shoot.clock import zone_of
from linkwright.units import counted, number_word, with_capital

#: Where the pictures are.
PAGE: Final = "/crews/event"


def address(days: EventDays, site: str, day: datetime.date) -> str:
    """Where the carriers of a site on a day are shown."""
    return f"{PAGE}?{urlencode({'site': days.id_of(site), 'day': day.isoformat()})}"


def stretches(days: EventDays, day: datetime.date, used: Sequence[CarrierUse]) -> list[BandStretch]:
    """Carriers in use as marks; one without times lasts all day."""
    zone = zone_of(days.made.shoot)
    first = datetime.datetime.combine(day, datetime.time(), zone)
    last = first + datetime.timedelta(days=1)
    return [
        BandStretch(
            use.khz,
            _ms(use.starts or first),
            _ms(use.ends or last),
            ", ".join(use.links),
            use.state,
            use.says(zone),
        )
        for use in used
    ]


def _ms(moment: datetime.datetime) -> int:
    return round(1000.0 * moment.timestamp())


def fields(
    days: EventDays, shown: Sequence[datetime.date], site: str, day: datetime.date
) -> dict[tuple[str, datetime.date], DayField]:
    """The fields of the time line on some days; the one of a site and a day is marked."""
    return {
        (name, on): DayField(
            field.links,
            field.worst,
            address(days, name, on),
            f"{name}, {on:%A %-d %B}: {counted(field.links, 'link')}, {VERDICTS[field.worst]}",
            (name, on) == (site, day),
        )
        for (name, on), field in days.fields.items()
        if on in shown
    }


def map_sites(days: EventDays, site: str, day: datetime.date) -> tuple[list[MapSite], list[tuple[int, int]]]:
    """The sites that have a position, on a plane about the first of them, and which of them hear each other."""
    placed = [place for place in days.sites if place.latitude is not None and place.longitude is not None]
    drawn = []
    for place in placed:
        at = from_site(placed[0], place.latitude or 0.0, place.longitude or 0.0) or (0.0, 0.0)
        field = days.fields.get((place.name, day))
        drawn.append(MapSite(place.name, *at, 0 if field is None else field.links, place.name == site))
    hears, number = days.hearing(day), {place.name: n for n, place in enumerate(placed)}
    joined = [
        (number[a], number[b])
        for a, others in hears.items()
        for b in sorted(others)
        if a in number and b in number and number[a] < number[b]
    ]
    return drawn, sorted(joined)


def map_table(days: EventDays, day: datetime.date) -> list[tuple[str, str, int, str, str]]:
    """The sites of a day: name, address, links, verdict, which others each hears with how far they are."""
    hears, by_name = days.hearing(day), {site.name: site for site in days.sites}
    rows: list[tuple[str, str, int, str, str]] = []
    for name in by_name:
        field = days.fields.get((name, day))
        if field is not None:
            others = [site for site in days.sites if site.name in hears.get(name, ())]
            away = distances_m(by_name[name], others) if others else ()
            told = ", ".join(f"{o.name} ({m:,.0f} m)".replace(",", " ") for o, m in zip(others, away, strict=True))
            rows.append((name, address(days, name, day), field.links, field.worst, told))
    return rows


def unplaced(days: EventDays) -> list[str]:
    """The sites without a position."""
    return [site.name for site in days.sites if site.latitude is None or site.longitude is None]


def answer(days: EventDays, site: str, day: datetime.date, used: Sequence[CarrierUse]) -> str:
    """What is on at a site on a day, in a sentence."""
    field, states = days.fields[site, day], Counter[str](use.state for use in used)
    told = (("planned", "planned"), ("set", "set"), ("heard", "heard"), ("leaving", "not left yet"))
    how = ", ".join(f"{number_word(states[state])} {word}" for state, word in told if states[state])
    links = with_capital(f"{number_word(field.links)} link{'' if field.links == 1 else 's'}")
    on = f"{links} at {site} on {day:%A %-d %B}"
    return f"{on}; carriers: {how}." if how else f"{on}; no carrier is planned."


def band_table(days: EventDays, used: Sequence[CarrierUse]) -> Iterator[tuple[str | float, ...]]:
    """The carriers in use as rows: MHz, from, to, links, crew, call, how far, and the verdict."""
    zone = zone_of(days.made.shoot)
    for use in used:
        at = ("" if when is None else f"{when.astimezone(zone):%Y-%m-%d %H:%M}" for when in (use.starts, use.ends))
        yield use.khz / 1000, *at, ", ".join(use.links), use.crew, use.call, use.state, use.note


BAND_HEAD: Final = ("carrier_mhz", "from", "to", "link", "crew", "call", "state", "note")
DAYS_HEAD: Final = ("date", "site", "links", "worst")


def days_table(days: EventDays) -> Iterator[tuple[str | float, ...]]:
    """All fields of the time line as rows: date, site, links, worst."""
    for (name, on), field in sorted(days.fields.items(), key=lambda pair: (pair[0][1], pair[0][0])):
        yield on.isoformat(), name, field.links, field.worst
