"""A carrier is planned, then set, then heard: where each link is to go, where it still stands."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from typing import Any, Final

from linkwright.desk.current import calls_at, live_call_at
from linkwright.desk.editing import Field
from linkwright.desk.snapshot import Snapshot
from linkwright.plan.hit import STRANGER, stranger
from linkwright.plan.model import PlannedLink
from linkwright.shoot.end import whose
from linkwright.shoot.errors import InputError
from linkwright.shoot.models import Link
from linkwright.store import LoggedChange, Store, Tick
from linkwright.units import khz_from_mhz, mhz_text

#: What a move takes, in this order: each may be ticked by itself; the last of them is the tick of both ends.
ACTS: Final = (
    ("receiver", "set the receiver"),
    ("listened", "listen there, transmitter off"),
    ("transmitter", "set the transmitter"),
    ("heard", "hear it, clean"),
)


@dataclass(frozen=True, slots=True)
class ToDo:
    """A move that nobody has ticked yet: the link, whence and whither as people set it, and which acts are done."""

    id: str
    link: str
    khz: int
    before: str
    after: str
    acts: tuple[tuple[str, str, str], ...]


@dataclass(frozen=True, slots=True)
class Fled:
    """A carrier that was left because somebody is on it; it is given to nobody until somebody listened."""

    id: str
    carrier: str


def planned_links(snapshot: Snapshot, now_ns: int) -> dict[str, PlannedLink]:
    """What the newest plan gives each link, by its id, in the call that is on or comes next; else in its first.

    Each who listens to a link stands there too, by name.
    """
    made = snapshot.made
    if made is None:
        return {}
    on = {call.name for call in calls_at(made.scene.calls, now_ns)}
    by_id: dict[str, PlannedLink] = {}
    for call in sorted(made.plan.calls, key=lambda call: call.call not in on):
        for link in call.links:
            by_id.setdefault(made.names.id_of("link", link.link), link)
            for listener in link.listeners or ():
                theirs = {"in_hand_db": listener.in_hand_db, "verdict": listener.verdict}
                by_id.setdefault(whose(link.link, listener.listener), link.model_copy(update=theirs))
    return by_id


def to_do(store: Store, snapshot: Snapshot, now_ns: int) -> tuple[ToDo, ...]:
    """Every link that is to have another carrier than it is set to, in the order of the shoot."""
    steps, ticks, given = [], store.ticks(), planned_links(snapshot, now_ns)
    for link in () if snapshot.shoot is None else snapshot.shoot.link:
        id_ = snapshot.names.id_of("link", link.name)
        planned = given.get(id_)
        khz = _wanted_khz(link, planned)
        if link.set_mhz is None or khz is None or khz_from_mhz(link.set_mhz) == khz:
            continue
        acts = tuple((key, says, _clock(snapshot, ticks.get(_key(id_, khz, key)))) for key, says in ACTS)
        before, after = _shown(planned, khz_from_mhz(link.set_mhz)), _shown(planned, khz)
        steps.append(ToDo(id_, link.name, khz, before, after, acts))
    return tuple(steps)


def _wanted_khz(link: Link, planned: PlannedLink | None) -> int | None:
    """Where a link is to go: where it is locked, else where the plan has it."""
    if link.locked_mhz is not None:
        return khz_from_mhz(link.locked_mhz)
    return None if planned is None else planned.carrier_khz


def _shown(planned: PlannedLink | None, khz: int) -> str:
    return mhz_text(khz) if planned is None else planned.shown(khz)


def _clock(snapshot: Snapshot, tick: Tick | None) -> str:
    return "" if tick is None else f"{tick.when.astimezone(snapshot.zone):%H:%M}"


def _key(id_: str, khz: int, act: str) -> str:
    return "\x1f".join(("move", id_, str(khz), act))


def is_set(snapshot: Snapshot, link: Link, now: datetime.datetime) -> bool:
    """Whether the ends of a link stand anywhere: somebody ticked them, or its call is on, where that is assumed."""
    if link.set_mhz is not None:
        return True
    calls = () if snapshot.scene is None else snapshot.scene.calls
    live = (call for call in calls if any(planned.name == link.name for planned in call.links))
    return any(call.starts <= now < call.ends for call in live if call.starts is not None and call.ends is not None)


# wide: what stands now, where to, who says so, and what holds on the old carrier
def move(
    store: Store,
    snapshot: Snapshot,
    id_: str,
    khz: int,
    now_ns: int,
    who: str,
    *,
    is_on: bool = False,
    fled: bool = False,
) -> tuple[str, LoggedChange | None]:
    """A link is to go to another carrier: what is told, and the change, which is taken back as one.

    is_on : its ends stand on the old carrier, which counts as occupied until the move is ticked. fled : somebody is
    on the old one; nobody is given it until somebody listened. Raises InputError for no link.
    """
    link = _link(snapshot, id_)
    planned = planned_links(snapshot, now_ns).get(id_)
    now = datetime.datetime.fromtimestamp(now_ns / 1e9, datetime.UTC)
    old_khz = khz_from_mhz(link.set_mhz) if link.set_mhz is not None else planned.carrier_khz if planned else None
    fields = [_field(snapshot, id_, "locked_mhz", khz / 1000.0)]
    if old_khz is not None and (is_on or is_set(snapshot, link, now)):
        fields.append(_field(snapshot, id_, "set_mhz", old_khz / 1000.0))
    if fled and old_khz is not None and old_khz != khz:
        shoot = snapshot.whole_shoot()
        site = live_call_at(shoot, now_ns, link.name).site.name if shoot.site else None
        other = stranger(shoot, old_khz, site=site)
        fields.append((("other",), None, other.model_dump(mode="json", exclude_defaults=True)))
    change = store.set_fields(fields, who)
    was = "" if old_khz in (None, khz) else f" from {_shown(planned, old_khz or 0)}"
    return f"{link.name}{was} to {_shown(planned, khz)} MHz", change


def tick(
    store: Store, snapshot: Snapshot, id_: str, khz: int, act: str, who: str
) -> tuple[str, LoggedChange | None]:
    """One act of a move is done, or all of it ("all"): then both ends stand on the new carrier, and it was heard.

    Raises InputError where the link is to go elsewhere by now.
    """
    link, now = _link(snapshot, id_), store.now()
    waiting = next((step for step in to_do(store, snapshot, _ns(now)) if step.id == id_), None)
    if waiting is None or waiting.khz != khz:
        raise InputError(f"{link.name} is not to go there any more; load the page again")
    done = {key for key, _, at in waiting.acts if at}
    if act != "all" and len(done | {act}) < len(ACTS):
        if act not in done:
            store.tick(_key(id_, khz, act), None, now, who)
        return f"{link.name}: {dict(ACTS)[act]}: done.", None
    at = now.isoformat(timespec="seconds")
    fields = [
        _field(snapshot, id_, "set_mhz", khz / 1000.0),
        _field(snapshot, id_, "set_at", at),
        _field(snapshot, id_, "heard_at", at),
    ]
    return f"{link.name} is on {waiting.after} MHz, both ends, and sounds clean.", store.set_fields(fields, who)


def fled_from(snapshot: Snapshot) -> tuple[Fled, ...]:
    """The carriers that nobody is given, because somebody was there and nobody has listened since."""
    entries = snapshot.document.draft.entries("other")
    return tuple(
        Fled(id_, mhz_text(khz_from_mhz(float(other["carrier_mhz"]))))
        for id_, other in entries
        if str(other.get("name", "")).startswith(STRANGER) and isinstance(other.get("carrier_mhz"), int | float)
    )


def _link(snapshot: Snapshot, id_: str) -> Link:
    name = snapshot.names.name_of(id_)
    link = next((link for link in snapshot.whole_shoot().link if link.name == name), None)
    if link is None:
        raise InputError(f'there is no link "{name}"; load the page again')
    return link


def _field(snapshot: Snapshot, id_: str, key: str, value: Any) -> Field:
    path = ("link", id_, key)
    return path, snapshot.document.draft.at(*path), value


def _ns(when: datetime.datetime) -> int:
    return round(when.timestamp() * 1e9)
