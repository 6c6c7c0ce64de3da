"""Sweeps, station lists, recordings: kept once for each content, in pieces, by the hash of their bytes."""

from __future__ import annotations

import datetime
import hashlib
import io
import secrets
from collections.abc import Iterable
from dataclasses import dataclass
from typing import BinaryIO, Final

from sqlalchemy import Connection, delete, func, insert, select, update

from linkwright.shoot.errors import InputError
from linkwright.store import tables
from linkwright.store.edits import Turn
from linkwright.store.history import milliseconds, moment

#: Kinds under which files of the day are attached: minutes of readings and of the air, receivers' logs, recordings.
READINGS: Final = "readings"
SWEPT: Final = "swept"
LOG: Final = "log"
RECORDING: Final = "recording"
#: How much is written in one transaction: others' edits wait no longer than that takes.
PIECE_BYTES = 1024 * 1024
REMOVED = "the file was removed by somebody while it was being stored; store it again"


class TailTaken(InputError):
    """Another process was as quick to make a minute of the tail; nothing was written."""


@dataclass(frozen=True, slots=True)
class Attachment:
    """What is known of one. `name` is what a person called it: text, never a path."""

    id: str
    name: str
    kind: str
    hash: str
    size_bytes: int
    when: datetime.datetime
    who: str


def as_file(data: bytes | BinaryIO) -> BinaryIO:
    """Bytes, or an open file that can be rewound."""
    return io.BytesIO(data) if isinstance(data, bytes) else data


def measured(file: BinaryIO, name: str, most_bytes: int) -> tuple[str, int]:
    """Hash and size of a file, read from its beginning. Raises InputError where it is larger than `most_bytes`."""
    file.seek(0)
    digest, size_bytes = hashlib.sha256(), 0
    while piece := file.read(PIECE_BYTES):
        size_bytes += len(piece)
        if size_bytes > most_bytes:
            raise InputError(f"has more than {most_bytes} bytes; expected a file of at most that", path=name)
        digest.update(piece)
    file.seek(0)
    return digest.hexdigest(), size_bytes


def begin(connection: Connection, digest: str, size_bytes: int) -> bool:
    """Whether the pieces are still to be written; what was left half-written is taken away first."""
    table = tables.content
    complete = connection.execute(select(table.c.complete).where(table.c.hash == digest)).scalar()
    if complete:
        return False
    connection.execute(delete(tables.piece).where(tables.piece.c.hash == digest))
    if complete is None:
        connection.execute(insert(table).values(hash=digest, size_bytes=size_bytes, complete=0))
    return True


def _is_still_there(connection: Connection, digest: str) -> int:
    table = tables.content.c
    size_bytes = connection.execute(select(table.size_bytes).where(table.hash == digest)).scalar()
    if size_bytes is None:
        raise InputError(REMOVED)
    return int(size_bytes)


def add_piece(connection: Connection, digest: str, number: int, data: bytes) -> None:
    """One piece; the same piece again is no error. Raises InputError where somebody removed the others."""
    table = tables.piece.c
    _is_still_there(connection, digest)
    there = connection.execute(select(table.number).where(table.hash == digest, table.number == number)).scalar()
    if there is None:
        connection.execute(insert(tables.piece).values(hash=digest, number=number, data=data))


def finish(turn: Turn, name: str, kind: str, digest: str, when: datetime.datetime) -> str:
    """All pieces are there: name it. Returns its id."""
    table = tables.content
    size_bytes = _is_still_there(turn.connection, digest)
    held = select(func.sum(func.length(tables.piece.c.data))).where(tables.piece.c.hash == digest)
    if (turn.connection.execute(held).scalar() or 0) != size_bytes:
        raise InputError(REMOVED, path=name)
    turn.connection.execute(update(table).where(table.c.hash == digest).values(complete=1))
    new = turn.new_id()
    turn.connection.execute(
        insert(tables.attachment).values(
            id=new, name=name, kind=kind, hash=digest, at_ms=milliseconds(when), who=turn.who
        )
    )
    return new


def listed(connection: Connection, attachment_id: str | None = None) -> list[Attachment]:
    """All attachments, oldest first, or the one."""
    a, c = tables.attachment.c, tables.content.c
    query = (
        select(a.id, a.name, a.kind, a.hash, c.size_bytes, a.at_ms, a.who)
        .join_from(tables.attachment, tables.content)
        .order_by(func.length(a.id), a.id)
    )
    if attachment_id is not None:
        query = query.where(a.id == attachment_id)
    return [Attachment(*row[:5], moment(row.at_ms), row.who) for row in connection.execute(query)]


def count(size_bytes: int) -> int:
    """How many pieces so many bytes are."""
    return -(-size_bytes // PIECE_BYTES)


def piece(connection: Connection, digest: str, number: int) -> bytes | None:
    """One piece, from 0; None where it is not there."""
    table = tables.piece.c
    data = connection.execute(select(table.data).where(table.hash == digest, table.number == number)).scalar()
    return None if data is None else bytes(data)


def remove(connection: Connection, attachment_id: str) -> bool:
    """Take one away, and its bytes where no other has them. Whether it was there."""
    table = tables.attachment
    digest = connection.execute(select(table.c.hash).where(table.c.id == attachment_id)).scalar()
    if digest is None:
        return False
    connection.execute(delete(table).where(table.c.id == attachment_id))
    if connection.execute(select(table.c.id).where(table.c.hash == digest).limit(1)).scalar() is None:
        connection.execute(delete(tables.piece).where(tables.piece.c.hash == digest))
        connection.execute(delete(tables.content).where(tables.content.c.hash == digest))
    return True


def sweep(connection: Connection) -> None:
    """Take away what was half-written when a process ended."""
    half = select(tables.content.c.hash).where(tables.content.c.complete == 0)
    connection.execute(delete(tables.piece).where(tables.piece.c.hash.in_(half)))
    connection.execute(delete(tables.content).where(tables.content.c.complete == 0))


def add_tail(connection: Connection, data: bytes) -> None:
    """The next second of the tail; by a number that another process is hardly taking at this moment."""
    last = connection.execute(select(func.max(tables.tail.c.number))).scalar()
    number = (-1 if last is None else last) + 1 + secrets.randbelow(1000)
    connection.execute(insert(tables.tail).values(number=number, data=data))


def tail(connection: Connection) -> list[tuple[int, bytes]]:
    """The seconds of the tail, by number."""
    query = select(tables.tail).order_by(tables.tail.c.number)
    return [(row.number, bytes(row.data)) for row in connection.execute(query)]


def cut_tail(connection: Connection, seconds: Iterable[tuple[int, bytes]]) -> None:
    """Take away seconds of the tail. Raises TailTaken where one is gone: its number may be that of another."""
    for number, data in seconds:
        cut = delete(tables.tail).where(tables.tail.c.number == number, tables.tail.c.data == data)
        if not connection.execute(cut).rowcount:
            raise TailTaken("another process has made a minute of the last readings")
