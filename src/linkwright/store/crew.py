"""The crew's devices, what they noted, and what they ticked off."""

from __future__ import annotations

import datetime
import hashlib
from dataclasses import dataclass
from typing import Any, Literal, cast

from sqlalchemy import Connection, Row, delete, insert, select, update

from linkwright.store import tables
from linkwright.store.conflict import Conflict
from linkwright.store.edits import Turn
from linkwright.store.history import milliseconds, moment

Role = Literal["look", "log", "edit"]
#: A device is written down as seen no more often than this, as every look at a page would be a write.
SEEN_AGAIN_S = 60.0


@dataclass(frozen=True, slots=True)
class Device:
    """A telephone or laptop that joined."""

    id: str
    name: str
    role: Role
    joined: datetime.datetime
    seen: datetime.datetime | None
    revoked: datetime.datetime | None


@dataclass(frozen=True, slots=True)
class Entry:
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


def add_device(turn: Turn, name: str, role: Role, token: str, when: datetime.datetime) -> Device:
    """A device that joined with a token."""
    new, at_ms = turn.new_id(), milliseconds(when)
    turn.connection.execute(
        insert(tables.device).values(id=new, name=name, role=role, token_hash=hash_of(token), at_ms=at_ms)
    )
    return Device(new, name, role, moment(at_ms), None, None)


def devices(connection: Connection) -> list[Device]:
    """All that ever joined, in that order."""
    table = tables.device
    return [_device(row) for row in connection.execute(select(table).order_by(table.c.at_ms, table.c.id))]


def device_of(connection: Connection, token: str) -> Device | None:
    """The device that has this token, unless it was revoked."""
    table = tables.device
    row = connection.execute(
        select(table).where(table.c.token_hash == hash_of(token), table.c.revoked_ms.is_(None))
    ).first()
    return None if row is None else _device(row)


def _device(row: Row[Any]) -> Device:
    seen, revoked = (None if ms is None else moment(ms) for ms in (row.seen_ms, row.revoked_ms))
    return Device(row.id, row.name, cast(Role, row.role), moment(row.at_ms), seen, revoked)


def was_seen(connection: Connection, device_id: str, when: datetime.datetime) -> None:
    """The device showed itself."""
    table = tables.device
    connection.execute(update(table).where(table.c.id == device_id).values(seen_ms=milliseconds(when)))


def revoke(connection: Connection, device_id: str, when: datetime.datetime) -> bool:
    """The device may no longer join. Whether it could until now."""
    table = tables.device
    done = connection.execute(
        update(table)
        .where(table.c.id == device_id, table.c.revoked_ms.is_(None))
        .values(revoked_ms=milliseconds(when))
    )
    return done.rowcount > 0


def add_entry(turn: Turn, text: str, when: datetime.datetime) -> Entry:
    """Something noted."""
    new, at_ms = turn.new_id(), milliseconds(when)
    turn.connection.execute(insert(tables.entry).values(id=new, at_ms=at_ms, who=turn.who, text=text))
    return Entry(new, moment(at_ms), turn.who, text)


def entries(connection: Connection) -> list[Entry]:
    """Everything noted, in the order of when it happened."""
    table = tables.entry
    query = select(table).order_by(table.c.at_ms, table.c.id)
    return [Entry(row.id, moment(row.at_ms), row.who, row.text) for row in connection.execute(query)]


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
