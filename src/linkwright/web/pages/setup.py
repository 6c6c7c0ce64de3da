"""The page Setting up: step by step, what to do on each link's equipment, ticked off with the time."""

from __future__ import annotations

import datetime
from typing import Annotated, Any, Final

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response
from pydantic import Field as Bounded
from pydantic import ValidationError

from linkwright.desk import setup as steps
from linkwright.desk.form.fields import entered
from linkwright.desk.form.sections import field_at
from linkwright.desk.setup import LinkSteps, Ticked, link_steps
from linkwright.door.gate import person_of
from linkwright.shoot.catalogue import called
from linkwright.shoot.errors import InputError
from linkwright.shoot.models import Link, Shoot
from linkwright.shoot.view import LiveCall, live_calls, transmitter_named
from linkwright.units import counted
from linkwright.web.answers import RequestBody, anew, desk_of, render, snapshot_of

router = APIRouter()

#: The kind of happening that something set otherwise than planned is.
SWITCHED: Final = "switched"
Text = Annotated[str, Query(max_length=200)]
Number = Annotated[int, Query(ge=0, le=99)]
Name = Annotated[str, Bounded(max_length=200)]


class Ticking(RequestBody):
    """A step that is done, or not done after all; `key` is the step as the page showed it."""

    call: Name
    link: Name
    key: Annotated[str, Bounded(max_length=900)]
    done: bool = True


class Otherwise(RequestBody):
    """What was set instead of a step's value."""

    call: Name
    link: Name
    what: Annotated[str, Bounded(max_length=20)]
    text: Annotated[str, Bounded(max_length=40)]


def chosen_call(calls: tuple[LiveCall, ...], name: str, now: datetime.datetime) -> LiveCall:
    """The call of that name; else the one that runs or comes next, else the first."""
    named = [call for call in calls if call.name == name]
    coming = sorted(
        (call for call in calls if call.ends is not None and call.starts is not None and call.ends > now),
        key=lambda call: call.starts.timestamp() if call.starts else 0.0,
    )
    return (named or coming or list(calls))[0]


def context(request: Request, call: str, link: str, at: int) -> dict[str, Any]:
    """Everything that the page shows: the links of a call, one of them, one of its steps."""
    snapshot, store = snapshot_of(request), desk_of(request).store
    shoot, names = snapshot.shoot, snapshot.names
    if shoot is None or not shoot.link:
        says = "Nothing to set up yet: the shoot lacks something; the page Shoot says what."
        return {"answer": says, "links": []}
    calls = live_calls(shoot)
    chosen = chosen_call(calls, names.name_of(call), datetime.datetime.now(snapshot.zone))
    links = [link_steps(store, snapshot, chosen, live_link) for live_link in chosen.links]
    open_links = [set_link for set_link in links if set_link.next is not None]
    current = (
        next((set_link for set_link in links if link in (set_link.id, set_link.link)), None)
        or (open_links or links)[0]
    )
    step = (
        next((numbered_step for numbered_step in current.steps if numbered_step.number == at), None) or current.next
    )
    return {
        "answer": _answer(chosen, links, current, step),
        "calls": [(names.id_of("call", live_call.name), live_call.name) for live_call in calls],
        "call": names.id_of("call", chosen.name),
        "call_name": chosen.name,
        "links": links,
        "current": current,
        "step": step,
        "following": next((open_link for open_link in open_links if open_link.id != current.id), None),
    }


def _answer(call: LiveCall, links: list[LinkSteps], current: LinkSteps, step: Ticked | None) -> str:
    """Who is done, who is next."""
    ready = sum(link.next is None for link in links)
    if ready == len(links):
        return f"{call.name} is set up: every step is ticked off."
    done = "Nobody is" if not ready else f"{ready} of {counted(len(links), 'link')} {'is' if ready == 1 else 'are'}"
    following = f"{current.link} is set up" if step is None else f"next: {current.link}, {step.step.title.lower()}"
    return f"{done} ready; {following}."


@router.get("/setup")
def page(request: Request, call: Text = "", link: Text = "", step: Number = 0) -> Response:
    """The page."""
    return render(request, "setup.html", **context(request, call, link, step))


@router.get("/setup/body")
def body(request: Request, call: Text = "", link: Text = "", step: Number = 0) -> Response:
    """What of the page follows ticks and the newest plan."""
    return render(request, "setup_body.html", **context(request, call, link, step))


@router.post("/tick/step")
def tick(request: Request, ticking: Ticking) -> dict[str, Any]:
    """Tick a step off, or clear it; the time is the server's."""
    snapshot, store = snapshot_of(request), desk_of(request).store
    call, link = steps.live_link(snapshot, ticking.call, ticking.link)
    who = person_of(request).name
    step, kept = steps.tick(store, snapshot, call, link, ticking.key, done=ticking.done, who=who)
    at = None if kept is None else kept.astimezone(snapshot.zone)
    told = f"{step.title} of {link.name} is open again." if at is None else f"{step.title}: done at {at:%H:%M}."
    return {"says": told, "at": None if at is None else at.isoformat()}


@router.post("/setup/otherwise")
def otherwise(request: Request, what: Otherwise) -> dict[str, Any]:
    """Something else was set: it goes into the shoot, and the plan judges it at once."""
    snapshot, store = snapshot_of(request), desk_of(request).store
    call, link = steps.live_link(snapshot, what.call, what.link)
    ours = link_steps(store, snapshot, call, link)
    step = next((own_step.step for own_step in ours.steps if own_step.step.what == what.what), None)
    if step is None or step.field is None:
        raise InputError(f"{what.what} is no step of {link.name} in which something else can be set")
    path = ("link", ours.id, step.field)
    field = field_at(path)
    assert field is not None
    value = entered(field, what.text)
    _check(snapshot.whole_shoot(), link, step.field, value, what.text)
    seen, who = snapshot.document.draft.at(*path), person_of(request).name
    change = store.set_field(path, seen, value, who)
    if change is not None:
        data = {"what": what.what, "was": seen, "is": value, "call": call.name}
        store.happen(SWITCHED, ours.id, data, None, who)
    told = "as planned again" if value is None else f"set to {what.text.strip()} {step.unit}".rstrip()
    says = f"{step.title} of {link.name} is {told}; the plan follows."
    return {"says": says, "revision": anew(request).revision, "change": change and change.revision}


def _check(shoot: Shoot, link: Link, key: str, value: Any, text: str) -> None:
    """Refuse what no shoot could hold, before it is kept. Raises InputError."""
    number = isinstance(value, int | float) and not isinstance(value, bool)
    if value is None or (key == "encrypted" and isinstance(value, bool)):
        return
    if key == "encrypted" or not number:
        wanted = "yes or no" if key == "encrypted" else "a number"
        raise InputError(f'"{text[:40]}" is no value for it; expected {wanted}')
    powers = sorted(transmitter_named(shoot, link.sends.kit).powers_mw)
    if key == "locked_mw" and value not in powers:
        listed = ", ".join(f"{power:g}" for power in powers)
        raise InputError(f"{called(link.sends.kit)} has no step of {value:g} mW; its steps are {listed} mW")
    try:
        Link.model_validate({**link.model_dump(exclude_unset=True), key: float(value)})
    except ValidationError as error:
        first = error.errors()[0]["msg"].removeprefix("Value error, ")
        raise InputError(f"{value:g} cannot be set: {first}") from None
