"""An event in numbers for its pictures: who is on at a site on a day, and which sites hear each other."""

from __future__ import annotations

import datetime
import functools
import itertools
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

from linkwright.desk.current import calls_at
from linkwright.desk.snapshot import Made
from linkwright.draw.event_band import BandState
from linkwright.plan.model import PlannedCall, PlannedLink, Verdict
from linkwright.plan.neighbours import hearing
from linkwright.shoot.errors import InputError
from linkwright.shoot.place import Site
from linkwright.shoot.view import LiveCall
from linkwright.store import Draft, Store, ToldCarrier
from linkwright.store.carrier_notices import OFF
from linkwright.units import mhz_text, together

#: How far a carrier is, in words.
TOLD: Final = {
    "planned": "planned, not set yet",
    "set": "set at both ends, not heard yet",
    "heard": "set and heard, clean",
    "leaving": "not left yet",
}
#: From the best to the worst.
VERDICTS: Final[tuple[Verdict, ...]] = ("holds", "thin", "fails")


@dataclass(frozen=True, slots=True)
class SiteDay:
    """What is on at a site on a day: its calls by their place in the plan, how many links, the worst verdict."""

    calls: tuple[int, ...]
    links: int
    worst: Verdict


@dataclass(frozen=True, eq=False)
class EventDays:
    """An event by site and day, of one plan; sites (by name) and days that have a call, and no others."""

    made: Made
    fields: Mapping[tuple[str, datetime.date], SiteDay]

    @functools.cached_property
    def sites(self) -> tuple[Site, ...]:
        """The sites, in the order of the shoot."""
        return self.made.scene.used_sites

    @functools.cached_property
    def days(self) -> tuple[datetime.date, ...]:
        """The days, in order."""
        return tuple(sorted({day for _, day in self.fields}))

    @functools.cached_property
    def most(self) -> int:
        """The most links on a site in a day."""
        return max((field.links for field in self.fields.values()), default=0)

    def days_of(self, site: str) -> list[datetime.date]:
        """The days of a site."""
        return [day for day in self.days if (site, day) in self.fields]

    def id_of(self, site: str) -> str:
        """The lasting id of a site."""
        return self.made.names.id_of("site", site)

    def site(self, site_id: str) -> str:
        """The site of an id. Raises InputError where there is no such with a call."""
        name = next((site.name for site in self.sites if site_id == self.id_of(site.name)), None)
        if name is None:
            raise InputError("no call is planned at that place; load the page again")
        return name

    def now(self, time_ns: int) -> tuple[str, datetime.date]:
        """The site and the day of the call that is on at a time, or of the next."""
        calls = self.made.scene.calls
        call = calls_at(calls, time_ns)[0]
        return call.site.name, _day(self.made, calls.index(call))

    def day_of(self, site: str, wanted: datetime.date) -> datetime.date:
        """The day that is wanted, else the nearest on which a site has a call."""
        return min(self.days_of(site), key=lambda day: (abs((day - wanted).days), day))

    @functools.cached_property
    def _heard(self) -> dict[datetime.date, dict[str, set[str]]]:
        return {}

    def hearing(self, day: datetime.date) -> Mapping[str, set[str]]:
        """For each site of a day those that it hears, or that hear it, on that day."""
        if day not in self._heard:
            scene = self.made.scene
            calls = [n for (_, on), field in self.fields.items() if on == day for n in field.calls]
            that_day = replace(scene, calls=tuple(scene.calls[n] for n in sorted(calls)))
            self._heard[day] = hearing(that_day)
        return self._heard[day]


def event_days(made: Made) -> EventDays:
    """An event by site and day."""
    by_field: dict[tuple[str, datetime.date], list[int]] = {}
    for n, call in enumerate(made.scene.calls):
        by_field.setdefault((call.site.name, _day(made, n)), []).append(n)
    return EventDays(made, {key: _field(made, calls) for key, calls in by_field.items()})


class KeptDays:
    """The newest plan's event by site and day: worked out once."""

    def __init__(self) -> None:
        self._days: EventDays | None = None

    def of(self, made: Made) -> EventDays:
        """That of a plan."""
        days = self._days
        if days is None or days.made is not made:
            days = self._days = event_days(made)
        return days


def _day(made: Made, call: int) -> datetime.date:
    """The day on which a call begins."""
    typed = made.shoot.call[call].date if made.shoot.call else None
    return typed or made.shoot.shoot.date


def _field(made: Made, calls: Sequence[int]) -> SiteDay:
    links: set[str] = set()
    worst = 0
    for n in calls:
        planned = made.plan.calls[n]
        links.update(link.link for link in planned.told)
        links.update(none.link for none in planned.unplaced)
        worst = max(
            [
                worst,
                2 if planned.unplaced else 0,
                *(VERDICTS.index(verdict_link.verdict) for verdict_link in planned.told),
            ]
        )
    return SiteDay(tuple(calls), len(links), VERDICTS[worst])


@dataclass(frozen=True, slots=True)
class CarrierUse:
    """A carrier in use at a site [kHz]: in which call, by which links of which crew, how far it is: planned, set,
    heard, or leaving (told another, and not gone there yet); the verdict, or what is to be done with it."""

    khz: int
    call: str
    starts: datetime.datetime | None
    ends: datetime.datetime | None
    links: tuple[str, ...]
    crew: str
    state: BandState
    note: str

    @property
    def who(self) -> str:
        """Whose it is, with the crew."""
        return f"{together(self.links)} of {self.crew}" if self.crew else together(self.links)

    def when(self, zone: datetime.tzinfo) -> str:
        """From when to when, in words."""
        if self.starts is None or self.ends is None:
            return "all day"
        return f"{self.starts.astimezone(zone):%H:%M} to {self.ends.astimezone(zone):%H:%M}"

    def says(self, zone: datetime.tzinfo) -> str:
        """All of it as a sentence."""
        note = f"; {self.note}" if self.note else ""
        told = TOLD[self.state]
        return f"{mhz_text(self.khz)} MHz, {self.when(zone)}: {self.who}, in {self.call}; {told}{note}."


def uses(days: EventDays, site: str, day: datetime.date, store: Store, draft: Draft) -> list[CarrierUse]:
    """Every carrier in use at a site on a day, the lowest first, with what crews ticked."""
    made = days.made
    numbers = days.fields[site, day].calls
    ids = [made.names.id_of("call", made.scene.calls[n].name) for n in numbers]
    told = {carrier.key: carrier for carrier in store.carriers_told(ids)}
    gone = [id_ for id_ in ids if id_ not in {key[1] for key in told}]
    ticked = _Ticked(made, told, store.carriers_were(gone) if gone else {}, dict(_stands(draft)))
    uses = [use for n in numbers for use in _in_call(made.scene.calls[n], made.plan.calls[n], ticked)]
    return sorted(uses, key=lambda use: (use.khz, use.call, use.links))


@dataclass(frozen=True, eq=False, slots=True)
class _Ticked:
    """What is known of who stands where: what crews were told, what they ticked in calls that are over, and where
    the ends of each link stand: carrier [kHz], heard."""

    made: Made
    told: Mapping[tuple[str, str], ToldCarrier]
    were: Mapping[tuple[str, str], str]
    stands: Mapping[str, tuple[int, bool]]

    def state(self, link: str, call: str, khz: int) -> BandState:
        """How far a link (by id) is on its planned carrier in a call."""
        told = self.told.get((link, call))
        if told is not None:
            return "planned" if told.khz != khz or told.set is None else "heard" if told.heard else "set"
        was = self.were.get((link, call))
        if was is not None:
            return "heard" if was == "heard" else "set"
        stands_khz, heard = self.stands.get(link, (0, False))
        return "planned" if stands_khz != khz else "heard" if heard else "set"


def _stands(draft: Draft) -> Iterator[tuple[str, tuple[int, bool]]]:
    for id_, link in draft.entries("link"):
        mhz = link.get("set_mhz")
        if isinstance(mhz, int | float):
            yield id_, (round(1000.0 * mhz), bool(link.get("heard_at")))


def _in_call(live: LiveCall, planned: PlannedCall, ticked: _Ticked) -> Iterator[CarrierUse]:
    names = ticked.made.names
    call_id = names.id_of("call", live.name)
    crews = {link.name: link.crew or "" for link in live.links}
    when = live.name, live.starts, live.ends

    def shared(link: PlannedLink) -> tuple[int, str]:
        return link.carrier_khz, link.block or link.link

    for (khz, _), sharing in itertools.groupby(sorted(planned.links, key=shared), shared):
        links = list(sharing)
        who = tuple(link.link for link in links)
        worst = max((link.verdict for link in links), key=VERDICTS.index)
        state = ticked.state(names.id_of("link", who[0]), call_id, khz)
        yield CarrierUse(khz, *when, who, crews.get(who[0], ""), state, worst)
    for told in ticked.told.values():
        if told.call == call_id and told.set is None and told.before_khz not in (0, told.khz):
            who, crew = (names.name_of(told.link),), names.name_of(told.crew)
            note = "to be switched off" if told.khz == OFF else f"to go to {mhz_text(told.khz)} MHz"
            yield CarrierUse(told.before_khz, *when, who, crew, "leaving", note)
