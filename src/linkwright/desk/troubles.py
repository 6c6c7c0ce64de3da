"""What is amiss besides what the readings say: what a person told by hand, and cells that die before the break.

Most small kits send no readings; then the day is told by taps. Three questions name a cause of the same table as
the watch has, with the same next step and the same log.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, Literal

from linkwright.day.batteries import LinkDay
from linkwright.desk.day import pack_id, planned_day, since_changed
from linkwright.desk.snapshot import Snapshot
from linkwright.lengths import hours
from linkwright.shoot.errors import InputError
from linkwright.shoot.view import LiveCall, live_calls
from linkwright.store import Happening, Store
from linkwright.watch.diagnose.causes import CAUSES

#: Kinds of happening: somebody tells of a trouble, and that one is over.
TROUBLE: Final = "trouble"
OVER: Final = "over"
#: So long before they die cells are told that do not last to the next break [min].
BEFORE_MIN: Final = 15.0
#: A trouble that nobody ended is not shown for longer than this [h].
SHOWN_H: Final = 12.0

Level = Literal["low", "good", "unknown"]
Still = Literal["yes", "no", "unknown"]


@dataclass(frozen=True, slots=True)
class Trouble:
    """Something amiss with a link: its key, in words, since when, what to do, and by which tap it ends.

    on_carrier : it is amiss now, and not only for a spare. seen : by whom.
    """

    key: str
    id: str
    link: str
    words: str
    since: str
    because: str
    do: str
    ends: Literal["over", "changed", "seen"]
    cause: str
    on_carrier: bool = True
    seen: str = ""

    @property
    def says(self) -> str:
        """As the status line tells it."""
        return f"{self.link}: {self.words}."


def cause_by_hand(several: bool, level: Level, still: Still, cells_low: bool) -> str:
    """The cause that three answers name: one or several, the level, whether it is there without the transmitter.

    What is heard with the transmitter off is somebody else; several that are low share an antenna; one that is low
    is far away or its cells are; what is low in nothing but sound has lost its microphone (common practice, no
    source).
    """
    if still == "yes":
        return "interference"
    if level == "low":
        return "antennas" if several else "battery" if cells_low else "range"
    if level == "good" and not several:
        return "audio-path"
    return "unknown"


def report(
    store: Store, snapshot: Snapshot, id_: str, answers: tuple[bool, Level, Still], gauge: float | None, who: str
) -> Trouble:
    """Keep that a link is in trouble, with the answers; what it is then. Raises InputError for no link."""
    if snapshot.document.draft.at("link", id_) is None:
        raise InputError(f'there is no link "{snapshot.names.name_of(id_)}"; load the page again')
    several, level, still = answers
    low = any(cells.id == id_ for cells in dying(store, snapshot, {} if gauge is None else {id_: gauge}))
    cause = cause_by_hand(several, level, still, low)
    data = {
        "cause": cause, "several": several, "level": level, "still": still,
        "text": f"{CAUSES[cause].words}, told by hand",
    }  # fmt: skip
    return _told(snapshot, store.happen(TROUBLE, id_, data, None, who))


def reported(store: Store, snapshot: Snapshot) -> tuple[Trouble, ...]:
    """What was told by hand and is not over, the newest first; once a link."""
    since = store.now() - datetime.timedelta(hours=SHOWN_H)
    troubles: dict[str, Trouble] = {}
    for happening in _standing(store):
        if happening.when > since and happening.data.get("cause") in CAUSES:
            troubles.setdefault(happening.about, _told(snapshot, happening))
    return tuple(troubles.values())


def _standing(store: Store) -> list[Happening]:
    """The troubles of which nobody said that they are over, the newest first."""
    told = store.happenings(kinds=(TROUBLE, OVER))
    over = {happening.data.get("of") for happening in told if happening.kind == OVER}
    return [
        happening for happening in reversed(told) if happening.kind == TROUBLE and happening.revision not in over
    ]


def end(store: Store, snapshot: Snapshot, key: str, who: str) -> Trouble:
    """A trouble that was told by hand is over. Raises InputError where it does not stand any more."""
    there = next((trouble for trouble in reported(store, snapshot) if trouble.key == key), None)
    if there is None:
        raise InputError("that is over already; load the page again")
    for happening in _standing(store):
        if happening.about == there.id:
            store.happen(
                OVER, happening.about, {"of": happening.revision, "text": f"{there.words}: over"}, None, who
            )
    return there


def _told(snapshot: Snapshot, happening: Happening) -> Trouble:
    cause = CAUSES[str(happening.data["cause"])]
    said = ["several at once" if happening.data.get("several") else "this one alone"]
    said += {"low": ["the level low"], "good": ["the level good"]}.get(str(happening.data.get("level")), [])
    said += {
        "yes": ["still there with the transmitter off"],
        "no": ["nothing there with the transmitter off"],
    }.get(str(happening.data.get("still")), [])
    return Trouble(
        f"{TROUBLE}.{happening.revision}", happening.about, snapshot.names.name_of(happening.about), cause.words,
        f"{happening.when.astimezone(snapshot.zone):%H:%M:%S}",
        f"{happening.who or 'somebody'} says: {', '.join(said)}.",
        cause.next_step, "over", cause.name,
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class CellsLeft:
    """The cells of a link that is on: when the weakest set of ten would die, and whether that was counted from a
    change that somebody ticked or from the call's begin."""

    id: str
    link: str
    dies: datetime.datetime
    ticked: bool
    pause: datetime.datetime

    def left(self, now: datetime.datetime) -> str:
        """How long they last yet, in words."""
        return hours(max(0.0, (self.dies - now).total_seconds() / 3600.0))


def cells_now(store: Store, snapshot: Snapshot, gauges: Mapping[str, float]) -> tuple[CellsLeft, ...]:
    """The cells of the links whose call is on, by the low side of what they last, and by the gauge where it shows
    less. gauges : what is left by the receiver's display (0 to 1), by id of the link."""
    shoot, now = snapshot.shoot, store.now().astimezone(snapshot.zone)
    if shoot is None:
        return ()
    changed, left = since_changed(store, snapshot.names), []
    for call in live_calls(shoot):
        if call.starts is None or call.ends is None or not call.starts <= now < call.ends:
            continue
        days = planned_day(snapshot, shoot).links
        on = {link.name for link in call.links}
        for day in (day for day in days if day.link in on):
            id_ = pack_id(snapshot.names.id_of("link", day.link), day.listener)
            since = changed.get(id_)
            lasts = low_h(day)
            dies = (since or call.starts) + datetime.timedelta(hours=lasts)
            if id_ in gauges:
                dies = min(dies, now + datetime.timedelta(hours=lasts * gauges[id_]))
            left.append(
                CellsLeft(id_, day.who, dies.astimezone(snapshot.zone), since is not None, _next_break(call, now))
            )
    return tuple(left)


def low_h(day: LinkDay) -> float:
    """How long the weakest set of ten lasts [h]: what the day counts on."""
    return day.run_h * (1.0 - day.reserve)


def _next_break(call: LiveCall, now: datetime.datetime) -> datetime.datetime:
    """When the next break of a call begins; its end where there is none."""
    assert call.ends is not None
    return min((away for away, _ in call.breaks if away > now), default=call.ends)


def dying(store: Store, snapshot: Snapshot, gauges: Mapping[str, float]) -> tuple[Trouble, ...]:
    """Cells that will not last until the next break, from a quarter of an hour before they die."""
    now = store.now().astimezone(snapshot.zone)
    soon = now + datetime.timedelta(minutes=BEFORE_MIN)
    troubles = []
    for cells in cells_now(store, snapshot, gauges):
        if cells.dies < cells.pause and cells.dies <= soon:
            by = "" if cells.ticked else " Nobody ticked a change: counted from the call's begin."
            troubles.append(
                Trouble(
                    f"cells.{cells.id}", cells.id, cells.link, "cells will not last to the break", f"{now:%H:%M}",
                    f"They last to about {cells.dies:%H:%M}, the break is at {cells.pause:%H:%M}.{by}",
                    CAUSES["battery"].next_step, "changed", "battery",
                )
            )  # fmt: skip
    return tuple(troubles)
