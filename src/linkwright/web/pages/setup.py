"""The page Setting up: step by step, what to do on each link's equipment, ticked off with the time."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from typing import Annotated, Any, Final

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response
from pydantic import Field as Bounded
from pydantic import ValidationError

from linkwright.day.schedule import zone_of
from linkwright.day.steps import Settings, Step, steps_of
from linkwright.desk.day import CHANGED
from linkwright.desk.form.fields import entered
from linkwright.desk.form.sections import field_at
from linkwright.desk.job import Job
from linkwright.plan.model import Finding, Plan, PlannedLink
from linkwright.shoot.errors import InputError
from linkwright.shoot.models import Link, Shoot
from linkwright.shoot.view import LiveCall, live_calls, transmitter_named
from linkwright.store import Tick
from linkwright.web.answers import job_of, render
from linkwright.web.pages.edit import Body
from linkwright.web.security import person_of

router = APIRouter()

#: The kind of happening that something set otherwise than planned is.
SWITCHED: Final = "switched"
Text = Annotated[str, Query(max_length=80)]
Number = Annotated[int, Query(ge=0, le=99)]
Name = Annotated[str, Bounded(max_length=80)]


class Ticking(Body):
    """A step that is done, or not done after all; `key` is the step as the page showed it."""

    call: Name
    link: Name
    key: Annotated[str, Bounded(max_length=900)]
    done: bool = True


class Otherwise(Body):
    """What was set instead of a step's value."""

    call: Name
    link: Name
    what: Annotated[str, Bounded(max_length=20)]
    text: Annotated[str, Bounded(max_length=40)]


@dataclass(frozen=True, slots=True)
class Ticked:
    """A step, and when and by whom it was ticked off."""

    step: Step
    tick: Tick | None
    number: int

    @property
    def at(self) -> str:
        """When, on the clock of the shoot."""
        return "" if self.tick is None else f"{self.tick.when:%H:%M}"


@dataclass(frozen=True, slots=True)
class LinkSteps:
    """A link of a call with its steps, and how it stands in the plan."""

    link: str
    steps: tuple[Ticked, ...]
    planned: PlannedLink | None
    because: str
    findings: tuple[Finding, ...]

    @property
    def done(self) -> int:
        """How many steps are ticked off."""
        return sum(one.tick is not None for one in self.steps)

    @property
    def next(self) -> Ticked | None:
        """The first step that is not."""
        return next((one for one in self.steps if one.tick is None), None)


def settings_of(planned: PlannedLink) -> Settings:
    """What the plan gives a link."""
    return Settings(
        planned.carrier_khz, planned.power_mw, planned.spares_khz, planned.attenuation_db, planned.low_cut_hz,
        planned.set_delay_ms, planned.squelch_dbm, planned.worst_at,
    )  # fmt: skip


def link_steps(job: Job, shoot: Shoot, call: LiveCall, link: Link) -> LinkSteps:
    """A link of a call with its steps as they are ticked off."""
    plan = job.planned.plan
    planned = _planned(plan, call.name, link.name)
    ticks, zone = job.store.ticks(), zone_of(shoot)
    steps = steps_of(shoot, call, link, None if planned is None else settings_of(planned))
    shown = []
    for n, step in enumerate(steps):
        tick = ticks.get(step.key)
        local = None if tick is None else Tick(tick.key, tick.when.astimezone(zone), tick.who)
        shown.append(Ticked(step, local, n + 1))
    findings = () if plan is None else tuple(
        one for one in plan.findings if one.about == link.name and one.severity != "note"
    )  # fmt: skip
    return LinkSteps(link.name, tuple(shown), planned, _because(plan, call.name, link.name), findings)


def _planned(plan: Plan | None, call: str, link: str) -> PlannedLink | None:
    calls = () if plan is None else tuple(one for one in plan.calls if one.call == call)
    return next((one for several in calls for one in several.links if one.link == link), None)


def _because(plan: Plan | None, call: str, link: str) -> str:
    if plan is None:
        return "the plan is not there yet"
    gone = [one.because for several in plan.calls if several.call == call for one in several.unplaced]
    names = [one.link for several in plan.calls if several.call == call for one in several.unplaced]
    return dict(zip(names, gone, strict=True)).get(link, "the plan does not have it yet")


def chosen_call(calls: tuple[LiveCall, ...], name: str, now: datetime.datetime) -> LiveCall:
    """The call of that name; else the one that runs or comes next, else the first."""
    named = [call for call in calls if call.name == name]
    coming = sorted(
        (call for call in calls if call.ends is not None and call.starts is not None and call.ends > now),
        key=lambda call: call.starts.timestamp() if call.starts else 0.0,
    )
    return (named or coming or list(calls))[0]


def context(job: Job, call: str, link: str, at: int) -> dict[str, Any]:
    """Everything that the page shows: the links of a call, one of them, one of its steps."""
    shoot = job.document().shoot
    if shoot is None or not shoot.link:
        return {
            "answer": "Nothing to set up yet: the shoot lacks something; the page Shoot says what.",
            "links": [],
        }
    calls = live_calls(shoot)
    chosen = chosen_call(calls, call, datetime.datetime.now(zone_of(shoot)))
    links = [link_steps(job, shoot, chosen, one) for one in chosen.links]
    known = {one.link: one for one in links}
    open_links = [one for one in links if one.next is not None]
    current = known.get(link) or (open_links or links)[0]
    step = next((one for one in current.steps if one.number == at), None) or current.next
    return {
        "answer": _answer(chosen, links, current, step),
        "calls": [one.name for one in calls],
        "call": chosen.name,
        "links": links,
        "current": current,
        "step": step,
        "following": next((one.link for one in open_links if one.link != current.link), ""),
        "busy": job.planned.busy or job.planned.of_revision != job.document().revision,
    }


def _answer(call: LiveCall, links: list[LinkSteps], current: LinkSteps, step: Ticked | None) -> str:
    left = sum(len(one.steps) - one.done for one in links)
    if not left:
        return f"{call.name} is set up: every step is ticked off."
    if step is None:
        return f"{current.link} is set up; {left} steps are left in {call.name}."
    return f"{current.link}, step {step.number} of {len(current.steps)}; {left} are left in {call.name}."


@router.get("/setup")
def page(request: Request, call: Text = "", link: Text = "", step: Number = 0) -> Response:
    """The page."""
    return render(request, "setup.html", **context(job_of(request), call, link, step))


@router.get("/setup/body")
def body(request: Request, call: Text = "", link: Text = "", step: Number = 0) -> Response:
    """What of the page follows ticks and the newest plan."""
    return render(request, "setup_body.html", **context(job_of(request), call, link, step))


@router.post("/tick/step")
def tick(request: Request, ticking: Ticking) -> dict[str, Any]:
    """Tick a step off, or clear it; the time is the server's."""
    job = job_of(request)
    shoot, call, link = _found(job, ticking.call, ticking.link)
    ours = {one.step.key: one.step for one in link_steps(job, shoot, call, link).steps}
    if ticking.key not in ours:
        raise InputError("the value of that step has changed; look at it again")
    who, before = person_of(request).name, job.store.ticks().get(ticking.key)
    when = datetime.datetime.now(datetime.UTC) if ticking.done else None
    seen = None if before is None else before.when
    kept = job.store.tick(ticking.key, seen, when, who)
    step = ours[ticking.key]
    if step.what == "battery" and ticking.done:
        job.store.happen(CHANGED, link.name, {"empty": False}, kept, who)
    at = None if kept is None else kept.astimezone(zone_of(shoot))
    told = f"{step.title} of {link.name} is open again." if at is None else f"{step.title}: done at {at:%H:%M}."
    return {"says": told, "at": None if at is None else at.isoformat()}


@router.post("/setup/otherwise")
def otherwise(request: Request, what: Otherwise) -> dict[str, Any]:
    """Something else was set: it goes into the shoot, and the plan judges it at once."""
    job = job_of(request)
    shoot, call, link = _found(job, what.call, what.link)
    steps = [one.step for one in link_steps(job, shoot, call, link).steps if one.step.what == what.what]
    if not steps or steps[0].field is None:
        raise InputError(f"{what.what} is no step of {link.name} in which something else can be set")
    key, draft = steps[0].field, job.document().draft
    id_ = draft.id_of("link", link.name)
    if id_ is None:
        raise InputError(f"there is no link {link.name} any more; load the page again")
    path = ("link", id_, key)
    field = field_at(path)
    assert field is not None
    value = entered(field, what.text)
    _check(shoot, link, key, value, what.text)
    seen, who = draft.at(*path), person_of(request).name
    job.store.set_field(path, seen, value, who)
    data = {"what": what.what, "was": seen, "is": value, "call": call.name}
    job.store.happen(SWITCHED, link.name, data, None, who)
    told = "as planned again" if value is None else f"set to {what.text.strip()} {steps[0].unit}".rstrip()
    says = f"{steps[0].title} of {link.name} is {told}; the plan follows."
    return {"says": says, "revision": job.document().revision}


def _check(shoot: Shoot, link: Link, key: str, value: Any, text: str) -> None:
    """Refuse what no shoot could hold, before it is kept. Raises InputError."""
    number = isinstance(value, int | float) and not isinstance(value, bool)
    if value is None or (key == "encrypted" and isinstance(value, bool)):
        return
    if key == "encrypted" or not number:
        wanted = "yes or no" if key == "encrypted" else "a number"
        raise InputError(f'"{text[:40]}" is no value for it; expected {wanted}')
    steps = sorted(transmitter_named(shoot, link.transmitter).powers_mw)
    if key == "locked_mw" and value not in steps:
        listed = ", ".join(f"{step:g}" for step in steps)
        raise InputError(f"{link.transmitter} has no step of {value:g} mW; its steps are {listed} mW")
    try:
        Link.model_validate({**link.model_dump(exclude_unset=True), key: float(value)})
    except ValidationError as error:
        first = error.errors()[0]["msg"].removeprefix("Value error, ")
        raise InputError(f"{value:g} cannot be set: {first}") from None


def _found(job: Job, call: str, link: str) -> tuple[Shoot, LiveCall, Link]:
    """The shoot with a call and one of its links. Raises InputError."""
    shoot = job.document().shoot
    if shoot is None:
        raise InputError("the shoot is not whole yet; the page Shoot says what it lacks")
    for one in live_calls(shoot):
        for there in one.links:
            if (one.name, there.name) == (call, link):
                return shoot, one, there
    raise InputError(f"there is no link {link} in a call {call}")
