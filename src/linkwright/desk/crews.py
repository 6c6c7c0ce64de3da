"""Crews at the desk: whom a change concerns, what a plan gives each, what granting a request would do."""

from __future__ import annotations

import datetime
import json
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final

from linkwright.desk.crewkit import pairs, types_wanted
from linkwright.desk.editing import Field
from linkwright.desk.snapshot import Made
from linkwright.rules import known_codes, territory
from linkwright.shoot.bag import Bag
from linkwright.shoot.catalogue import called, catalogue
from linkwright.shoot.errors import InputError
from linkwright.store import KIT, NOTICE, CrewRequest, CrewShare, Draft, Given, LoggedChange
from linkwright.store.carrier_notices import CARRIER
from linkwright.store.hatch import kit_name
from linkwright.store.history import DOCUMENT
from linkwright.store.hunts import HUNT, NOBODYS
from linkwright.store.requests import REQUEST

#: In place of a crew's id: it concerns all crews.
ALL: Final = ""
#: What of the job's header and of a site crews see.
SEEN_OF_ALL: Final = {"shoot": ("title", "timezone", "date"), "site": ("name",)}
#: What of a hunt the crew whose report it comes from sees: that somebody looks into it.
HUNT_SEEN: Final = ("begin", "close", "reopen")
#: Between the two types of a kit where one is chosen.
AND: Final = " | "


@dataclass(frozen=True, slots=True)
class KitChoice:
    """Kit to ask with: its transmitter and receiver by type, and in words."""

    transmitter: str
    receiver: str
    says: str

    @property
    def key(self) -> str:
        """By what it is chosen."""
        return f"{self.transmitter}{AND}{self.receiver}"


def kits(own: CrewShare, kit: Bag) -> list[KitChoice]:
    """What a crew may ask with: the kit that it sent, what its links have, then the classes that a region's rules
    have room for."""
    choices: dict[tuple[str, str], KitChoice] = {}
    for pack, ear in pairs(kit):
        sends = kit_name(own.name, pack.name)
        hears = kit_name(own.name, ear.name) if ear in kit.item else str(ear.equipment.use)
        choices[sends, hears] = KitChoice(sends, hears, f"yours: {pack.name}, with {ear.name}")
    for link in own.links:
        sends, hears = link.transmitter, link.receiver
        if sends and hears:
            choices.setdefault((sends, hears), KitChoice(sends, hears, f"as you have: {called(sends)}"))
    rows = territory(own.region).rows if own.region in known_codes() else ()
    classes = catalogue()
    for sends, of in classes["transmitter"].items():
        hears = _ear(of, classes["receiver"])
        if hears and any(_meet(span, row.from_khz, row.to_khz) for span in of["tunes_mhz"] for row in rows):
            choices.setdefault((sends, hears), KitChoice(sends, hears, called(sends)))
    return list(choices.values())


def _ear(sends: Mapping[str, Any], receivers: Mapping[str, Mapping[str, Any]]) -> str:
    """The class of receiver of a transmitter's band: what people wear for one that stands, else the first."""
    band = [(name, of) for name, of in receivers.items() if of.get("tunes_mhz") == sends["tunes_mhz"]]
    worn = [name for name, of in band if "draws_mw" in of]
    first = next((name for name, _ in band), "")
    return worn[0] if worn and sends["form"] == "mounted" else first


def _meet(span_mhz: tuple[float, float], from_khz: float, to_khz: float) -> bool:
    """Whether a range of rules has at least half of a span."""
    low, high = (1000 * edge for edge in span_mhz)
    return min(high, to_khz) - max(low, from_khz) >= (high - low) / 2


def kit_chosen(key: str, own: CrewShare, kit: Bag) -> KitChoice:
    """The kit that was chosen. Raises InputError where there is no such."""
    chosen = next((choice for choice in kits(own, kit) if choice.key == key), None)
    if chosen is None:
        raise InputError("choose a kit of the list")
    return chosen


def concerned(changes: Iterable[LoggedChange], draft: Draft) -> frozenset[str]:
    """The crews (by id) that changes concern; `ALL` among them: every crew."""
    concerned: set[str] = set()
    for change in changes:
        if change.area in (REQUEST, CARRIER):
            concerned.add(str(change.path[0]))
        elif change.area == HUNT:
            if change.what in HUNT_SEEN and change.path[0] != NOBODYS:
                concerned.add(str(change.path[0]))
        elif change.area == "happening" and change.path[0] in (NOTICE, KIT):
            concerned.add(str(change.path[1]))
        elif change.area == DOCUMENT:
            concerned |= set(_by_edit(change, draft))
    return frozenset(concerned)


def _by_edit(change: LoggedChange, draft: Draft) -> Iterator[str]:
    ids = {str(crew.get("name")): id_ for id_, crew in draft.entries("crew")}
    rows = [*(change.rows_before() or ()), *(change.rows_after() or ())] if change.what != "move" else []
    values = {(row.keys, row.value) for row in rows if row.kind == "v"}
    for path in map(tuple, (map(str, path) for path in change.paths())):
        if not path or len(path) == 1:
            yield ALL
        elif path[0] == "crew":
            yield path[1]
        elif path[0] in SEEN_OF_ALL:
            whole = len(path) == (1 if path[0] == "shoot" else 2)
            if whole or path[-1] in SEEN_OF_ALL[path[0]]:
                yield ALL
        elif path[0] in ("link", "call"):
            yield from _of_entry(path, draft, ids, values)


def _of_entry(
    path: tuple[str, ...], draft: Draft, ids: dict[str, str], values: set[tuple[tuple[str, ...], str]]
) -> Iterator[str]:
    """The crews of a link, or of a call and its links, as they are and as they were."""
    kind, entry = path[0], draft.at(*path[:2])
    told = [(keys[2], json.loads(value)) for keys, value in values if keys[:2] == path[:2] and len(keys) == 3]
    told += list((entry or {}).items())
    whose = {value for key, value in told if key == "crew" and isinstance(value, str)}
    yield from (ids[name] for name in whose if name in ids)
    if kind != "call":
        return
    named = {str(name) for key, value in told if key == "links" and isinstance(value, list) for name in value}
    if not named and not whose:
        yield ALL  # a call of all links
    for _, link in draft.entries("link") if named else ():
        if link.get("name") in named and link.get("crew") in ids:
            yield ids[link["crew"]]


def given_of(made: Made, now: datetime.datetime) -> tuple[list[Given], frozenset[str]]:
    """What a plan gives the links of crews in calls that are not over; and the ids of the calls that are."""
    draft, names = made.used, made.names
    ids = {str(crew.get("name")): id_ for id_, crew in draft.entries("crew")}
    crews = {id_: ids[link["crew"]] for id_, link in draft.entries("link") if link.get("crew") in ids}
    over = frozenset(
        names.id_of("call", call.name) for call in made.scene.calls if call.ends is not None and call.ends <= now
    )
    given = []
    for call in made.plan.calls if crews else ():
        call_id = names.id_of("call", call.call)
        for link in call.links if call_id not in over else ():
            link_id = names.id_of("link", link.link)
            if link_id in crews:
                power, spares = link.power_mw, tuple(link.spares_khz)
                given.append(Given(crews[link_id], link_id, call_id, link.carrier_khz, spares, power))
    return given, over


def links_wanted(draft: Draft, request: CrewRequest, kit: Bag) -> list[Field]:
    """What granting a request puts into the shoot, as one change: its links, what of the crew's `kit` they are, and
    the call in which they are live.

    Raises InputError where the job is not so that it can be.
    """
    crew, wanted = draft.at("crew", request.crew), request.wanted
    if not isinstance(crew, dict):
        raise InputError("this crew is not in the job any more")
    name = str(crew["name"])
    new = list(_new_names(draft, "link", name, wanted.links))
    fields = list(types_wanted(kit, name, draft, wanted))
    types = {"transmitter": wanted.transmitter, "receiver": wanted.receiver}
    fields += [(("link",), None, {"name": link, "crew": name, **types}) for link in new]
    calls = draft.entries("call")
    all_names = [str(link.get("name")) for _, link in draft.entries("link")]
    for id_, call in calls:  # a call of all links stays one of those that there were
        if not call.get("links") and call.get("name") != wanted.call and all_names:
            fields.append((("call", id_, "links"), None, all_names))
    if wanted.call:
        there = next(((id_, call) for id_, call in calls if call.get("name") == wanted.call), None)
        if there is None:
            raise InputError(f'there is no call "{wanted.call}" any more; refuse, and let the crew ask again')
        own = there[1].get("links")
        fields += [(("call", there[0], "links"), own, [*own, *new])] if own else []
    elif calls or not all_names:
        fields.append((("call",), None, _new_call(draft, name, request, new)))
    else:
        raise InputError(
            "the job has no calls yet: add one for the links that there are, on the page Day, then grant"
        )
    return fields


def _new_call(draft: Draft, crew: str, request: CrewRequest, links: list[str]) -> dict[str, Any]:
    wanted = request.wanted
    title = f"{crew}, {wanted.site}" if wanted.site else crew
    call: dict[str, Any] = {"name": next(_new_names(draft, "call", title, 1)), "crew": crew, "links": links}
    call |= {key: value for key, value in (("site", wanted.site), ("date", wanted.date)) if value}
    if wanted.starts and wanted.ends:
        call |= {"from": wanted.starts, "to": wanted.ends}
        call |= {"next_day": True} if wanted.ends <= wanted.starts else {}
    return call


def _new_names(draft: Draft, kind: str, name: str, count: int) -> Iterator[str]:
    """So many names that nothing of a kind has yet: the name itself for one call, numbered for links."""
    taken = {str(entry.get("name")) for _, entry in draft.entries(kind)}
    if kind == "call" and name not in taken:
        yield name
        return
    number = 0
    while count:
        number += 1
        if f"{name} {number}" not in taken:
            count -= 1
            yield f"{name} {number}"


def with_fields(draft: Draft, fields: Iterable[Field]) -> Draft:
    """A draft as it would be with these fields: values that are set, entries that are added. The ids of what is new
    are not the store's."""
    copied = draft.copied()
    for number, (path, _, value) in enumerate(fields):
        if len(path) == 1:
            copied.document.setdefault(path[0], []).append(value)
            copied.ids[path] = (*copied.ids.get(path, ()), f"new-{number}")
        else:
            (copied.at(*path[:-1]) or copied.document.setdefault(path[0], {}))[path[-1]] = value
    return copied
