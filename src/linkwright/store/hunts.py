"""Hunts that are kept: where something is broken, what was found out, who did what when, and how it ended."""

from __future__ import annotations

import datetime
import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from typing import Any, Final, Literal, cast

from sqlalchemy import Connection, Row, insert, select, update

from linkwright.shoot.errors import InputError
from linkwright.store import tables
from linkwright.store.conflict import Conflict
from linkwright.store.edits import Turn
from linkwright.store.history import milliseconds, moment, of_area
from linkwright.store.paths import fit
from linkwright.store.values import clean_text

#: The area of the change log that tells of hunts; a path in it is the crew ("-": none's) and the hunt.
HUNT: Final = "hunt"
#: In place of a crew in such a path.
NOBODYS: Final = "-"
HuntState = Literal["open", "closed"]
#: What is done in a hunt: begun, something was found out, the last of that taken back, ended, open again.
Deed = Literal["begin", "learn", "take back", "close", "reopen"]
MOST_TEXT: Final = 2000
MOST_FIELD: Final = 200
#: So much is found out in one hunt at most, and so many hunts are open.
MOST_LEARNT, MOST_OPEN = 100, 100


@dataclass(frozen=True, slots=True)
class HuntStart:
    """Broken at a site (by id) since a moment on a carrier [kHz]: whose link (by id), what is said of it, and the
    crew's report that it comes from, where there are such."""

    site: str
    khz: int
    since: datetime.datetime
    link: str = ""
    note: str = ""
    request: str = ""
    crew: str = ""


@dataclass(frozen=True, slots=True)
class HuntFact:
    """One thing that was found out, with when and by whom: with the transmitters of `who` (an id) off, it was still
    broken (`yes`) or not ("off"); he is on or not ("on"); a level was read on the carrier at `who`, a site ("read",
    [dBm], None: nothing was heard)."""

    kind: Literal["off", "on", "read"]
    who: str
    yes: bool = False
    dbm: float | None = None
    when: datetime.datetime | None = None
    by: str = ""


@dataclass(frozen=True, slots=True)
class KeptHunt:
    """A hunt as it stands: how it began, what was learnt in order, how many deeds there were, what was suspected
    last (as JSON), and the verdict where it is closed."""

    id: str
    state: HuntState
    start: HuntStart
    learnt: tuple[HuntFact, ...]
    deeds: int
    found: Mapping[str, Any] | None
    verdict: str
    begun: datetime.datetime
    who: str
    since: datetime.datetime


@dataclass(frozen=True, slots=True)
class HuntStep:
    """One deed of a hunt: when, by whom, what, and what of it is to be told (as JSON)."""

    when: datetime.datetime
    who: str
    deed: Deed
    told: Mapping[str, Any]


def checked(start: HuntStart) -> HuntStart:
    """The same, its texts fit to be kept. Raises InputError."""
    names = ("site", "link", "request", "crew")
    texts = {name: clean_text(fit(getattr(start, name), name), name, MOST_FIELD) for name in names}
    if not texts["site"] or not 0 < start.khz <= 100_000_000:
        raise InputError("say where something is broken, and on which carrier")
    return HuntStart(khz=start.khz, since=start.since, note=said(start.note), **texts)


def said(text: str) -> str:
    """A text of a person, fit to be kept. Raises InputError."""
    return clean_text(fit(text.strip(), "what is said"), "what is said", MOST_TEXT)


def begin(turn: Turn, start: HuntStart, when: datetime.datetime) -> KeptHunt:
    """A new hunt. Raises InputError where the report is looked into already, or too many hunts are open."""
    there = [hunt for hunt in listed(turn.connection) if hunt.state == "open"]
    if start.request and any(hunt.start.request == start.request for hunt in there):
        raise InputError("this report is looked into already; see the hunts that are open")
    if len(there) >= MOST_OPEN:
        raise InputError(f"{len(there)} hunts are open; close some first")
    new, at_ms = turn.new_id(), milliseconds(when)
    row = {
        "id": new, "state": "open", "site": start.site, "khz": start.khz, "broken_ms": milliseconds(start.since),
        "link": start.link, "note": start.note, "request": start.request, "crew": start.crew, "at_ms": at_ms,
        "who": turn.who, "state_ms": at_ms,
    }  # fmt: skip
    turn.connection.execute(insert(tables.hunt).values(**row))
    return one_of(turn.connection, new)


def listed(connection: Connection, id_: str | None = None) -> list[KeptHunt]:
    """All hunts, the newest first, or one."""
    table = tables.hunt
    query = select(table).order_by(table.c.at_ms.desc(), table.c.id)
    return [_hunt(row) for row in connection.execute(query if id_ is None else query.where(table.c.id == id_))]


def looked_into(connection: Connection, crew: str) -> frozenset[str]:
    """The reports of a crew (by id) for which a hunt is open."""
    table = tables.hunt
    query = select(table.c.request).where(table.c.crew == crew, table.c.state == "open", table.c.request != "")
    return frozenset(row.request for row in connection.execute(query))


def one_of(connection: Connection, id_: str) -> KeptHunt:
    """A hunt. Raises InputError where there is none."""
    hunts = listed(connection, id_)
    if not hunts:
        raise InputError("there is no such hunt; load the page again")
    return hunts[0]


def _hunt(row: Row[Any]) -> KeptHunt:
    start = HuntStart(row.site, row.khz, moment(row.broken_ms), row.link, row.note, row.request, row.crew)
    document = json.loads(row.found) if row.found else None
    return KeptHunt(
        row.id, cast(HuntState, row.state), start, tuple(map(_learnt, json.loads(row.learnt))), row.deeds, document,
        row.verdict, moment(row.at_ms), row.who, moment(row.state_ms),
    )  # fmt: skip


def _learnt(plain: Mapping[str, Any]) -> HuntFact:
    return HuntFact(**{**plain, "when": moment(plain["when"]) if plain["when"] else None})


def do(
    turn: Turn,
    id_: str,
    seen: int,
    deed: Deed,
    when: datetime.datetime,
    learnt: HuntFact | None = None,
    verdict: str = "",
) -> tuple[KeptHunt, dict[str, Any]]:
    """The hunt after a deed, where there were as many deeds as the person saw; and what of the deed is to be told.

    Raises Conflict where there were others since, InputError where it cannot be done as the hunt stands.
    """
    hunt = one_of(turn.connection, id_)
    if seen != hunt.deeds:
        last = of_area(turn.connection, HUNT, (hunt.start.crew or NOBODYS, id_))[-1]
        raise Conflict((HUNT, id_), hunt.state, last.who, last.when, "the hunt")
    every, told = _after(hunt, deed, learnt, when, turn.who)
    if deed == "close":
        told = {"verdict": verdict}
    state = "closed" if deed == "close" else "open"
    row = {
        "state": state, "learnt": json.dumps([_plain(line) for line in every]), "deeds": hunt.deeds + 1,
        "verdict": verdict if deed == "close" else "", "who": hunt.who, "state_ms": milliseconds(when),
        "found": None if deed in ("learn", "take back") else tables.hunt.c.found,
    }  # fmt: skip
    turn.connection.execute(update(tables.hunt).where(tables.hunt.c.id == id_).values(**row))
    return one_of(turn.connection, id_), told


def _after(
    hunt: KeptHunt, deed: Deed, learnt: HuntFact | None, when: datetime.datetime, who: str
) -> tuple[list[HuntFact], dict[str, Any]]:
    """What is learnt after a deed, and what of that is to be told. Raises InputError where it cannot be done."""
    every = list(hunt.learnt)
    if deed == "reopen" and hunt.state == "open":
        raise InputError("this hunt is open")
    if deed != "reopen" and hunt.state != "open":
        raise InputError("this hunt is closed; open it again first")
    if deed == "learn" and learnt is not None:
        if len(every) >= MOST_LEARNT:
            raise InputError(f"{MOST_LEARNT} things were found out in this hunt; close it, and begin another")
        every.append(replace(learnt, when=when, by=who))
        return every, _plain(every[-1])
    if deed == "take back":
        if not every:
            raise InputError("nothing was found out yet that could be taken back")
        return every[:-1], _plain(every[-1])
    return every, {}


def _plain(learnt: HuntFact) -> dict[str, Any]:
    when = None if learnt.when is None else milliseconds(learnt.when)
    return {**asdict(learnt), "when": when}


def keep_found(connection: Connection, id_: str, deeds: int, text: str) -> None:
    """What is suspected after so many deeds, as JSON text; a later one has made it stale."""
    table = tables.hunt
    connection.execute(update(table).where(table.c.id == id_, table.c.deeds == deeds).values(found=text))
