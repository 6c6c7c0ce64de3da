"""The page Day: will the batteries and the schedule hold?"""

from __future__ import annotations

import datetime
import json
from collections.abc import Iterator
from typing import Annotated, Any, Final

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response
from pydantic import Field as Bounded

from linkwright.day.batteries import CellChange, packing
from linkwright.day.report import WHEN, answer, clock, document, savings
from linkwright.desk.day import CHANGED, OF, counters, pack_id, planned_day, shown_day, since_changed
from linkwright.desk.moving import late, moved_draft, moved_entry
from linkwright.desk.part import SHOWN
from linkwright.door.gate import person_of
from linkwright.draw.day import Handle, drawn_day, tall_px
from linkwright.draw.ink import in_page_inks
from linkwright.lengths import hours
from linkwright.shoot.catalogue import called
from linkwright.shoot.clock import zone_of
from linkwright.shoot.end import whose
from linkwright.shoot.errors import InputError
from linkwright.shoot.models import Shoot
from linkwright.shoot.times import Run
from linkwright.store import Draft
from linkwright.web.answers import RequestBody, anew, csv_response, desk_of, render, snapshot_of
from linkwright.web.queries import path_of

router = APIRouter()

#: Two usual widths of the picture, under and over that at which names stand over their rows [px].
ROOM_PX: Final = (360.0, 1200.0)
Width = Annotated[int, Query(ge=300, le=2000)]
Minutes = Annotated[int, Query(ge=-1440, le=1440)]
Date = Annotated[str, Query(max_length=10)]
PathText = Annotated[str, Query(max_length=500)]


class MovedTimes(RequestBody):
    """A call or a break that is moved and made longer [min], as the page saw its times."""

    path: Annotated[list[Annotated[str, Bounded(max_length=200)]], Bounded(min_length=2, max_length=4)]
    minutes: Annotated[int, Bounded(ge=-1440, le=1440)] = 0
    longer: Annotated[int, Bounded(ge=-1440, le=1440)] = 0
    seen: Annotated[str, Bounded(max_length=100)] = ""


class Changed(RequestBody):
    """Cells of a link that were changed just now; whether the old ones had run out."""

    link: Annotated[str, Bounded(max_length=200)]
    empty: bool = False


class Lasted(RequestBody):
    """How long a set of a link lasted."""

    link: Annotated[str, Bounded(max_length=200)]
    hours: Annotated[str, Bounded(max_length=20)]


def handles(draft: Draft, shoot: Shoot, date: datetime.date | None) -> Iterator[Handle]:
    """What can be dragged: every call with times, on a date or all of them, and its breaks."""
    from linkwright.day.schedule import later
    from linkwright.shoot.view import live_calls

    for (id_, _), live in zip(draft.entries("call"), live_calls(shoot), strict=False):
        if live.starts is None or live.ends is None or (date is not None and live.starts.date() != date):
            continue
        path = ["call", id_]
        yield Handle(
            json.dumps(path), live.name, f"Call {live.name}", later(live.starts, 0), later(live.ends, 0), False
        )
        for (break_id, _), (start, end) in zip(draft.entries("call", id_, "breaks"), live.breaks, strict=True):
            label = f"Break in {live.name}"
            at = later(start, 0), later(end, 0)
            yield Handle(json.dumps([*path, "breaks", break_id]), live.name, label, *at, True)


def context(request: Request, on: str) -> dict[str, Any]:
    """Everything that the page shows."""
    snapshot, store = snapshot_of(request), desk_of(request).store
    shoot = snapshot.shoot
    if shoot is None or not shoot.link:
        lacks = "the shoot lacks something; the page Shoot says what" if shoot is None else "the shoot has no links"
        return {"answer": f"Nothing to say of the day yet: {lacks}.", "day": None}
    whole, now = planned_day(snapshot, shoot), datetime.datetime.now(snapshot.zone)
    day, date = shown_day(whole, on, now.date())
    first = next((call.span[0].date() for call in day.calls if call.span is not None), None)
    return {
        "dates": whole.dates if date else [],
        "on": date,
        "most": SHOWN,
        "answer": answer(day),
        "day": day,
        "changes": [_shown(change, first) for change in day.changes],
        "counters": counters(store, snapshot, shoot, day),
        "pack": packing(day),
        "savings": savings(day),
        "clock": clock,
        "hours": hours,
        "first": first,
        "now": now,
        "zone": str(zone_of(shoot)),
        "runs": len(shoot.run),
    }


def _shown(change: CellChange, first: datetime.date | None) -> dict[str, str]:
    return {
        "link": change.who,
        "at": clock(change.at, first),
        "where": f"{WHEN[change.when]} {change.call}",
        "left": hours(change.left_h),
        "verdict": "fails" if change.when == "take" else "thin" if change.on_reserve else "holds",
    }


@router.get("/day")
def page(request: Request, on: Date = "") -> Response:
    """The page, with room for its picture on a telephone and on a laptop."""
    shown = context(request, on)
    room = [0.0, 0.0] if shown["day"] is None else [tall_px(shown["day"], width) for width in ROOM_PX]
    return render(request, "day.html", room=room, **shown)


@router.get("/day/body")
def body(request: Request, on: Date = "") -> Response:
    """What of the page follows the newest plan."""
    return render(request, "day_body.html", **context(request, on))


@router.get("/api/day")
def data(request: Request) -> dict[str, Any]:
    """The day as `linkwright day --json` has it."""
    snapshot = snapshot_of(request)
    return document(planned_day(snapshot, snapshot.whole_shoot()))


@router.get("/day.csv")
def table(request: Request) -> Response:
    """The battery changes as a table."""
    snapshot = snapshot_of(request)
    rows = [
        (change.at.isoformat(), change.who, change.call, change.when, round(change.left_h, 2))
        for change in planned_day(snapshot, snapshot.whole_shoot()).changes
    ]
    return csv_response("cells.csv", ("change_at", "link", "call", "when", "left_h"), rows)


@router.get("/api/day/picture")
def picture(
    request: Request,
    width: Width = 1000,
    path: PathText = "",
    minutes: Minutes = 0,
    longer: Minutes = 0,
    on: Date = "",
) -> dict[str, Any]:
    """The day drawn, as it is or with one call or break elsewhere; nothing is kept of that."""
    snapshot = snapshot_of(request)
    shoot, draft = snapshot.whole_shoot(), snapshot.document.used
    if path:
        draft = moved_draft(draft, path_of(path), minutes, longer)
        shoot = draft.shoot()
    today = datetime.datetime.now(snapshot.zone).date()
    day, date = shown_day(planned_day(snapshot, shoot), on, today)
    may = person_of(request).may("edit")
    svg = drawn_day(day, float(width), tuple(handles(draft, shoot, date)) if may else (), titled=False)
    return {"svg": in_page_inks(svg), "answer": answer(day)}


@router.post("/api/day/move")
def move(request: Request, moving: MovedTimes) -> dict[str, Any]:
    """Move a call (with its breaks) or a break: one edit of the shoot, which undo takes back."""
    snapshot = snapshot_of(request)
    path = tuple(moving.path)
    snapshot.whole_shoot()
    draft = snapshot.document.used
    seen, new = moved_entry(draft, path, moving.minutes, moving.longer)
    if moving.seen and moving.seen != f"{seen.get('from')} {seen.get('to')}":
        raise InputError(f"it has been moved meanwhile, to {seen.get('from')}; look at it again")
    moved_draft(draft, path, moving.minutes, moving.longer).shoot()  # refused before it is kept, with what is wrong
    change = desk_of(request).store.set_field(path, seen, new, person_of(request).name)
    told = " to ".join(str(new.get(key))[:5] for key in ("from", "to"))
    whose = new.get("name") or f"The break of {draft.at(*path[:2])['name']}"
    return {
        "says": f"{whose} is from {told} now.",
        "revision": anew(request).revision,
        "change": change and change.revision,
    }


@router.post("/day/late")
def day_is_late(request: Request, minutes: Annotated[int, Query(ge=5, le=240)] = 30) -> dict[str, Any]:
    """What is left of the day, later, as one change; cells, calls and permits are judged again with the plan."""
    snapshot, store = snapshot_of(request), desk_of(request).store
    shoot = snapshot.whole_shoot()
    now = store.now().astimezone(zone_of(shoot)).replace(tzinfo=None)
    moved = late(snapshot.document.used, minutes, now)
    if not moved:
        raise InputError("no call with times is left of the day")
    change = store.set_fields(moved, person_of(request).name)
    told = ", ".join(f"{new['name']} {new['from'][:5]} to {new['to'][:5]}" for _, _, new in moved)
    return {
        "says": f"{minutes} minutes later: {told}.",
        "revision": anew(request).revision,
        "change": change and change.revision,
    }


@router.post("/tick/changed")
def changed(request: Request, what: Changed) -> dict[str, Any]:
    """The cells of a link were changed now; the time is the server's."""
    snapshot, store = snapshot_of(request), desk_of(request).store
    link, _, listener = what.link.partition(OF)
    id_ = snapshot.names.id_of("link", link)
    if snapshot.document.draft.at("link", id_) is None:
        raise InputError(f"there is no link {link}")
    before = since_changed(store, snapshot.names).get(pack_id(id_, listener))
    data = {"empty": what.empty, **({"listener": listener} if listener else {})}
    happening = store.happen(CHANGED, id_, data, None, person_of(request).name)
    at = happening.when.astimezone(snapshot.zone)
    ran_h = None if before is None else (happening.when - before).total_seconds() / 3600.0
    says = f"{whose(snapshot.names.name_of(id_), listener)}: cells changed at {at:%H:%M}."
    return {"says": says, "at": at.isoformat(), "ran_h": ran_h}


@router.post("/api/day/run")
def ran(request: Request, lasted: Lasted) -> dict[str, Any]:
    """Log how long a set lasted, at the link's planned power and its site's temperature: the prediction follows."""
    snapshot = snapshot_of(request)
    shoot = snapshot.whole_shoot()
    name = snapshot.names.name_of(lasted.link)
    links = {link.name: link for link in shoot.link}
    known = planned_day(snapshot, shoot).transmitters
    if name not in links or name not in known:
        raise InputError(f"nothing is predicted for a link {name}; give its transmitter's cells and drain_mw")
    try:
        ran_h = float(lasted.hours.replace(",", "."))
        run = Run(
            transmitter=links[name].sends.kit, ran_h=ran_h, power_mw=known[name].power_mw,
            temperature_c=known[name].temperature_c, microphone=links[name].microphone, link=name,
        )  # fmt: skip
    except ValueError:
        raise InputError(f'"{lasted.hours}" is no run time; expected hours such as 6.5, at most 1000') from None
    value = run.model_dump(exclude_none=True)
    change = desk_of(request).store.insert(("run",), value, person_of(request).name)
    told = f"{hours(ran_h)} with {run.power_mw:g} mW are logged for {called(run.transmitter)}."
    return {"says": told, "revision": anew(request).revision, "change": change.revision}
