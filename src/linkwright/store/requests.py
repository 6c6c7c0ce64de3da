"""What crews ask for, and what becomes of it: asked, granted or refused, set, heard, given back."""

from __future__ import annotations

import datetime
import hashlib
import json
from collections.abc import Sequence
from dataclasses import asdict, dataclass, field
from typing import Any, Final, Literal, cast, get_args

from sqlalchemy import Connection, Row, insert, select, update

from linkwright.shoot.errors import InputError
from linkwright.store import tables
from linkwright.store.conflict import Conflict
from linkwright.store.edits import Turn
from linkwright.store.history import milliseconds, moment
from linkwright.store.paths import fit
from linkwright.store.values import clean_text

#: The area of the change log that tells of requests; a path in it is the crew and the request.
REQUEST: Final = "request"
Kind = Literal["carriers", "trouble"]
State = Literal["asked", "granted", "refused", "set", "heard", "given back", "answered"]
#: The states in which a crew has carriers.
HELD: Final = ("granted", "set", "heard")
#: From which states a request may come to which: whoever is later hears that somebody was before.
STEPS: Final[dict[State, tuple[State, ...]]] = {
    "asked": ("refused", "granted", "given back", "answered"),
    "granted": ("set", "heard", "given back", "asked"),
    "set": ("granted", "heard", "given back", "asked"),
    "heard": ("granted", "set", "given back", "asked"),
    "refused": ("asked",),
    "given back": ("asked",),
    "answered": ("asked",),
}
MOST_LINKS: Final = 200
MOST_TEXT: Final = 2000
MOST_FIELD: Final = 200


@dataclass(frozen=True, slots=True)
class WantedLinks:
    """What a crew asks for: how many links, with which kit, at which site, in a call that is there or at times of
    its own (ISO); of trouble: which link, and since when."""

    links: int = 0
    transmitter: str = ""
    receiver: str = ""
    site: str = ""
    call: str = ""
    date: str = ""
    starts: str = ""
    ends: str = ""
    link: str = ""
    note: str = ""

    def checked(self) -> WantedLinks:
        """The same, its texts fit to be kept. Raises InputError."""
        texts = {
            name: clean_text(fit(str(value).strip(), f"the {name}"), f"the {name}", MOST_FIELD)
            for name, value in asdict(self).items()
            if name not in ("links", "note")
        }
        if not 0 <= self.links <= MOST_LINKS:
            raise InputError(f"{self.links} links are asked for; expected 1 to {MOST_LINKS}")
        note = clean_text(fit(self.note.strip(), "the note"), "the note", MOST_TEXT)
        return WantedLinks(links=self.links, note=note, **texts)


@dataclass(frozen=True, slots=True)
class CrewRequest:
    """A request of a crew as it stands: since when it does, what was answered, ids of the links that it got."""

    id: str
    crew: str
    kind: Kind
    state: State
    wanted: WantedLinks
    answer: str
    links: tuple[str, ...]
    asked: datetime.datetime
    who: str
    since: datetime.datetime


@dataclass(frozen=True, slots=True)
class RequestStep:
    """One thing done with a request: when, by whom, from which state ("": it was made) to which, what was said."""

    when: datetime.datetime
    who: str
    before: str
    after: str
    says: str = ""


@dataclass(frozen=True, slots=True)
class Becomes:
    """What becomes of a request: its state, what is said of it, the links it has."""

    state: State
    answer: str | None = None
    links: tuple[str, ...] | None = None
    says: str = field(default="")


def id_once(crew: str, once: str) -> str:
    """The id of what a crew asks by an action of a name: the same however often, and wherever, it is sent."""
    return f"q{hashlib.sha256(f'{crew} {once}'.encode('utf-8', 'surrogatepass')).hexdigest()[:24]}"


def ask(
    turn: Turn, crew: str, kind: Kind, wanted: WantedLinks, when: datetime.datetime, id_: str = ""
) -> CrewRequest:
    """A new request, of an id of its own where none is given."""
    new, at_ms = id_ or turn.new_id(), milliseconds(when)
    kept = json.dumps({key: value for key, value in asdict(wanted).items() if value}, separators=(",", ":"))
    row = {
        "id": new, "crew": crew, "kind": kind, "state": "asked", "wanted": kept, "at_ms": at_ms, "who": turn.who,
        "state_ms": at_ms,
    }  # fmt: skip
    turn.connection.execute(insert(tables.request).values(**row))
    return CrewRequest(new, crew, kind, "asked", wanted, "", (), moment(at_ms), turn.who, moment(at_ms))


def listed(connection: Connection, crew: str | None = None, id_: str | None = None) -> list[CrewRequest]:
    """Requests, oldest first: all, those of a crew, or one."""
    table = tables.request
    query = select(table).order_by(table.c.at_ms, table.c.id)
    query = query if crew is None else query.where(table.c.crew == crew)
    query = query if id_ is None else query.where(table.c.id == id_)
    return [_request(row) for row in connection.execute(query)]


def _request(row: Row[Any]) -> CrewRequest:
    return CrewRequest(
        row.id, row.crew, cast(Kind, row.kind), cast(State, row.state), WantedLinks(**json.loads(row.wanted)),
        row.answer, tuple(json.loads(row.links)), moment(row.at_ms), row.who, moment(row.state_ms),
    )  # fmt: skip


def one_of(connection: Connection, id_: str, crew: str | None = None) -> CrewRequest:
    """A request, of that crew where one is given. Raises InputError where there is none: another crew's is none."""
    requests = listed(connection, crew, id_)
    if not requests:
        raise InputError("there is no such request; load the page again")
    return requests[0]


def become(turn: Turn, request: CrewRequest, seen: str, becomes: Becomes, when: datetime.datetime) -> CrewRequest:
    """The request in another state, where it is in the one that the person saw.

    Raises Conflict where it is in another by now, InputError where the one does not lead to the other.
    """
    if seen != request.state:
        raise Conflict((REQUEST, request.id), request.state, request.who, request.since, "the request")
    if becomes.state not in STEPS[request.state]:
        raise InputError(f"a request that is {request.state} cannot be {becomes.state}")
    table, at_ms = tables.request, milliseconds(when)
    links = request.links if becomes.links is None else becomes.links
    answer = request.answer if becomes.answer is None else becomes.answer
    row = {
        "state": becomes.state, "answer": answer, "links": json.dumps(list(links)), "state_ms": at_ms,
        "who": request.who,
    }  # fmt: skip
    turn.connection.execute(update(table).where(table.c.id == request.id).values(**row))
    return one_of(turn.connection, request.id)


def stored_step(state: str, says: str = "") -> str:
    """A state as the change log keeps it, with what was said."""
    return json.dumps([state, says], separators=(",", ":"))


def step_of(stored: str | None) -> tuple[str, str]:
    """State and words out of the change log; empty where there was none."""
    if stored is None:
        return "", ""
    state, says = json.loads(stored)
    return str(state), str(says)


def known_states() -> tuple[str, ...]:
    """All states, in the order in which a request goes through them."""
    return get_args(State)


def links_of(path_rows: Sequence[tuple[str, ...]]) -> tuple[str, ...]:
    """The ids of the links among paths of rows that were added."""
    return tuple(dict.fromkeys(path[1] for path in path_rows if len(path) == 2 and path[0] == "link"))
