"""The day of the job: its batteries with the powers of the newest plan, and since when each set of cells is in."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from typing import Final

from linkwright.day.batteries import Day, LinkDay, day_of
from linkwright.day.schedule import TimedCall, schedule
from linkwright.desk.names import Names
from linkwright.desk.part import SHOWN
from linkwright.desk.relabel import relabelled
from linkwright.desk.snapshot import Made, Snapshot
from linkwright.latest import latest
from linkwright.lengths import hours
from linkwright.plan.batteries import powers_of
from linkwright.shoot.end import whose
from linkwright.shoot.models import Shoot
from linkwright.store import Store

#: The kind of happening that a change of cells is.
CHANGED: Final = "changed"
#: Between the id of a link and who listens to it, where the cells of a receiver are meant.
OF: Final = "\N{MIDDLE DOT}"


@dataclass(frozen=True, slots=True)
class Counter:
    """A pack with its counter: since when its cells are in, and what is planned."""

    id: str
    link: str
    day: LinkDay | None
    since: datetime.datetime | None

    @property
    def verdict(self) -> str:
        """Whether its batteries hold: no change in a take, none on the reserve."""
        changes = self.day.changes if self.day is not None else ()
        if any(change.when == "take" for change in changes):
            return "fails"
        return "thin" if self.day is None or any(change.on_reserve for change in changes) else "holds"

    @property
    def lasts(self) -> str:
        """How long a fresh set lasts, in words."""
        return "not known" if self.day is None else f"{hours(self.day.run_h)} ± {100 * self.day.spread:.0f} %"


def planned_day(snapshot: Snapshot, shoot: Shoot) -> Day:
    """The day with the powers of the newest plan; at the highest steps while there is none."""
    return _planned_day(snapshot.made, snapshot.names, shoot)


@latest
def _planned_day(made: Made | None, names: Names, shoot: Shoot) -> Day:
    calls = () if made is None else relabelled(made.plan, made.names, names).calls
    return day_of(shoot, scheduled(shoot), powers_of(calls) if calls else None)


@latest
def scheduled(shoot: Shoot) -> tuple[TimedCall, ...]:
    """The calls of a shoot as they follow each other, worked out once."""
    return schedule(shoot)


def shown_day(day: Day, wished: str, today: datetime.date) -> tuple[Day, datetime.date | None]:
    """What is shown of a day: of one of many calls a date, the one wished, else today, the next or the last; and
    which, None where all of it is shown."""
    if len(day.calls) <= SHOWN or not day.dates:
        return day, None
    asked = next((date for date in day.dates if date.isoformat() == wished), None)
    date = asked or next((date for date in day.dates if date >= today), day.dates[-1])
    return day.on_date(date), date


def pack_id(link: str, listener: str) -> str:
    """The id of a pack: of a transmitter that of its link."""
    return f"{link}{OF}{listener}" if listener else link


def since_changed(store: Store, names: Names) -> dict[str, datetime.datetime]:
    """When the cells of each pack, by its id, were changed last."""
    changed = store.happenings(kinds=[CHANGED])
    return {
        pack_id(names.id_of("link", happening.about), happening.data.get("listener", "")): happening.when
        for happening in changed
    }


def counters(store: Store, snapshot: Snapshot, shoot: Shoot, day: Day) -> list[Counter]:
    """Every transmitter, and every receiver with cells of its own, with its counter."""
    since = since_changed(store, snapshot.names)
    rows, planned_of, sent = [], dict[str, list[LinkDay | None]](), day.transmitters
    for planned in day.links:
        planned_of.setdefault(planned.link, []).append(planned)
    for link in shoot.link:
        mine = planned_of.get(link.name, [])
        sends = mine if link.name in sent or link.name not in day.unknown else [None, *mine]
        for pack in sends:
            listener = "" if pack is None else pack.listener
            id_ = pack_id(snapshot.names.id_of("link", link.name), listener)
            when = since[id_].astimezone(snapshot.zone) if id_ in since else None
            rows.append(Counter(id_, whose(link.name, listener), pack, when))
    return rows
