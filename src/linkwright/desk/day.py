"""The day of the job: its batteries with the powers of the newest plan, and since when each set of cells is in."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from typing import Final

from linkwright.day.batteries import Day, LinkDay, day_of
from linkwright.day.schedule import schedule
from linkwright.desk.names import Names
from linkwright.desk.relabelled import relabelled
from linkwright.desk.snapshot import Snapshot
from linkwright.lengths import hours
from linkwright.plan.batteries import powers_of
from linkwright.shoot.models import Shoot
from linkwright.store import Store

#: The kind of happening that a change of cells is.
CHANGED: Final = "changed"


@dataclass(frozen=True, slots=True)
class Counter:
    """A transmitter with its counter: since when its cells are in, and what is planned."""

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
    made = snapshot.made
    calls = () if made is None else relabelled(made.plan, made.names, snapshot.names).calls
    return day_of(shoot, schedule(shoot), powers_of(calls) if calls else None)


def since_changed(store: Store, names: Names) -> dict[str, datetime.datetime]:
    """When the cells of each link, by its id, were changed last."""
    return {names.id_of("link", one.about): one.when for one in store.happenings(kinds=[CHANGED])}


def counters(store: Store, snapshot: Snapshot, shoot: Shoot, day: Day) -> list[Counter]:
    """Every link with its counter."""
    known = {link.link: link for link in day.links}
    since = since_changed(store, snapshot.names)
    found = []
    for link in shoot.link:
        id_ = snapshot.names.id_of("link", link.name)
        when = since[id_].astimezone(snapshot.zone) if id_ in since else None
        found.append(Counter(id_, link.name, known.get(link.name), when))
    return found
