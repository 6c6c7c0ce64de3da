"""The carriers that crews were told, and what they did since: to be set, set, heard."""

from __future__ import annotations

import datetime
import json
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from typing import Any, Final, Literal

from sqlalchemy import Connection, Row, and_, bindparam, delete, func, insert, or_, select, update

from linkwright.store import tables
from linkwright.store.conflict import Conflict
from linkwright.store.edits import Turn
from linkwright.store.history import milliseconds, moment
from linkwright.store.paths import path_of

#: The area of the change log that tells of carriers; a path in it is the crew, the link and the call.
CARRIER: Final = "carrier"
#: What a crew ticks: both ends stand on it; it was listened to and is clean; neither after all.
Act = Literal["set", "heard", "clear"]
#: In place of a carrier: there is none any more, switch off.
OFF: Final = 0
#: A carrier by the link and the call of `_of`.
_IS: Final = and_(tables.carrier.c.link == bindparam("of_link"), tables.carrier.c.call == bindparam("of_call"))


@dataclass(frozen=True, slots=True)
class Given:
    """What a plan gives a link (by id) of a crew in a call: carrier and spares [kHz], power [mW]."""

    crew: str
    link: str
    call: str
    khz: int
    spares_khz: tuple[int, ...] = ()
    power_mw: float = 0.0

    @property
    def key(self) -> tuple[str, str]:
        """The link and the call."""
        return self.link, self.call


@dataclass(frozen=True, slots=True)
class ToldCarrier:
    """What a crew was told last for a link in a call: the carrier [kHz, OFF: switch off], the one it was set to
    before, when it was told, when it was set and heard, by whom."""

    crew: str
    link: str
    call: str
    khz: int
    before_khz: int
    spares_khz: tuple[int, ...]
    power_mw: float
    told: datetime.datetime
    set: datetime.datetime | None
    heard: datetime.datetime | None
    who: str

    @property
    def state(self) -> str:
        """What became of it: granted, set, heard."""
        return "heard" if self.heard else "set" if self.set else "granted"

    @property
    def key(self) -> tuple[str, str]:
        """The link and the call."""
        return self.link, self.call


def listed(
    connection: Connection, crew: str | None = None, calls: Collection[str] | None = None,
    links: Collection[str] | None = None, unheard: int | None = None,
) -> list[ToldCarrier]:  # fmt: skip
    """What all crews, or one, were told, in all calls or in some, of all links or of some (by id), the longest
    unanswered first; of those that are not heard the first so many, where that is said."""
    table = tables.carrier
    query = select(table).order_by(table.c.told_ms, table.c.link, table.c.call)
    query = query if crew is None else query.where(table.c.crew == crew)
    query = query if calls is None else query.where(table.c.call.in_(list(calls)))
    query = query if links is None else query.where(table.c.link.in_(list(links)))
    query = query if unheard is None else query.where(table.c.heard_ms.is_(None)).limit(unheard)
    return [_told(row) for row in connection.execute(query)]


def waiting(connection: Connection) -> dict[str, int]:
    """How many carriers were told and are not heard, by call (by id)."""
    table = tables.carrier
    query = (
        select(table.c.call, func.count().label("told")).where(table.c.heard_ms.is_(None)).group_by(table.c.call)
    )
    return {row.call: int(row.told) for row in connection.execute(query)}


def _told(row: Row[Any]) -> ToldCarrier:
    set_, heard = (None if ms is None else moment(ms) for ms in (row.set_ms, row.heard_ms))
    return ToldCarrier(
        row.crew, row.link, row.call, row.khz, row.before_khz, tuple(json.loads(row.spares)), row.power_mw,
        moment(row.told_ms), set_, heard, row.who,
    )  # fmt: skip


def were(connection: Connection, calls: Collection[str]) -> dict[tuple[str, str], str]:
    """How far links (by id) came in calls (by id) that are over, as crews ticked it: set or heard; the rest is left
    out. What was told is kept no more then: the change log has it."""
    log, before, last = tables.change.c, dict[tuple[str, str], str](), dict[tuple[str, str], str]()
    ends = or_(*(log.path.like(f"%/{call}") for call in calls))
    for row in connection.execute(
        select(log.path, log.after).where(log.area == CARRIER, ends).order_by(log.revision)
    ):
        _, link, call = path_of(row.path)
        key = link, call
        if row.after in ("set", "heard"):
            before[key] = row.after
        elif row.after != last.get(key):  # told another carrier, or the tick was taken back
            before.pop(key, None)
        if row.after and row.after.isdecimal():
            last[key] = row.after
    return before


def tell(turn: Turn, given: Iterable[Given], over: Collection[str], when: datetime.datetime) -> list[ToldCarrier]:
    """Tell all crews what a plan gives them; what is another than each was told last, which is to be done now.

    What no plan gives any more is to be switched off where somebody set it, and else forgotten; so is what was of
    calls that are `over`.
    """
    table, connection, at_ms = tables.carrier, turn.connection, milliseconds(when)
    there = {told.key: told for told in listed(connection)}
    wanted = {carrier.key: carrier for carrier in given}
    news: list[tuple[str, str]] = []
    new, other, spares = list[dict[str, Any]](), list[dict[str, Any]](), list[dict[str, Any]]()
    for key, carrier in wanted.items():
        old = there.get(key)
        row = {"spares": json.dumps(list(carrier.spares_khz)), "power_mw": carrier.power_mw, "crew": carrier.crew}
        if old is None:
            new.append({"link": carrier.link, "call": carrier.call, "khz": carrier.khz, "told_ms": at_ms, **row})
        elif (old.crew, old.khz, old.power_mw) != (carrier.crew, carrier.khz, carrier.power_mw):
            other.append({**_of(key), **row, **_anew(old, carrier.khz, at_ms)})
        else:
            if old.spares_khz != carrier.spares_khz:
                spares.append({**_of(key), **row})
            continue
        news.append(key)
    gone, off = list[dict[str, Any]](), list[dict[str, Any]]()
    for key, old in there.items():
        if key in wanted or (old.khz == OFF and old.call not in over):
            continue
        if old.call in over or (old.set is None and not old.before_khz):
            gone.append(_of(key))
        else:
            off.append({**_of(key), **_anew(old, OFF, at_ms)})
        news.append(key)
    for statement, each in (
        (insert(table), new), (update(table).where(_IS), other), (update(table).where(_IS), spares),
        (delete(table).where(_IS), gone), (update(table).where(_IS), off),
    ):  # fmt: skip
        if each:
            connection.execute(statement, each)
    later = {told.key: told for told in listed(connection)}
    return [later.get(key) or there[key] for key in news]


def _anew(old: ToldCarrier, khz: int, at_ms: int) -> dict[str, Any]:
    """What changes where a link is told another carrier: it stands on the one that was set last."""
    before = old.khz if old.set is not None else old.before_khz
    return {"khz": khz, "before_khz": before, "told_ms": at_ms, "set_ms": None, "heard_ms": None, "who": ""}


def _of(key: tuple[str, str]) -> dict[str, Any]:
    """Which carrier `_IS` is asked for."""
    return {"of_link": key[0], "of_call": key[1]}


def tick(
    turn: Turn, crew: str, key: tuple[str, str], seen_khz: int, act: Act, when: datetime.datetime
) -> tuple[ToldCarrier, ToldCarrier | None]:
    """A crew did what it was told, or takes that back: as it was and as it is; None: it is off, and done with.

    Raises Conflict where it was told another carrier meanwhile, or nothing: another crew's is nothing.
    """
    old = next((told for told in listed(turn.connection, crew) if told.key == key), None)
    if old is None or old.khz != seen_khz:
        theirs = None if old is None else old.khz / 1000
        raise Conflict((CARRIER, *key), theirs, "the plan", old.told if old else None, "the carrier")
    if old.khz == OFF and act != "clear":
        turn.connection.execute(delete(tables.carrier).where(_IS), _of(key))
        return old, None
    at_ms = milliseconds(when)
    done: dict[str, Any] = {"who": turn.who}
    if act == "clear":
        done |= {"set_ms": None, "heard_ms": None}
    else:
        done |= {"set_ms": at_ms if old.set is None else milliseconds(old.set)}
        done |= {"heard_ms": at_ms} if act == "heard" else {}
    turn.connection.execute(update(tables.carrier).where(_IS), {**_of(key), **done})
    return old, next(told for told in listed(turn.connection, crew) if told.key == key)


def state_of(carriers: Collection[ToldCarrier], links: Collection[str]) -> Literal["granted", "set", "heard"]:
    """How far the links of a request are: granted, set, heard; the least of them."""
    states = {told.state for told in carriers if told.link in links and told.khz != OFF}
    return "granted" if not states or "granted" in states else "set" if "set" in states else "heard"
