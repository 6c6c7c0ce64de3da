"""The hatch at which a crew is served: the only way in which a crew's pages and streams reach a store.

Everything that a hatch does is listed in `SERVES`; whatever is not does not exist for a crew. It knows whose it is,
and no argument makes it another's: what belongs to another crew is answered as what is not there.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from linkwright.shoot.bag import KINDS
from linkwright.shoot.errors import InputError
from linkwright.shoot.zones import zones_of
from linkwright.store import carrier_notices, hunts, requests
from linkwright.store.carrier_notices import Act, ToldCarrier
from linkwright.store.draft import Draft
from linkwright.store.happenings import Happening
from linkwright.store.kitbook import bag_of
from linkwright.store.requests import CrewRequest, WantedLinks

if TYPE_CHECKING:
    from linkwright.store.asking import Asking

#: All that a crew may see and do.
SERVES: Final = frozenset(
    {
        "crew", "own", "requests", "looked_into", "carriers", "notices", "kit", "now",
        "ask", "trouble", "give_back", "tick", "send_kit",
    }
)  # fmt: skip
#: The kind of happening that a coordinator tells all crews, or the one that it is about.
NOTICE: Final = "notice"
#: The kind of happening that a crew sends its kit with.
KIT: Final = "kit"
#: How large a kit may be [bytes, items of any kind], how long what it is called in the shoot, how often it is sent.
MOST_KIT_BYTES: Final = 100_000
MOST_KIT: Final = 100
MOST_KIT_NAME: Final = 80
MOST_SENT: Final = 50
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


@dataclass(frozen=True, slots=True)
class SentKit:
    """The kit that a crew sent last, as a bag's file has it: when, by whom, in short."""

    toml: str
    when: datetime.datetime
    who: str
    says: str


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
        return self.__store._reading(lambda connection: carrier_notices.listed(connection, self.crew))

    def notices(self) -> list[Notice]:
        """What everybody was told, and this crew, newest first."""
        self.own()
        told = self.__store.happenings(kinds=(NOTICE,), about=("", self.crew), last=MOST_NOTICES)
        return [
            Notice(notice.when, notice.who, str(notice.data.get("text", "")), not notice.about)
            for notice in reversed(told)
        ]

    def kit(self) -> SentKit | None:
        """The kit that the crew sent last; None where it sent none."""
        self.own()
        sent = self._sent(1)
        return sent[0] if sent else None

    def send_kit(self, toml: str, who: str) -> SentKit:
        """Send the crew's kit along, a bag's file; it takes the place of what was sent before. Raises InputError
        where it is no kit."""
        says, sent = _in_short(toml, self.own().name), self._sent(MOST_SENT)
        if sent and sent[-1].toml == toml:
            return sent[-1]
        if len(sent) >= MOST_SENT:
            raise InputError(f"your kit was sent {MOST_SENT} times; tell whoever coordinates what is another")
        return _kit_of(self.__store.happen(KIT, self.crew, {"text": says, "toml": toml}, None, who))

    def _sent(self, last: int) -> list[SentKit]:
        return [_kit_of(sent) for sent in self.__store.happenings(kinds=(KIT,), about=(self.crew,), last=last)]

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


def _kit_of(sent: Happening) -> SentKit:
    return SentKit(str(sent.data["toml"]), sent.when, sent.who, str(sent.data["text"]))


def kit_name(crew: str, item: str) -> str:
    """What an item of a crew's kit is called in the shoot."""
    return f"{crew}: {item}"


def _in_short(toml: str, crew: str) -> str:
    """What a kit holds, in a line. Raises InputError where it is no kit to plan with."""
    if len(toml.encode("utf-8", "surrogatepass")) > MOST_KIT_BYTES:
        raise InputError(f"the kit is larger than {MOST_KIT_BYTES} bytes; send the items that are on the job")
    kit = bag_of(toml.encode("utf-8", "surrogatepass"), "the kit")
    if not kit.of("transmitter"):
        raise InputError(
            "there is no transmitter in it; expected a bag, as the page The bag and `kit export` give it"
        )
    if len(kit.item) > MOST_KIT:
        raise InputError(f"there are {len(kit.item)} items in it; expected {MOST_KIT} at most, those on the job")
    for item in kit.item:
        if len(kit_name(crew, item.name)) > MOST_KIT_NAME:
            raise InputError(f'"{item.name}" is too long a name beside "{crew}"; expected {MOST_KIT_NAME} together')
    return ", ".join(f"{item.count} {item.name}" for kind in KINDS for item in kit.of(kind))


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
