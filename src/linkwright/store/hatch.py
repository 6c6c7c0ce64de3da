"""The hatch at which a crew is served: the only way in which a crew's pages and streams reach a store.

Everything that a hatch does is listed in `SERVES`; whatever is not does not exist for a crew. It knows whose it is,
and no argument makes it another's: what belongs to another crew is answered as what is not there.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from linkwright.shoot.errors import InputError
from linkwright.shoot.zones import zones_of
from linkwright.store import hunts, requests, told
from linkwright.store.draft import Draft
from linkwright.store.requests import CrewRequest, WantedLinks
from linkwright.store.told import Act, ToldCarrier

if TYPE_CHECKING:
    from linkwright.store.asking import Asking

#: All that a crew may see and do.
SERVES: Final = frozenset(
    {"crew", "own", "requests", "looked_into", "carriers", "notices", "now", "ask", "trouble", "give_back", "tick"}
)
#: The kind of happening that a coordinator tells all crews, or the one that it is about.
NOTICE: Final = "notice"
#: So many notices are shown, the newest.
MOST_NOTICES: Final = 20
#: How long a crew's requests may be without an answer in all: nobody is drowned by one crew.
MOST_OPEN: Final = 50


@dataclass(frozen=True, slots=True)
class OwnCall:
    """A call of the crew: its id, name, site, day and times as they were typed, and its own links in it."""

    id: str
    name: str
    site: str
    date: str
    starts: str
    ends: str
    links: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class OwnLink:
    """A link of the crew: its id, its name, what sends and receives it."""

    id: str
    name: str
    transmitter: str
    receiver: str


@dataclass(frozen=True, slots=True)
class CrewShare:
    """What of a job is a crew's own, and what everybody must know: the job's title, time zone, region and sites."""

    crew: str
    name: str
    title: str
    timezone: str
    region: str
    date: str
    calls: tuple[OwnCall, ...]
    links: tuple[OwnLink, ...]
    sites: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Notice:
    """What a coordinator told everybody, or this crew."""

    when: datetime.datetime
    who: str
    text: str
    to_all: bool


class Hatch:
    """A store as one crew (by its id) gets it. Raises InputError wherever the crew is not in the job any more."""

    __slots__ = ("__store", "crew")

    def __init__(self, store: Asking, crew: str) -> None:
        self.__store = store
        self.crew = crew

    def own(self) -> CrewShare:
        """The crew's own calls and links, as they stand now."""
        return own_of(self.__store._newest(), self.crew)

    def requests(self) -> list[CrewRequest]:
        """What the crew asked, oldest first."""
        self.own()
        return self.__store._reading(lambda connection: requests.listed(connection, self.crew))

    def looked_into(self) -> frozenset[str]:
        """The crew's own reports (by id) into whose cause somebody looks now."""
        self.own()
        return self.__store._reading(lambda connection: hunts.looked_into(connection, self.crew))

    def carriers(self) -> list[ToldCarrier]:
        """What the crew was told, the longest unanswered first."""
        self.own()
        return self.__store._reading(lambda connection: told.listed(connection, self.crew))

    def notices(self) -> list[Notice]:
        """What everybody was told, and this crew, newest first."""
        self.own()
        happened = self.__store.happenings(kinds=(NOTICE,))
        mine = [notice for notice in happened if notice.about in ("", self.crew)]
        return [
            Notice(notice.when, notice.who, str(notice.data.get("text", "")), not notice.about)
            for notice in reversed(mine[-MOST_NOTICES:])
        ]

    def now(self) -> datetime.datetime:
        """The moment by the clock of the store."""
        return self.__store.now()

    def ask(self, wanted: WantedLinks, who: str, *, once: str = "") -> CrewRequest:
        """Ask for carriers; by an action of the same name (`once`) once. Raises InputError where that cannot be
        asked."""
        own = self.own()
        if wanted.links < 1:
            raise InputError("say how many links are wanted; one at least")
        if wanted.call and wanted.call not in {call.name for call in own.calls}:
            raise InputError(f'"{wanted.call}" is no call of yours; choose one of them, or say day and times')
        if wanted.site and wanted.site not in own.sites:
            raise InputError(f'there is no site "{wanted.site}"; choose one of the list')
        self._no_flood()
        return self.__store._ask(self.crew, "carriers", wanted, who, once)

    def trouble(self, link: str, text: str, who: str, *, once: str = "") -> CrewRequest:
        """Report trouble with an own link (by id), or with none in particular; `once` as of `ask`."""
        if link and link not in {own_link.id for own_link in self.own().links}:
            raise InputError("that is no link of yours; load the page again")
        if not text.strip():
            raise InputError("say what is the matter")
        self._no_flood()
        return self.__store._ask(self.crew, "trouble", WantedLinks(link=link, note=text), who, once)

    def give_back(self, request_id: str, seen: str, who: str) -> CrewRequest:
        """Give back what was asked for: its links leave the shoot. Raises Conflict where it is not as `seen`."""
        self.own()
        return self.__store._give_back(self.crew, request_id, seen, who)

    def tick(self, link: str, call: str, seen_khz: int, act: Act, who: str) -> ToldCarrier | None:
        """An own link was set to what was told, or was heard there. Raises Conflict where it is told otherwise."""
        self.own()
        return self.__store._tick_carrier(self.crew, (link, call), seen_khz, act, who)

    def _no_flood(self) -> None:
        waiting = sum(request.state == "asked" for request in self.requests())
        if waiting >= MOST_OPEN:
            raise InputError(f"{waiting} things that you asked wait for an answer; give some back first")


def own_of(draft: Draft, crew: str) -> CrewShare:
    """What of a document is a crew's own. Raises InputError where there is no such crew."""
    entry = draft.at("crew", crew)
    name = _text(entry.get("name")) if isinstance(entry, dict) else ""
    if not name or draft.id_of("crew", name) != crew:  # of two of one name the second is none yet
        raise InputError("this crew is not in the job any more; ask whoever coordinates")
    links = tuple(_links(draft, name))
    mine = {link.name for link in links}
    title, zone, region, date = (_text(draft.at("shoot", key)) for key in ("title", "timezone", "region", "date"))
    zone = zone or next((known.name for known in zones_of(region)), "UTC")
    sites = tuple(_text(site.get("name")) for _, site in draft.entries("site"))
    return CrewShare(crew, name, title, zone, region, date, tuple(_calls(draft, name, mine, sites)), links, sites)


def _links(draft: Draft, name: str) -> Iterator[OwnLink]:
    for id_, link in draft.entries("link"):
        if link.get("crew") == name:
            yield OwnLink(id_, _text(link.get("name")), _text(link.get("transmitter")), _text(link.get("receiver")))


def _calls(draft: Draft, name: str, mine: set[str], sites: tuple[str, ...]) -> Iterator[OwnCall]:
    for id_, call in draft.entries("call"):
        named, whose = call.get("links"), call.get("crew")
        own = tuple(link for link in named if link in mine) if isinstance(named, list) else tuple(sorted(mine))
        if whose == name or (own and (named or not whose)):
            site = _text(call.get("site")) or (sites[0] if sites else "")
            date = _text(call.get("date")) or _text(draft.at("shoot", "date"))
            yield OwnCall(
                id_, _text(call.get("name")), site, date, _text(call.get("from")), _text(call.get("to")), own
            )


def _text(value: Any) -> str:
    return str(value) if isinstance(value, str | int | float) else ""
