"""What is stored beside the document: attachments, results, devices, entries, ticks, happenings."""

from __future__ import annotations

import datetime
import hashlib
import json
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from typing import Any, BinaryIO

from sqlalchemy import Connection

from linkwright.shoot.errors import InputError
from linkwright.store import attachments, cache, happenings
from linkwright.store import crew as devices
from linkwright.store.attachments import Attachment
from linkwright.store.connection import Opened
from linkwright.store.crew import HOLDS, CrewNote, Device, DoorLine, Passing, Role, Tick
from linkwright.store.edits import Turn
from linkwright.store.happenings import Happening
from linkwright.store.history import milliseconds
from linkwright.store.paths import fit
from linkwright.store.values import clean_text, plain, written
from linkwright.store.watch import tell_others

MOST_NAME = 1000
MOST_TEXT = 10_000


class Aside(Opened):
    """What of a store is not the document. Its changes are in `changes` too, by `area`; undo leaves them."""

    def attach(
        self,
        name: str,
        data: bytes | BinaryIO,
        who: str,
        *,
        most_bytes: int,
        kind: str = "",
        for_tail: Sequence[tuple[int, bytes]] = (),
    ) -> str:
        """Keep a file; `name` is text, never a path. Returns its id. Raises InputError where it is too large.

        A large one is written in pieces, so that others' edits are not held up; until the last is on the disk it
        does not exist. It stands in place of the seconds `for_tail` of the tail, which are gone in the same
        moment. Raises TailTaken where another process had taken one.
        """
        name, kind = clean_text(name, "the name", MOST_NAME), clean_text(kind, "the kind", MOST_NAME)
        file = attachments.as_file(data)
        digest, size_bytes = attachments.measured(file, name, most_bytes)
        with self._attaching:
            if self._plainly(lambda connection: attachments.begin(connection, digest, size_bytes)):
                number = 0
                while piece := file.read(attachments.PIECE_BYTES):
                    self._plainly(lambda c, n=number, p=piece: attachments.add_piece(c, digest, n, p))  # type: ignore[misc]
                    number += 1

            def finish(turn: Turn) -> str:
                new = attachments.finish(turn, name, kind, digest, self._now())
                attachments.cut_tail(turn.connection, for_tail)
                self._note(turn, "attachment", "insert", (new,), None, name)
                return new

            return self._writing(who, finish)

    def add_tail(self, data: bytes) -> None:
        """Keep the next second of readings until a whole minute becomes an attachment."""
        self._plainly(lambda connection: attachments.add_tail(connection, data))

    def tail(self) -> list[tuple[int, bytes]]:
        """The seconds that are in no attachment yet, by number."""
        return self._reading(attachments.tail)

    def attachment_list(self) -> list[Attachment]:
        """What is attached, oldest first."""
        return self._reading(attachments.listed)

    def attachment(self, attachment_id: str) -> bytes:
        """The bytes of one. Raises InputError where it is not there, or not what was stored."""
        return b"".join(self.attachment_pieces(attachment_id))

    def attachment_pieces(self, attachment_id: str) -> Iterator[bytes]:
        """The bytes of one in pieces of a megabyte, for the large.

        Raises InputError where it is not there; and in place of the last piece, where it is not what was stored.
        """
        listed = self._reading(lambda connection: attachments.listed(connection, attachment_id))
        if not listed:
            raise InputError("there is no such attachment; it was removed, or never was", path=self._location.name)
        return self._pieces(listed[0])

    def _pieces(self, attachment: Attachment) -> Iterator[bytes]:
        digest, count = hashlib.sha256(), attachments.count(attachment.size_bytes)
        for number in range(count):
            data = self._reading(lambda connection, n=number: attachments.piece(connection, attachment.hash, n))  # type: ignore[misc]
            if data is None:
                raise InputError("was removed while it was being read", path=attachment.name)
            digest.update(data)
            if number == count - 1 and digest.hexdigest() != attachment.hash:
                raise InputError(
                    "is not what was stored: the disk changed it; store it again", path=attachment.name
                )
            yield data

    def detach(self, attachment_id: str, who: str) -> bool:
        """Remove an attachment. Whether it was there."""

        def job(turn: Turn) -> bool:
            there = attachments.listed(turn.connection, attachment_id)
            if there:
                self._note(turn, "attachment", "remove", (attachment_id,), there[0].name, None)
            return attachments.remove(turn.connection, attachment_id)

        with self._attaching:
            return self._writing(who, job)

    def cache_get(self, key: str) -> bytes | None:
        """A result kept under this key, or None."""
        return self._reading(lambda connection: cache.get(connection, key))

    def cache_put(self, key: str, data: bytes, signal: str = "") -> None:
        """Keep a result that can be computed again; the oldest go where there are too many. `signal` is said to all
        processes that have this store open, as it is there."""
        at_ms = milliseconds(self._now())

        def job(connection: Connection) -> None:
            cache.put(connection, key, data, at_ms)
            if signal and self.is_shared:
                tell_others(connection, signal)

        self._plainly(job)
        if signal and not self.is_shared:
            self._watch.signal(signal)

    def drop_cache(self) -> None:
        """Forget all results."""
        self._plainly(cache.drop)

    def add_device(
        self, name: str, role: Role, token: str, who: str, *, ends: datetime.datetime | None = None, crew: str = ""
    ) -> Device:
        """A device joins; of its token (long and random, made by the caller) only the hash is kept.

        ends : until when it may come in, where it is not renewed; None: in a week. crew : the id of the crew whose
        it is, for the role "crew" and for no other. Raises InputError.
        """
        name = clean_text(fit(name, "the name"), "the name", MOST_NAME)
        if (role == "crew") != bool(crew):
            raise InputError("a device is of a crew, or may look, log or edit; not both")

        def job(turn: Turn) -> Device:
            now = self._now()
            device = devices.add_device(turn, name, role, token, now, ends or now + HOLDS, crew)
            self._note(turn, "device", "insert", (device.id,), None, name)
            return device

        return self._writing(who, job)

    def put_code(self, code: str, admits: Mapping[str, str], holds: datetime.timedelta) -> None:
        """A code is out that lets in once, for so long: in whatever process it is shown again."""
        now = self._now()
        at_ms, since_ms = milliseconds(now), milliseconds(now - holds)
        text = written(plain(dict(admits)))
        self._plainly(lambda connection: devices.put_code(connection, code, text, at_ms, since_ms))

    def take_code(self, code: str, holds: datetime.timedelta) -> dict[str, str] | None:
        """What a code lets in; it is then used up. None: there is no such, or it is too old."""
        since_ms = milliseconds(self._now() - holds)
        if not self._reading(lambda connection: devices.is_out(connection, code)):
            return None  # who guesses costs no write
        admits = self._plainly(lambda connection: devices.take_code(connection, code, since_ms))
        return None if admits is None else dict(json.loads(admits))

    def devices(self) -> list[Device]:
        """All that ever joined."""
        return self._reading(devices.devices)

    def new_token(self, device_id: str, token: str, ends: datetime.datetime, who: str) -> Device | None:
        """A device comes in by another token from now on, the old one no longer holds. None: it was revoked."""

        def job(turn: Turn) -> Device | None:
            device = devices.new_token(turn, device_id, token, ends)
            if device is not None:
                self._note(turn, "device", "set", (device_id,), None, None)
            return device

        return self._writing(who, job)

    def device_of(self, token: str, renewed: Callable[[], datetime.datetime] | None = None) -> Device | None:
        """The device of a token that still holds; it counts as seen now, and holds until `renewed` at least."""
        now = self._now()
        device = self._reading(lambda connection: devices.device_of(connection, token, now))
        if device is None or self.read_only:
            return device
        if device.seen is None or (now - device.seen).total_seconds() > devices.SEEN_AGAIN_S:
            ends = device.ends if renewed is None else renewed()
            self._plainly(lambda connection: devices.was_seen(connection, device.id, now, ends))
        return device

    def pass_door(self, what: Passing, who: str, address: str, times: int = 1) -> None:
        """Write down who came in, or was not let in, from where. No secret is handed in here."""
        who, now = clean_text(who, "the name", MOST_NAME), self._now()
        self._plainly(lambda connection: devices.pass_door(connection, what, who, address[:60], now, times))

    def door_lines(self, most: int) -> list[DoorLine]:
        """The newest of what happened at the door, newest first."""
        return self._reading(lambda connection: devices.door_lines(connection, most))

    def revoke_device(self, device_id: str, who: str) -> bool:
        """Its token no longer holds. Whether it did until now."""

        def job(turn: Turn) -> bool:
            done = devices.revoke(turn.connection, device_id, self._now())
            if done:
                self._note(turn, "device", "remove", (device_id,), None, None)
            return done

        return self._writing(who, job)

    def add_entry(self, text: str, who: str, *, when: datetime.datetime | None = None) -> CrewNote:
        """Note what happened, now or at a time with its offset."""
        text = clean_text(fit(text, "the entry"), "the entry", MOST_TEXT)

        def job(turn: Turn) -> CrewNote:
            entry = devices.add_entry(turn, text, when or self._now())
            self._note(turn, "entry", "insert", (entry.id,), None, text)
            return entry

        return self._writing(who, job)

    def entries(self) -> list[CrewNote]:
        """Everything noted, by when it happened."""
        return self._reading(devices.entries)

    def tick(
        self, key: str, seen: datetime.datetime | None, when: datetime.datetime | None, who: str
    ) -> datetime.datetime | None:
        """Tick something off at a time, or clear it (None), where it stands as the person saw it. Raises Conflict.

        Returns the time as it is kept: whole milliseconds, to be sent as `seen` next time.
        """
        key = clean_text(key, "the key", MOST_NAME)

        def job(turn: Turn) -> datetime.datetime | None:
            before, after = devices.set_tick(turn, key, seen, when)
            if before != after:
                what = "remove" if after is None else "set"
                self._note(turn, "tick", what, (key,), _text(before), _text(after))
            tick = devices.ticks(turn.connection).get(key)
            return None if tick is None else tick.when

        return self._writing(who, job)

    def ticks(self) -> dict[str, Tick]:
        """Everything that is ticked off, by its key."""
        return self._reading(devices.ticks)

    def happen(
        self, kind: str, about: str, data: Mapping[str, Any], at: datetime.datetime | None, who: str
    ) -> Happening:
        """Keep that something happened, at a time with its offset (None: now). It stays; a correction is another.

        `kind` is one of a few words ("changed", "take", "note", "switched"), `about` the link or call, `data` what
        belongs to it. Who waits for changes hears of it. Raises InputError where it is too long.
        """
        kind, about = clean_text(kind, "the kind", MOST_NAME), clean_text(about, "what it is about", MOST_NAME)
        text = written(plain(dict(data)))

        def job(turn: Turn) -> Happening:
            happening = happenings.add(turn, kind, about, text, at or self._now())
            self._note(turn, "happening", "insert", (kind, about), None, text)
            return happening

        return self._writing(who, job)

    def happenings(
        self, since: int = 0, kinds: Collection[str] = (), about: Collection[str] = (), last: int | None = None
    ) -> list[Happening]:
        """What was told after a revision, of some kinds or all, about some or all, by when it happened; the `last`
        so many of it."""
        return self._reading(lambda connection: happenings.since(connection, since, kinds, about, last))

    def happened_last(self, kind: str) -> dict[str, datetime.datetime]:
        """When something of a kind happened last, by what it was about."""
        return self._reading(lambda connection: happenings.newest(connection, kind))


def _text(at_ms: int | None) -> str | None:
    return None if at_ms is None else str(at_ms)
