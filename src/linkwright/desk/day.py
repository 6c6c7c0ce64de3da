"""The day of the job: its batteries with the powers of the newest plan, and since when each set of cells is in."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from typing import Final

from linkwright.day.batteries import Day, LinkDay, day_of
from linkwright.day.report import hours
from linkwright.day.schedule import schedule, zone_of
from linkwright.desk.job import Job
from linkwright.plan.batteries import powers_of
from linkwright.shoot.models import Shoot

#: The kind of happening that a change of cells is.
CHANGED: Final = "changed"


@dataclass(frozen=True, slots=True)
class Counter:
    """A transmitter with its counter: since when its cells are in, and what is planned."""

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


def planned_day(job: Job, shoot: Shoot) -> Day:
    """The day with the powers of the newest plan; at the highest steps while there is none."""
    plan = job.planned.plan
    return day_of(shoot, schedule(shoot), None if plan is None else powers_of(plan.calls))


def since_changed(job: Job) -> dict[str, datetime.datetime]:
    """When the cells of each link were changed last."""
    return {one.about: one.when for one in job.store.happenings(kinds=[CHANGED])}


def counters(job: Job, shoot: Shoot, day: Day) -> list[Counter]:
    """Every link with its counter."""
    known = {link.link: link for link in day.links}
    since, zone = since_changed(job), zone_of(shoot)
    return [
        Counter(link.name, known.get(link.name), since[link.name].astimezone(zone) if link.name in since else None)
        for link in shoot.link
    ]
