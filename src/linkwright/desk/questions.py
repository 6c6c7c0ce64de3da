"""The four questions of an empty job: where, when, who, with what; and the shoot that their answers make."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

from linkwright.desk.bag import in_short
from linkwright.desk.document import Document
from linkwright.desk.outset import Begun, Outset, begin, usual_day
from linkwright.rules import known_codes, territory
from linkwright.rules.models import Permit
from linkwright.shoot.bag import Bag
from linkwright.shoot.catalogue import about_class, called, catalogue
from linkwright.shoot.errors import InputError
from linkwright.shoot.models import Shoot
from linkwright.shoot.place import Surroundings
from linkwright.shoot.reading import parse_document
from linkwright.shoot.zones import zones_of

#: What surroundings are called where they are chosen.
SURROUNDINGS: Final = {
    "open": "open", "street": "street", "residential": "houses", "office": "rooms", "hall": "hall",
}  # fmt: skip
#: How far people go, where they are asked [m].
DISTANCES_M: Final = (5, 30, 100)
#: Beyond so many names the four questions are no place to change a shoot.
MOST_NAMES: Final = 60


@dataclass(frozen=True, slots=True)
class Region:
    """A region that may be chosen: its code, its name, and its time zones."""

    code: str
    name: str
    zones: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class PermitTick:
    """A permit as a sentence to tick: what it is and allows, and the rows that ticking it accepts."""

    id: str
    says: str
    note: str
    accepts: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Asked:
    """The questions with what is answered already."""

    where: str
    region: str
    surroundings: Surroundings
    within_m: float
    date: datetime.date
    hours: tuple[str, str]
    who: tuple[str, ...]
    permits: tuple[str, ...]
    kit: str = ""


def regions() -> list[Region]:
    """All regions of which rules are known, by name."""
    choices = (
        Region(code, territory(code).name, tuple(zone.name for zone in zones_of(code))) for code in known_codes()
    )
    return sorted(choices, key=lambda region: region.name)


def ticks(region: str, on: datetime.date) -> list[PermitTick]:
    """The permits of a region that a crew may hold, as sentences."""
    of = territory(region)
    return [_tick(permit, of.rows, on) for permit in of.permits]


def _tick(permit: Permit, rows: Sequence[Any], on: datetime.date) -> PermitTick:
    mine = [row for row in rows if row.permit == permit.id and row.kind == "microphone" and not row.ended(on)]
    ranges = ", ".join(f"{row.from_khz / 1000:g}–{row.to_khz / 1000:g}" for row in mine)
    says = f"I hold: {permit.name}" + (f", {ranges} MHz" if ranges else "")
    assumed = tuple(row.id for row in mine if row.evidence == "assumed" and row.service is None)
    return PermitTick(permit.id, says, permit.note or "", assumed)


def ticks_of(document: Document) -> list[PermitTick]:
    """The permits of the region that a job says, on its day."""
    region, on = document.draft.at("shoot", "region"), document.draft.at("shoot", "date")
    day = on if isinstance(on, datetime.date) else datetime.date.today()
    return ticks(region, day) if isinstance(region, str) and region in known_codes() else []


def held(document: Document) -> tuple[str, ...]:
    """The permits that a job names."""
    names = document.draft.at("shoot", "permits")
    return tuple(map(str, names)) if isinstance(names, list) else ()


def hold(document: Document, permits: Sequence[str]) -> list[tuple[tuple[str, ...], Any, Any]]:
    """The fields that change where a crew holds these permits and no others; with one goes what it accepts."""
    every, draft = ticks_of(document), document.draft
    known, mine = {tick.id for tick in every}, [tick for tick in every if tick.id in permits]
    rows = {row for tick in every for row in tick.accepts}
    accepts = draft.at("shoot", "accepts")
    others = [row for row in (accepts if isinstance(accepts, list) else []) if row not in rows]
    named = [*(name for name in held(document) if name not in known), *(tick.id for tick in mine)]
    opened = [*others, *(row for tick in mine for row in tick.accepts)]
    return [
        (("shoot", key), draft.at("shoot", key), value or None)
        for key, value in (("permits", named), ("accepts", opened))
        if (draft.at("shoot", key) or []) != value
    ]


def asked_of(document: Document, now: datetime.datetime) -> Asked:
    """The questions as a job answers them; an empty one answers with what is usual."""
    shoot = document.shoot
    if shoot is None:
        return Asked("", "", "street", 30, usual_day(now), ("", ""), (), ())
    site = shoot.site[0] if shoot.site else None
    call = shoot.call[0] if shoot.call else None
    hours = (f"{call.starts:%H:%M}", f"{call.ends:%H:%M}") if call and call.starts and call.ends else ("", "")
    return Asked(
        "" if site is None else site.name,
        shoot.shoot.region,
        "street" if site is None else site.surroundings,
        next((link.within_m for link in shoot.link if link.within_m), 30),
        shoot.shoot.date,
        hours,
        tuple(link.name for link in shoot.link),
        shoot.shoot.permits,
        _class_taken(shoot),
    )


def _class_taken(shoot: Shoot) -> str:
    """The class that every link transmits with, in words; nothing where that is not one of the catalogue."""
    taken = {link.sends.kit for link in shoot.link}
    (kit,) = taken if len(taken) == 1 else ("",)
    return called(kit) if about_class(kit) is not None else ""


def answered(outset: Outset, bag: Bag, browser_zone: str = "") -> tuple[dict[str, Any], Begun]:
    """The document of a shoot that the answers make, and who gets what. Raises InputError.

    browser_zone : taken where the region has several zones and this is one of them. The rows that a ticked permit
    opens are accepted with it.
    """
    outset = in_zone(outset, browser_zone)
    begun = begin(outset, bag)
    document = parse_document(begun.text, "the answers")
    held = [tick for tick in ticks(outset.region, outset.date) if tick.id in outset.permits]
    document["shoot"]["accepts"] = [row for tick in held for row in tick.accepts]
    return document, begun


def in_zone(outset: Outset, browser_zone: str) -> Outset:
    """The answers with the browser's time zone, where the region has several and that is one of them."""
    zones = [zone.name for zone in zones_of(outset.region)]
    if outset.timezone is None and len(zones) > 1 and browser_zone in zones:
        return replace(outset, timezone=browser_zone)
    return outset


def outset_of(asked: Asked) -> Outset:
    """The answers as a shoot is begun from them."""
    begins, ends = (datetime.time.fromisoformat(text) if text else None for text in asked.hours)
    return Outset(
        f"{asked.where}, {asked.date:%-d %B %Y}", asked.where, asked.region, asked.date, asked.who,
        (asked.kit,) if asked.kit else (), asked.permits, surroundings=asked.surroundings, within_m=asked.within_m,
        hours=(begins, ends) if begins and ends else None,
    )  # fmt: skip


def is_as_asked(document: Document, bag: Bag, now: datetime.datetime) -> bool:
    """Whether a job is empty, or nothing but what the four answers make of it."""
    if not document.draft.document:
        return True
    if document.shoot is None or document.problems or len(document.shoot.link) > MOST_NAMES:
        return False
    shoot = document.shoot
    if len(shoot.site) != 1 or shoot.site[0].spots or len(shoot.call) > 1 or shoot.other:
        return False  # seen at a glance; what is below begins a shoot anew at every look at the page
    asked, there = asked_of(document, now), parse_document(document.draft.toml(), "the job")
    zone = str(there["shoot"].get("timezone", ""))
    try:
        return any(answered(outset_of(as_), bag, zone)[0] == there for as_ in (asked, replace(asked, kit="")))
    except InputError:
        return False


def classes() -> list[str]:
    """The classes of transmitter that people wear or hold, in words."""
    kinds = catalogue()["transmitter"].items()
    return [called(name) for name, fields in kinds if fields["form"] in ("body-worn", "handheld", "plug-on")]


def kit_lines(bag: Bag) -> list[tuple[str, str]]:
    """What the bag has, a line each: how many of what, and its figures."""
    return [
        (f"{item.count} {item.name}" if item.count > 1 else item.name, in_short(item.equipment))
        for item in bag.item
    ]
