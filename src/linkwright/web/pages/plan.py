"""The page Plan: who is on what, and why?"""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response
from pydantic import Field as Bounded

from linkwright.desk.part import SHOWN
from linkwright.desk.table import BESIDE, ORDERS, answer, channels_taken, differences, rows, shown
from linkwright.desk.trying import tried
from linkwright.door.gate import person_of
from linkwright.draw.png import png_of
from linkwright.draw.pocket import Pocket, drawn_pocket
from linkwright.plan.file import write_plan
from linkwright.plan.findings import once
from linkwright.shoot.errors import InputError
from linkwright.units import khz_from_mhz
from linkwright.web.answers import RequestBody, desk_of, file_response, plain_text, render, snapshot_of

router = APIRouter()


class Choice(RequestBody):
    """A link, and the carrier that it is asked about or is to have [MHz]."""

    link: Annotated[str, Bounded(max_length=80)]
    mhz: Annotated[str, Bounded(max_length=20)] = ""


def context(request: Request, order: str, find: str, first: int) -> dict[str, Any]:
    """Everything that the page shows."""
    snapshot = snapshot_of(request)
    made = snapshot.made
    order = order if order in ORDERS else "call"
    some = shown(made, order, find, first)
    return {
        "answer": answer(snapshot),
        "plan": snapshot.plan,
        "orders": ORDERS,
        "order": order,
        "find": find,
        "shown": some,
        "most": SHOWN,
        "channels": {} if made is None else channels_taken(made, some.calls),
        "findings": [] if made is None else made.once("findings", lambda: once(made.plan.findings)),
        "beside": differences(desk_of(request).store, snapshot.plan),
    }


Order = Annotated[str, Query(max_length=20)]
Find = Annotated[str, Query(max_length=80)]
First = Annotated[int, Query(ge=0, le=10**6)]


@router.get("/plan")
def page(request: Request, order: Order = "call", find: Find = "", first: First = 0) -> Response:
    """The page."""
    return render(request, "plan.html", **context(request, order, find, first))


@router.get("/plan/body")
def body(request: Request, order: Order = "call", find: Find = "", first: First = 0) -> Response:
    """What of the page follows the newest plan."""
    return render(request, "plan_body.html", **context(request, order, find, first))


@router.get("/plan/row")
def opened(
    request: Request, call: Annotated[str, Query(max_length=200)], link: Annotated[str, Query(max_length=200)]
) -> Response:
    """What an opened row of the table shows: its sum, its ledger, and what can be done about it."""
    link_rows = rows(snapshot_of(request).planned(), "call")
    row = next((row for row in link_rows if row.call.call == call and row.id == link), None)
    if row is None:
        raise InputError("the plan does not have that link in that call any more; load the page again")
    return render(request, "plan_row.html", row=row)


@router.get("/plan.json")
def download(request: Request) -> Response:
    """The plan as a file."""
    plan = snapshot_of(request).plan
    if plan is None:
        return plain_text("There is no plan yet.", 404)
    return file_response("plan.json", write_plan(plan), "application/json")


@router.get("/pocket.png")
def pocket(request: Request) -> Response:
    """Names, carriers and spares as a picture for a telephone's lock screen."""
    made = snapshot_of(request).planned()
    once = {link.link: link for call in reversed(made.plan.calls) for link in reversed(call.links)}
    links = [Pocket(name, link.carrier, link.spares) for name, link in reversed(once.items())]
    return file_response("pocket.png", png_of(drawn_pocket(made.shoot.shoot.title, links)), "image/png")


@router.post("/plan/again")
def again(request: Request, how: Annotated[str, Query(pattern="^(keep|fresh)$")] = "keep") -> dict[str, str]:
    """Make the plan again, keeping carriers or from nothing."""
    desk_of(request).planning.again(fresh=how == "fresh")
    return {"says": "The plan is being made."}


@router.post("/plan/stop")
def stop(request: Request) -> dict[str, str]:
    """Stop the plan that is being made."""
    desk_of(request).works["planning"].stop()
    return {"says": "Stopped; the earlier plan stays."}


@router.post("/plan/aside")
def aside(request: Request) -> dict[str, str]:
    """Keep this plan beside the next ones."""
    made = snapshot_of(request).planned()
    desk_of(request).store.cache_put(BESIDE, write_plan(made.plan).encode("utf-8"))
    return {"says": "Kept; the next plan is shown beside it."}


@router.post("/plan/accept/{row}")
def accept(request: Request, row: str) -> dict[str, Any]:
    """Somebody read what an assumed row of the rules rests on."""
    snapshot = snapshot_of(request)
    told_of = {finding.about for finding in snapshot.planned().plan.findings if finding.code == "assumed-rule"}
    if row not in told_of:
        raise InputError("no such rule waits to be read; load the page again")
    path = ("shoot", "accepts")
    before = snapshot.document.draft.at(*path)
    rows = [*(before if isinstance(before, list) else ()), row]
    change = desk_of(request).store.set_field(path, before, rows, person_of(request).name)
    says = "It is noted that you have read it; the plan follows."
    return {"says": says, "change": None if change is None else change.revision}


@router.post("/plan/lock")
def lock(request: Request, choice: Choice) -> dict[str, Any]:
    """Lock a link to a carrier, or free it (no carrier)."""
    snapshot = snapshot_of(request)
    id_ = snapshot.names.id_of("link", choice.link)
    if snapshot.document.draft.at("link", id_) is None:
        raise InputError(f"there is no link {choice.link}")
    path = ("link", id_, "locked_mhz")
    value = _khz(choice.mhz) / 1000.0 if choice.mhz else None
    store, who = desk_of(request).store, person_of(request).name
    change = store.set_field(path, snapshot.document.draft.at(*path), value, who)
    word = f"locked to {choice.mhz} MHz" if choice.mhz else "free again"
    says = f"{snapshot.names.name_of(id_)} is {word}; the plan follows."
    return {"says": says, "change": None if change is None else change.revision}


@router.get("/plan/try")
def try_carrier(
    request: Request, link: Annotated[str, Query(max_length=80)], mhz: Annotated[str, Query(max_length=20)]
) -> Response:
    """What another carrier would do, to the link and to everybody."""
    return render(request, "plan_try.html", tried=tried(snapshot_of(request).planned(), link, _khz(mhz)))


def _khz(text: str) -> int:
    try:
        khz = khz_from_mhz(float(text.replace(",", ".")))
    except (ValueError, OverflowError):
        raise InputError(f'"{text[:20]}" is no whole number of kHz; expected MHz such as 571.125') from None
    if not 1_000 <= khz <= 10_000_000:
        raise InputError(f"{text[:20]} MHz is no frequency of a wireless microphone; expected 1 to 10000 MHz")
    return khz
