"""The page Crews: what crews ask, by age; what they were told and have not done; who they are; notices."""

from __future__ import annotations

import datetime
from collections import Counter
from typing import Annotated, Any, Final

from fastapi import APIRouter, Request
from fastapi.responses import Response
from pydantic import Field as Bounded

from linkwright.desk.coordinating import links_at, unanswered
from linkwright.desk.crewkit import sent_kit
from linkwright.desk.crews import links_wanted
from linkwright.door.gate import person_of
from linkwright.shoot.errors import InputError
from linkwright.store import KIT, NOTICE, CrewRequest
from linkwright.store.paths import fit
from linkwright.units import counted, mhz_text, number_word, with_capital
from linkwright.web.answers import RequestBody, anew, desk_of, file_response, pages_of, render, snapshot_of

router = APIRouter()

#: So many carriers that wait, and so many questions that were answered, are shown.
MOST_SHOWN: Final = 100

Id = Annotated[str, Bounded(max_length=100)]
Text = Annotated[str, Bounded(max_length=2000)]
Name = Annotated[str, Bounded(max_length=80)]


class Answering(RequestBody):
    """An answer to a request: which, the state that the person saw, what is said."""

    request: Id
    seen: Id
    says: Text = ""


class NewCrew(RequestBody):
    """A crew to add."""

    name: Name
    contact: Name = ""
    phone: Annotated[str, Bounded(max_length=40)] = ""
    email: Annotated[str, Bounded(max_length=120)] = ""


class Telling(RequestBody):
    """Something to tell a crew (by id), or everybody."""

    crew: Id = ""
    text: Text


@router.get("/crews")
def page(request: Request) -> Response:
    """The page."""
    return render(request, "crews.html", **_context(request))


@router.get("/crews/body")
def body(request: Request) -> Response:
    """What of the page follows what happens."""
    return render(request, "crews_body.html", **_context(request))


def _context(request: Request) -> dict[str, Any]:
    desk, snapshot = desk_of(request), snapshot_of(request)
    store, now = desk.store, desk.store.now()
    requests, draft = store.requests(), snapshot.document.draft
    late, longest = unanswered(store, snapshot, now, MOST_SHOWN)
    crews = [(id_, crew) for id_, crew in draft.entries("crew") if crew.get("name")]
    open_ = [asked for asked in requests if asked.state == "asked"]
    done = [asked for asked in reversed(requests) if asked.state != "asked"][:MOST_SHOWN]
    told = store.carriers_told(links={id_ for asked in (*open_, *done) for id_ in asked.links})
    devices = [device.crew for device in store.devices() if device.revoked is None and device.ends > now]
    return {
        "answer": _answer(open_, late, bool(crews), snapshot.zone), "open": open_,
        "done": done, "late": late, "longest": longest, "crews": crews,
        "called": {id_: crew["name"] for id_, crew in crews}, "names": snapshot.names, "zone": snapshot.zone,
        "fits": {asked.id: desk.fitting.of(asked.id) for asked in open_}, "revision": snapshot.revision,
        "links": {asked.id: links_at(asked, told, snapshot) for asked in (*open_, *done) if asked.links},
        "devices": {id_: devices.count(id_) for id_, _ in crews}, "lan": bool(pages_of(request).lan.urls),
        "kits": store.happened_last(KIT),
        "counts": Counter(str(link.get("crew") or "") for _, link in draft.entries("link")), "mhz": mhz_text,
        "edits": person_of(request).may("edit"),
        "hunted": {hunt.start.request for hunt in store.hunts() if hunt.state == "open"},
    }  # fmt: skip


def _answer(asked: list[CrewRequest], late: int, any_crew: bool, zone: datetime.tzinfo) -> str:
    if not any_crew:
        return "No crew yet: add those who ask you for carriers."
    parts = []
    if asked:
        since = f"{asked[0].asked.astimezone(zone):%H:%M, %d %b}"
        verb = " waits" if len(asked) == 1 else "s wait, the oldest"
        parts.append(f"{number_word(len(asked))} question{verb} since {since}")
    if late:
        verb = " is" if late == 1 else "s are"
        parts.append(f"{number_word(late)} carrier{verb} not set and heard yet")
    says = "; ".join(parts)
    done = "Nothing waits: every question is answered, every carrier set and heard."
    return f"{with_capital(says)}." if says else done


@router.get("/crews/steps")
def steps(request: Request, of: Id) -> Response:
    """Who did what with a request, when."""
    store = desk_of(request).store
    wish = store.request(of)
    return render(request, "crews_steps.html", steps=store.request_steps(wish), zone=snapshot_of(request).zone)


@router.get("/crews/kit.toml")
def kit(request: Request, of: Id) -> Response:
    """The kit that a crew sent along, as a bag's file."""
    sent = desk_of(request).store.hatch(of).kit()
    if sent is None:
        raise InputError("this crew sent no kit along")
    return file_response("kit.toml", sent.toml, "application/toml")


@router.post("/crews/fit")
def fits(request: Request, asked: Answering) -> dict[str, Any]:
    """Look whether a request would fit, as the job stands now."""
    desk = desk_of(request)
    wish = desk.store.request(asked.request)
    if wish.kind != "carriers":
        raise InputError("nothing is asked for there; answer it")
    desk.fitting.begin(snapshot_of(request), wish)
    return {"says": ["Looking whether it would fit."]}


@router.post("/crews/grant")
def grant(request: Request, answering: Answering) -> dict[str, Any]:
    """Grant a request: its links go into the shoot, and a plan is made with them."""
    store = desk_of(request).store
    wish = store.request(answering.request)
    if wish.kind != "carriers":
        raise InputError("nothing is asked for there; answer it")
    fields = links_wanted(snapshot_of(request).document.draft, wish, sent_kit(store.hatch(wish.crew).kit()))
    after = store.grant(wish.id, answering.seen, fields, person_of(request).name, answering.says)
    says = f"Granted: {counted(len(after.links), 'link')}; the carriers come with the plan."
    return {"says": [says], "revision": anew(request).revision}


@router.post("/crews/refuse")
def refuse(request: Request, answering: Answering) -> dict[str, Any]:
    """Refuse a request, with the reason and what would do instead."""
    desk_of(request).store.refuse(answering.request, answering.seen, answering.says, person_of(request).name)
    return {"says": ["Refused, and told why."], "revision": anew(request).revision}


@router.post("/crews/answer")
def answer(request: Request, answering: Answering) -> dict[str, Any]:
    """Answer a report of trouble."""
    if not answering.says.strip():
        raise InputError("say what is done about it")
    desk_of(request).store.answer(answering.request, answering.seen, answering.says, person_of(request).name)
    return {"says": ["Answered."], "revision": anew(request).revision}


@router.post("/crews/reopen")
def reopen(request: Request, answering: Answering) -> dict[str, Any]:
    """Take back what became of a request; the links that it got leave the shoot."""
    desk_of(request).store.reopen(answering.request, answering.seen, person_of(request).name)
    return {"says": ["Taken back: it is asked again."], "revision": anew(request).revision}


@router.post("/crews/add")
def add(request: Request, crew: NewCrew) -> dict[str, Any]:
    """A crew joins the job."""
    desk, name = desk_of(request), fit(crew.name.strip(), "the name")
    draft = snapshot_of(request).document.draft
    if not name:
        raise InputError("say what the crew is called")
    if draft.id_of("crew", name) is not None:
        raise InputError(f'there is a crew "{name}" already')
    entry = {key: value.strip() for key, value in crew.model_dump().items() if value.strip()}
    change = desk.store.insert(("crew",), {**entry, "name": name}, person_of(request).name)
    return {"says": [f"{name} is a crew of this job."], "change": change.revision, "revision": change.revision}


@router.post("/crews/tell")
def tell(request: Request, telling: Telling) -> dict[str, Any]:
    """Tell a crew, or everybody."""
    text = fit(telling.text.strip(), "the notice")
    if not text:
        raise InputError("say what they are to know")
    known = dict(snapshot_of(request).document.draft.entries("crew"))
    if telling.crew and telling.crew not in known:
        raise InputError("there is no such crew; load the page again")
    desk_of(request).store.happen(NOTICE, telling.crew, {"text": text}, None, person_of(request).name)
    to = known[telling.crew]["name"] if telling.crew else "everybody"
    return {"says": [f"Told to {to}."], "revision": anew(request).revision}
