"""Setting up at the desk: a link's steps with the settings of the newest plan, and what is ticked off."""

from __future__ import annotations

import datetime
from dataclasses import dataclass

from linkwright.day.steps import Settings, SetUpStep, StepKeys, steps_of
from linkwright.desk.day import CHANGED
from linkwright.desk.snapshot import Snapshot
from linkwright.plan.model import Finding, PlannedCall, PlannedLink
from linkwright.shoot.errors import InputError
from linkwright.shoot.models import Link
from linkwright.shoot.view import LiveCall, live_calls
from linkwright.store import Store, Tick


@dataclass(frozen=True, slots=True)
class Ticked:
    """A step, and when (on the clock of the shoot) and by whom it was ticked off."""

    step: SetUpStep
    tick: Tick | None
    number: int

    @property
    def at(self) -> str:
        """When."""
        return "" if self.tick is None else f"{self.tick.when:%H:%M}"


@dataclass(frozen=True, slots=True)
class LinkSteps:
    """A link of a call with its steps, and how it stands in the plan."""

    id: str
    link: str
    steps: tuple[Ticked, ...]
    planned: PlannedLink | None
    because: str
    findings: tuple[Finding, ...]

    @property
    def done(self) -> int:
        """How many steps are ticked off."""
        return sum(step.tick is not None for step in self.steps)

    @property
    def next(self) -> Ticked | None:
        """The first step that is not."""
        return next((step for step in self.steps if step.tick is None), None)


def settings_of(planned: PlannedLink) -> Settings:
    """What the plan gives a link."""
    return Settings(
        planned.carrier_khz, planned.power_mw, planned.spares_khz, planned.attenuation_db, planned.low_cut_hz,
        planned.set_delay_ms, planned.squelch_dbm, planned.worst_place, planned.labels or (),
    )  # fmt: skip


def link_steps(store: Store, snapshot: Snapshot, call: LiveCall, link: Link) -> LinkSteps:
    """A link of a call with its steps as they are ticked off."""
    names, shoot = snapshot.names, snapshot.whole_shoot()
    site = names.id_of("site", call.site.name)
    known = StepKeys(
        names.id_of("call", call.name),
        site,
        names.id_of("link", link.name),
        lambda spot: names.id_of(f"spot {site}", spot),
    )
    planned_call = _planned_call(snapshot, known.call)
    then = link.name if snapshot.made is None else snapshot.made.names.name_of(known.link)
    planned = (
        next((planned_link for planned_link in planned_call.links if planned_link.link == then), None)
        if planned_call
        else None
    )
    settings = None if planned is None else settings_of(planned)
    steps = steps_of(shoot, call, link, settings, known)
    by_name = steps_of(shoot, call, link, settings)  # as jobs of an earlier version were ticked off
    ticks, zone = store.ticks(), snapshot.zone
    shown = []
    for number, (step, before) in enumerate(zip(steps, by_name, strict=True), 1):
        tick = ticks.get(step.key) or ticks.get(before.key)
        local = None if tick is None else Tick(tick.key, tick.when.astimezone(zone), tick.who)
        shown.append(Ticked(step, local, number))
    findings = () if snapshot.plan is None else tuple(
        finding for finding in snapshot.plan.findings if finding.about == then and finding.severity != "note"
    )  # fmt: skip
    return LinkSteps(known.link, link.name, tuple(shown), planned, _because(snapshot, planned_call, then), findings)


def _planned_call(snapshot: Snapshot, call: str) -> PlannedCall | None:
    """A call of the newest plan, by its id."""
    made = snapshot.made
    if made is None:
        return None
    return next((planned for planned in made.plan.calls if made.names.id_of("call", planned.call) == call), None)


def _because(snapshot: Snapshot, call: PlannedCall | None, link: str) -> str:
    """Why a link has no carrier."""
    if snapshot.made is None:
        return "the plan is not there yet"
    gone = () if call is None else call.unplaced
    return next((unplaced.because for unplaced in gone if unplaced.link == link), "the plan does not have it yet")


def live_link(snapshot: Snapshot, call: str, link: str) -> tuple[LiveCall, Link]:
    """A call and one of its links, by their ids or names. Raises InputError."""
    names = snapshot.names
    for live in live_calls(snapshot.whole_shoot()):
        if call in (live.name, names.id_of("call", live.name)):
            for there in live.links:
                if link in (there.name, names.id_of("link", there.name)):
                    return live, there
    raise InputError(f"there is no link {names.name_of(link)} in a call {names.name_of(call)}")


def _both_ends(
    store: Store, snapshot: Snapshot, id_: str, planned: PlannedLink, when: datetime.datetime, who: str
) -> None:
    """A link that was somewhere else is on its planned carrier now, so that the old one is free."""
    at, draft = ("link", id_), snapshot.document.draft
    values = {"set_mhz": planned.carrier_khz / 1000.0, "set_at": when.isoformat(timespec="seconds")}
    store.set_fields([((*at, key), draft.at(*at, key), value) for key, value in values.items()], who)


def tick(
    store: Store, snapshot: Snapshot, call: LiveCall, link: Link, key: str, *, done: bool, who: str
) -> tuple[SetUpStep, datetime.datetime | None]:
    """Tick a step off, or clear it; the step, and when it is ticked off now. Done twice it stays as it was.

    Raises InputError for a step that is not the link's any more.
    """
    mine = link_steps(store, snapshot, call, link)
    ours = {step.step.key: step for step in mine.steps}
    if key not in ours:
        raise InputError("the value of that step has changed; look at it again")
    ticked = ours[key]
    if done == (ticked.tick is not None):
        return ticked.step, None if ticked.tick is None else ticked.tick.when
    if ticked.tick is not None and ticked.tick.key != key:
        store.tick(ticked.tick.key, ticked.tick.when, None, who)
        return ticked.step, None
    when = datetime.datetime.now(datetime.UTC) if done else None
    kept = store.tick(key, None if ticked.tick is None else ticked.tick.when, when, who)
    if ticked.step.what == "carrier" and when is not None and link.set_mhz is not None and mine.planned is not None:
        _both_ends(store, snapshot, mine.id, mine.planned, when, who)
    if ticked.step.what == "battery" and done:
        store.happen(CHANGED, snapshot.names.id_of("link", link.name), {"empty": False}, kept, who)
    return ticked.step, kept
