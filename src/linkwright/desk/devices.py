"""The crew's devices: until when each may come in, and what happened at the door, in words."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from typing import Final

from linkwright.shoot.clock import zone_of
from linkwright.shoot.models import Shoot
from linkwright.shoot.view import live_calls
from linkwright.store import Device, DoorLine, Passing
from linkwright.store.crew import HOLDS

#: A device may come in so long after the wrap, and at least so long after it joined.
AFTER: Final = datetime.timedelta(days=2)

WORDS: Final[dict[Passing, str]] = {
    "code": "a code was made for {who}",
    "key": "a key was made for {who}",
    "joined": "{who} joined",
    "again": "{who} joined again, by a new code",
    "forgotten": "{who} was forgotten",
    "wrong": "refused: a code that is wrong, used up or too old",
    "unpaired": "refused: not paired, or its time is over",
    "foreign": "refused: another page, or another name for this laptop",
}


def wraps(shoot: Shoot | None) -> datetime.datetime | None:
    """When the last call of a shoot ends; at midnight of its day where it says no time. None: nobody knows."""
    if shoot is None:
        return None
    last = max((call.date or shoot.shoot.date for call in shoot.call if call.ends is None), default=None)
    ends = [call.ends for call in live_calls(shoot) if call.ends is not None]
    if last is not None or not ends:
        after = (last or shoot.shoot.date) + datetime.timedelta(days=1)
        ends.append(datetime.datetime.combine(after, datetime.time(), zone_of(shoot)))
    return max(ends)


def may_until(shoot: Shoot | None, now: datetime.datetime, *, joins: bool = False) -> datetime.datetime:
    """Until when a device that is used (or `joins`) now may come in: the wrap and two days, or a week."""
    wrap = wraps(shoot)
    if wrap is None:
        return now + HOLDS
    return max(wrap + AFTER, now + AFTER) if joins else wrap + AFTER


@dataclass(frozen=True, slots=True)
class DeviceRow:
    """A device as the page Connect lists it."""

    id: str
    name: str
    role: str
    joined: str
    seen: str
    ends: str


def device_rows(devices: list[Device], now: datetime.datetime, zone: datetime.tzinfo) -> list[DeviceRow]:
    """Those that may come in, in the order in which they joined."""
    return [
        DeviceRow(
            device.id, device.name, device.role, moment_text(device.joined, zone),
            "not yet" if device.seen is None else moment_text(device.seen, zone), moment_text(device.ends, zone),
        )
        for device in devices
        if device.revoked is None and device.ends > now
    ]  # fmt: skip


def door_text(line: DoorLine, zone: datetime.tzinfo) -> tuple[str, str, str]:
    """When, what and from where, of one line of the book at the door."""
    when = moment_text(line.first, zone)
    times = f", {line.times} times until {moment_text(line.last, zone)}" if line.times > 1 else ""
    return when, f"{WORDS.get(line.what, line.what).format(who=line.who)}{times}", line.address


def moment_text(when: datetime.datetime, zone: datetime.tzinfo) -> str:
    """A moment as the page says it."""
    return when.astimezone(zone).strftime("%H:%M, %d %b")
