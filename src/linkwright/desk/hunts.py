"""Hunts at the desk: a kept hunt as a case of the plan, who is suspected in it, and all of it as a file."""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final

from linkwright.desk.background import Background, WorkRun
from linkwright.desk.names import Names
from linkwright.desk.snapshot import Made
from linkwright.desk.telling import Listeners
from linkwright.shoot.errors import InputError
from linkwright.store import HuntFact, HuntStart, KeptHunt, Store
from linkwright.units import mhz_text

if TYPE_CHECKING:
    from linkwright.plan.hunt.case import Case

#: Who may be named in an answer, as the kinds of entries of a shoot.
NAMED: Final = ("link", "crew", "other")


@dataclass(frozen=True, slots=True)
class LiveLink:
    """A link in a call near a moment: its id and name, the ids of its crew and site, and its carrier [kHz]."""

    id: str
    name: str
    crew: str
    site: str
    khz: int


def links_near(made: Made, since: datetime.datetime, site: str = "") -> list[LiveLink]:
    """Each link (of a site, by id) as it is planned in its call at a moment, else in the one nearest to it."""
    best: dict[str, tuple[float, LiveLink]] = {}
    for call, planned in zip(made.scene.calls, made.plan.calls, strict=True):
        site_id = made.names.id_of("site", call.site.name)
        if site not in ("", site_id):
            continue
        away, crews = _away_s(call.starts, call.ends, since), {link.name: link.crew for link in call.links}
        for link in planned.links:
            if link.link not in best or away < best[link.link][0]:
                crew = made.names.id_of("crew", crews.get(link.link) or "")
                id_ = made.names.id_of("link", link.link)
                best[link.link] = away, LiveLink(id_, link.link, crew, site_id, link.carrier_khz)
    return [live for _, (_, live) in sorted(best.items()) if best]


def _away_s(starts: datetime.datetime | None, ends: datetime.datetime | None, at: datetime.datetime) -> float:
    if starts is None or ends is None or starts <= at < ends:
        return 0.0
    return min(abs((starts - at).total_seconds()), abs((ends - at).total_seconds()))


def start_of(made: Made, asked: HuntStart) -> HuntStart:
    """A hunt's begin, filled from the plan: of a link its site and carrier near that moment, of a carrier none.

    Raises InputError where neither a link nor a carrier is known.
    """
    if not asked.link:
        return asked
    near = links_near(made, asked.since, asked.site) or links_near(made, asked.since)
    near_link = next((hunted for hunted in near if hunted.id == asked.link), None)
    if near_link is None and not asked.khz:
        raise InputError("this link has no carrier there; say which carrier is broken")
    if near_link is None:
        return asked
    return replace(asked, site=asked.site or near_link.site, khz=asked.khz or near_link.khz)


def moment_of(text: str, zone: datetime.tzinfo, now: datetime.datetime) -> datetime.datetime:
    """A moment as a page says it, by the clock of the shoot; now where nothing is said. Raises InputError."""
    if not text:
        return now
    try:
        when = datetime.datetime.fromisoformat(text)
    except ValueError:
        raise InputError(f'"{text}" is no moment; expected one such as 2027-05-14T14:05') from None
    return when if when.tzinfo is not None else when.replace(tzinfo=zone)


def case_of(hunt: KeptHunt, names: Names) -> Case:
    """A kept hunt in the words of a plan."""
    from linkwright.plan.hunt.case import Case, HuntAnswer

    start, learnt = hunt.start, hunt.learnt
    readings = {names.name_of(reading.who): reading.dbm for reading in learnt if reading.kind == "read"}
    answers = tuple(
        HuntAnswer(answer.kind, names.name_of(answer.who), answer.yes) for answer in learnt if answer.kind != "read"
    )
    link = names.name_of(start.link) if start.link else None
    return Case(names.name_of(start.site), start.khz, start.since, readings, answers, link)


def id_named(name: str, names: Names) -> str:
    """The id of the link, crew or other that is called so; the name where none is."""
    return next((names.now[kind, name] for kind in NAMED if (kind, name) in names.now), name)


@dataclass
class Suspecting:
    """Looks in the background whom the open hunts suspect, in turn."""

    store: Store
    listeners: Listeners
    background: Background

    def begin(self, made: Made, again: str = "") -> None:
        """Look at every open hunt of which nothing is known as it stands; and at one `again`, by its id."""
        self.background.begin(lambda run: self._look(run, made, again), instead=True, patient=True)

    def _look(self, run: WorkRun, made: Made, again: str) -> None:
        from linkwright.plan.hunt.document import document
        from linkwright.plan.hunt.narrowing import hunt as narrowed

        waiting = [
            hunt for hunt in self.store.hunts() if hunt.state == "open" and (hunt.found is None or hunt.id == again)
        ]
        for n, kept in enumerate(waiting):
            run.tell("looking who is in the way", n / len(waiting))
            try:
                narrowed_to = document(narrowed(made.scene, made.plan, case_of(kept, made.names)))
            except InputError as error:
                narrowed_to = {"why_not": str(error)}
            self.store.keep_found(kept, {**narrowed_to, "plan": made.at.isoformat(timespec="seconds")})
            self.listeners.tell("hunted", {"hunt": kept.id})


def told_of(learnt: HuntFact, names: Names) -> str:
    """What was found out, as a sentence without its stop."""
    who = names.name_of(learnt.who)
    if learnt.kind == "read":
        level = "nothing" if learnt.dbm is None else f"{learnt.dbm:.0f} dBm".replace("-", "\N{MINUS SIGN}")
        return f"read at {who}: {level}"
    if learnt.kind == "on":
        return f"{who} is {'on' if learnt.yes else 'not on'}"
    return f"with {who} off it is {'still broken' if learnt.yes else 'clear'}"


def title_of(hunt: KeptHunt, names: Names, zone: datetime.tzinfo) -> str:
    """What is broken where since when, in words."""
    start = hunt.start
    whose = f" ({names.name_of(start.link)})" if start.link else ""
    since = f"{start.since.astimezone(zone):%H:%M, %-d %b}"
    return f"{mhz_text(start.khz)} MHz{whose} at {names.name_of(start.site)}, since {since}"


DEEDS: Final = {"begin": "begun", "learn": "found out", "take back": "taken back", "close": "closed",
                "reopen": "opened again"}  # fmt: skip


def steps_of(store: Store, hunt: KeptHunt, names: Names) -> Iterator[tuple[datetime.datetime, str, str]]:
    """When, who, and what was done in words, oldest first."""
    for step in store.hunt_steps(hunt):
        said = str(step.told.get("note") or step.told.get("verdict") or "")
        if "kind" in step.told:
            plain = {key: step.told[key] for key in ("kind", "who", "yes", "dbm")}
            said = told_of(HuntFact(**plain), names)
        yield step.when, step.who, f"{DEEDS[step.deed]}{f': {said}' if said else ''}"


def file_of(store: Store, hunt: KeptHunt, names: Names, zone: datetime.tzinfo) -> dict[str, Any]:
    """A hunt as a file: suspects and question as `linkwright hunt --json` has them, the case, who did what when."""
    narrowed_to: Mapping[str, Any] = hunt.found or {}
    case = case_of(hunt, names)
    return {
        "suspects": narrowed_to.get("suspects", []), "question": narrowed_to.get("question"),
        "case": {
            "site": case.site, "carrier_khz": case.carrier_khz, "since": case.since.astimezone(zone).isoformat(),
            "link": case.link, "readings_dbm": dict(case.readings_dbm),
            "answers": [{"asked": answer.asked, "who": answer.who, "yes": answer.yes} for answer in case.answers],
        },
        "plan": narrowed_to.get("plan"), "state": hunt.state, "verdict": hunt.verdict,
        "steps": [
            {"when": when.astimezone(zone).isoformat(timespec="seconds"), "who": who, "did": did}
            for when, who, did in steps_of(store, hunt, names)
        ],
    }  # fmt: skip
