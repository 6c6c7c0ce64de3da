"""The same people at a new place: a shoot without what belongs to its place and its day; for pages and `new`."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

from linkwright.desk.outset import Outset, begin, permits_for, zone_of
from linkwright.rules import check_permits, territory
from linkwright.shoot.bag import KINDS, Bag, entry, permit_document
from linkwright.shoot.catalogue import called
from linkwright.shoot.clock import Chosen
from linkwright.shoot.errors import InputError
from linkwright.shoot.models import Shoot
from linkwright.shoot.reading import judge, parse_document
from linkwright.shoot.writing import write_shoot

#: What of a link, and of its ends, belongs to a place or to a day.
OF_THE_PLACE: Final = ("at", "route", "in_vehicle", "vehicle_db", "set_mhz", "set_at", "heard_at", "locked_mhz")
#: What of a shoot belongs to the people and their kit.
OF_THE_PEOPLE: Final = ("contact", "run", *KINDS)
ABOUT: Final = (
    "# Begun by `linkwright new` with the people and the kit of another shoot. `linkwright plan` plans it.\n"
)


@dataclass(frozen=True, slots=True)
class Again:
    """The new shoot as a document, its zone, who has what (name, sends, hears, microphone), and sentences."""

    document: dict[str, Any]
    zone: Chosen
    links: tuple[tuple[str, str, str, str], ...]
    lacking: tuple[str, ...]

    @property
    def text(self) -> str:
        """The text of its file."""
        parts = [ABOUT]
        for key, value in self.document.items():
            tables = value if isinstance(value, list) else [value]
            parts += [entry(key, table) if isinstance(value, list) else _table(key, table) for table in tables]
        return "\n".join(parts)


def _table(key: str, value: Mapping[str, Any]) -> str:
    import tomli_w

    return tomli_w.dumps({key: value})


def again(old: Shoot, outset: Outset, bag: Bag) -> Again:
    """The people of `old` that the outset names, with their packs, gains and licences, at its place on its day.

    Who is new gets the next of the bag, as in any shoot that begins. Raises InputError.
    """
    check_permits(territory(outset.region), outset.permits)
    before = parse_document(write_shoot(old), "the earlier shoot")
    zone = zone_of(outset)
    header = {key: value for key, value in before["shoot"].items() if key not in ("timezone", "permits", "accepts")}
    header |= {"title": outset.title, "region": outset.region, "permits": list(outset.permits), "date": outset.date}
    if outset.region == old.shoot.region and before["shoot"].get("accepts"):
        header["accepts"] = before["shoot"]["accepts"]
    mine = {link["name"]: _moved(link, outset.within_m) for link in before["link"]}
    document = {
        "shoot": {**header, "timezone": str(zone.zone)},
        "site": [_site(outset)],
        **{key: before[key] for key in OF_THE_PEOPLE if key in before},
        "link": [mine[name] for name in outset.who if name in mine],
    }
    if outset.hours is not None:
        document["call"] = [{"name": "Day", "from": outset.hours[0], "to": outset.hours[1]}]
    licences, lacking = permits_for(outset, Bag(permit=old.permit), zone, "the earlier shoot")
    if licences:
        document["permit"] = [permit_document(licence) for licence in licences]
    lacking += _with_others(document, [name for name in outset.who if name not in mine], outset, bag)
    shoot, problems = judge(document)
    if shoot is None or problems:
        raise InputError("; ".join(problem.says for problem in problems))
    kits = [
        (link.name, called(link.sends.kit), called(link.hears[0].kit), called(link.microphone or ""))
        for link in shoot.link
    ]
    return Again(document, zone, tuple(kits), tuple(lacking))


def _with_others(document: dict[str, Any], names: Sequence[str], outset: Outset, bag: Bag) -> list[str]:
    """People who were not there before, with what the bag gives them; sentences on those who get nothing."""
    if not names:
        return []
    begun = begin(replace(outset, who=tuple(names)), Bag(item=bag.item))
    more = parse_document(begun.text, "the answers")
    for kind in KINDS:
        if kind in more:
            document[kind] = {**more[kind], **document.get(kind, {})}
    document["link"] += more["link"]
    return list(begun.lacking)


def _site(outset: Outset) -> dict[str, Any]:
    place = {} if outset.at is None else dict(zip(("latitude", "longitude"), outset.at, strict=True))
    return {"name": outset.where, **place, "surroundings": outset.surroundings}


def _moved(link: Mapping[str, Any], within_m: float | None) -> dict[str, Any]:
    """A link without what belongs to its place."""
    moved = {key: value for key, value in link.items() if key not in OF_THE_PLACE}
    for key in ("transmit", "receive"):
        ends = moved.get(key)
        if isinstance(ends, dict):
            moved[key] = _moved(ends, None)
        elif isinstance(ends, list):
            moved[key] = [_moved(end, None) for end in ends]
    return moved if within_m is None else {**moved, "within_m": within_m}
