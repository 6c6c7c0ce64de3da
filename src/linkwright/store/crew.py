"""The crew's devices, what they noted, and what they ticked off."""

from __future__ import annotations

import datetime
import hashlib
from dataclasses import dataclass
from typing import Any, Final, Literal, cast

from sqlalchemy import Connection, Row, and_, delete, func, insert, select, update

from linkwright.store import tables
from linkwright.store.conflict import Conflict
from linkwright.store.edits import Turn
from linkwright.store.history import milliseconds, moment

Role = Literal["look", "log", "edit", "crew", "list"]
#: A device is written down as seen no more often than this, as every look at a page would be a write.
SEEN_AGAIN_S = 60.0
#: How long a token holds where nobody says otherwise.
HOLDS = datetime.timedelta(days=7)
#: What happens at the door. The refusals are counted where they come again from one address within an hour.
Passing = Literal["code", "key", "joined", "again", "forgotten", "wrong", "unpaired", "foreign"]
REFUSED: Final = ("wrong", "unpaired", "foreign")
TOGETHER_MS = 3_600_000
#: So many lines are kept; the oldest refusals go first.
MOST_LINES = 2000


@dataclass(frozen=True, slots=True)
class Device:
    """A telephone or laptop that joined; it may come in until it `ends` or was revoked. One of the role "crew" is
    of that crew, by its id."""

    id: str
    name: str
    role: Role
    joined: datetime.datetime
    seen: datetime.datetime | None
    revoked: datetime.datetime | None
    ends: datetime.datetime
    crew: str = ""


@dataclass(frozen=True, slots=True)
class DoorLine:
    """Something that happened at the door: first and last, what, the device's name, from where, how often."""

    first: datetime.datetime
    last: datetime.datetime
    what: Passing
    who: str
    address: str
    times: int


@dataclass(frozen=True, slots=True)
class CrewNote:
    """What a person noted."""

    id: str
    when: datetime.datetime
    who: str
    text: str


@dataclass(frozen=True, slots=True)
class Tick:
    """Something done: a step of setting up, a battery changed."""

    key: str
    when: datetime.datetime
    who: str


def hash_of(token: str) -> str:
    """What is kept of a token. Tokens are long and random, so a plain SHA-256 cannot be guessed back."""
    return hashlib.sha256(token.encode("utf-8", "surrogatepass")).hexdigest()


def add_device(
    turn: Turn, name: str, role: Role, token: str, when: datetime.datetime, ends: datetime.datetime, crew: str = ""
) -> Device:
    """A device that joined with a token, which holds until it ends."""
    new, at_ms, ends_ms = turn.new_id(), milliseconds(when), milliseconds(ends)
    turn.connection.execute(
        insert(tables.device).values(
            id=new, name=name, role=role, token_hash=hash_of(token), at_ms=at_ms, ends_ms=ends_ms, crew=crew or None
        )
    )
    return Device(new, name, role, moment(at_ms), None, None, moment(ends_ms), crew)


def new_token(turn: Turn, device_id: str, token: str, ends: datetime.datetime) -> Device | None:
    """A device that was not revoked has another token from now on; None where there is none."""
    table = tables.device
    there = and_(table.c.id == device_id, table.c.revoked_ms.is_(None))
    new = {"token_hash": hash_of(token), "ends_ms": milliseconds(ends)}
    turn.connection.execute(update(table).where(there).values(new))
    row = turn.connection.execute(select(table).where(there)).first()
    return None if row is None else _device(row)


def put_code(connection: Connection, code: str, admits: str, at_ms: int, since_ms: int) -> None:
    """A code is out, of which only the hash is kept; those from before `since_ms` are not any more."""
    table = tables.code
    connection.execute(delete(table).where(table.c.at_ms < since_ms))
    connection.execute(insert(table).values(hash=hash_of(code), at_ms=at_ms, admits=admits))


def is_out(connection: Connection, code: str) -> bool:
    """Whether there is such a code, old ones too."""
    table = tables.code
    return connection.execute(select(table.c.at_ms).where(table.c.hash == hash_of(code))).first() is not None


def take_code(connection: Connection, code: str, since_ms: int) -> str | None:
    """What a code that is out since then lets in; it is used up. None: there is no such."""
    table = tables.code
    there = table.c.hash == hash_of(code)
    row = connection.execute(select(table).where(there)).first()
    connection.execute(delete(table).where(there))
    return None if row is None or row.at_ms < since_ms else str(row.admits)


def devices(connection: Connection) -> list[Device]:
    """All that ever joined, in that order."""
    table = tables.device
    return [_device(row) for row in connection.execute(select(table).order_by(table.c.at_ms, table.c.id))]


def device_of(connection: Connection, token: str, now: datetime.datetime) -> Device | None:
    """The device that has this token, unless it was revoked or has ended."""
    table = tables.device
    holds = and_(table.c.revoked_ms.is_(None), table.c.ends_ms > milliseconds(now))
    row = connection.execute(select(table).where(table.c.token_hash == hash_of(token), holds)).first()
    return None if row is None else _device(row)


def _device(row: Row[Any]) -> Device:
    seen, revoked = (None if ms is None else moment(ms) for ms in (row.seen_ms, row.revoked_ms))
    ends, crew = moment(row.ends_ms), row.crew or ""
    return Device(row.id, row.name, cast(Role, row.role), moment(row.at_ms), seen, revoked, ends, crew)


def was_seen(connection: Connection, device_id: str, when: datetime.datetime, ends: datetime.datetime) -> None:
    """The device showed itself; its token holds until then, if that is later than it did."""
    table, ends_ms = tables.device, milliseconds(ends)
    this_device = table.c.id == device_id
    connection.execute(update(table).where(this_device).values(seen_ms=milliseconds(when)))
    connection.execute(update(table).where(this_device, table.c.ends_ms < ends_ms).values(ends_ms=ends_ms))


def pass_door(
    connection: Connection, what: Passing, who: str, address: str, when: datetime.datetime, times: int
) -> None:
    """Write down what happened at the door."""
    table, at_ms = tables.door, milliseconds(when)
    if what in REFUSED:
        same = and_(table.c.what == what, table.c.address == address, table.c.last_ms > at_ms - TOGETHER_MS)
        counted = {"times": table.c.times + times, "last_ms": at_ms}
        if connection.execute(update(table).where(same).values(counted)).rowcount:
            return
    line = {"at_ms": at_ms, "last_ms": at_ms, "what": what, "who": who, "address": address, "times": times}
    connection.execute(insert(table).values(line))
    over = (connection.execute(select(func.count()).select_from(table)).scalar() or 0) - MOST_LINES
    if over > 0:
        oldest = select(table.c.number).order_by(table.c.what.not_in(REFUSED), table.c.number).limit(over)
        connection.execute(delete(table).where(table.c.number.in_(oldest)))


def door_lines(connection: Connection, most: int) -> list[DoorLine]:
    """What happened at the door, newest first."""
    table = tables.door
    query = select(table).order_by(table.c.last_ms.desc(), table.c.number.desc()).limit(most)
    return [
        DoorLine(moment(row.at_ms), moment(row.last_ms), row.what, row.who, row.address, row.times)
        for row in connection.execute(query)
    ]


def revoke(connection: Connection, device_id: str, when: datetime.datetime) -> bool:
    """The device may no longer join. Whether it could until now."""
    table = tables.device
    done = connection.execute(
        update(table)
        .where(table.c.id == device_id, table.c.revoked_ms.is_(None))
        .values(revoked_ms=milliseconds(when))
    )
    return done.rowcount > 0


def add_entry(turn: Turn, text: str, when: datetime.datetime) -> CrewNote:
    """Something noted."""
    new, at_ms = turn.new_id(), milliseconds(when)
    turn.connection.execute(insert(tables.entry).values(id=new, at_ms=at_ms, who=turn.who, text=text))
    return CrewNote(new, moment(at_ms), turn.who, text)


def entries(connection: Connection) -> list[CrewNote]:
    """Everything noted, in the order of when it happened."""
    table = tables.entry
    query = select(table).order_by(table.c.at_ms, table.c.id)
    return [CrewNote(row.id, moment(row.at_ms), row.who, row.text) for row in connection.execute(query)]


def ticks(connection: Connection) -> dict[str, Tick]:
    """Everything that is ticked off, by its key."""
    table = tables.tick
    query = select(table).order_by(table.c.key)
    return {row.key: Tick(row.key, moment(row.at_ms), row.who) for row in connection.execute(query)}


def set_tick(
    turn: Turn, key: str, seen: datetime.datetime | None, when: datetime.datetime | None
) -> tuple[int | None, int | None]:
    """Tick, tick anew (a battery changed again) or clear (None), where it stands as the person saw it.

    Returns the times before and after [ms]. Raises Conflict.
    """
    table = tables.tick
    row = turn.connection.execute(select(table).where(table.c.key == key)).first()
    before = None if row is None else int(row.at_ms)
    after = None if when is None else milliseconds(when)
    if before != (None if seen is None else milliseconds(seen)) and before != after:
        theirs = None if row is None else moment(row.at_ms).isoformat()
        raise Conflict(("tick", key), theirs, row.who if row else "", moment(row.at_ms) if row else None)
    if before != after:
        turn.connection.execute(delete(table).where(table.c.key == key))
        if after is not None:
            turn.connection.execute(insert(table).values(key=key, at_ms=after, who=turn.who))
    return before, after
