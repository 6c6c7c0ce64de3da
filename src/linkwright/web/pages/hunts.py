"""The page of hunts: where something is broken, who is suspected, what was found out by whom, and how it ended.

It is the coordinator's; the crew whose report it comes from sees on its own page that somebody looks into it.
"""

from __future__ import annotations

import json
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response
from pydantic import Field as Bounded

from linkwright.desk.hunts import (
    file_of,
    id_named,
    links_near,
    moment_of,
    start_of,
    steps_of,
    title_of,
    told_of,
)
from linkwright.door.gate import person_of
from linkwright.shoot.errors import InputError
from linkwright.store import HuntFact, HuntStart, KeptHunt
from linkwright.units import khz_from_mhz, mhz_text, number_word, with_capital
from linkwright.web.answers import RequestBody, anew, desk_of, file_response, render, snapshot_of

router = APIRouter()

Id = Annotated[str, Bounded(max_length=100)]
IdAsked = Annotated[str, Query(max_length=100)]
Text = Annotated[str, Bounded(max_length=2000)]
Number = Annotated[str, Bounded(max_length=20)]


class NewHunt(RequestBody):
    """What is broken: where, which link or which carrier, since when, what is said of it, whose report it is."""

    site: Id = ""
    link: Id = ""
    mhz: Number = ""
    since: Annotated[str, Bounded(max_length=40)] = ""
    note: Text = ""
    request: Id = ""


class OfHunt(RequestBody):
    """A hunt, and how many deeds of it the person saw."""

    hunt: Id
    seen: Annotated[int, Bounded(ge=0, le=2**31)]


class LearntOfHunt(OfHunt):
    """What was found out: with `who` (a name) off, or whether he is on."""

    who: Annotated[str, Bounded(max_length=200)]
    what: Literal["off broken", "off clear", "on yes", "on no"]


class LevelRead(OfHunt):
    """A level that was read on the carrier at a site with our own transmitter off; empty: nothing was heard."""

    site: Id
    dbm: Number = ""


class HuntVerdict(OfHunt):
    """How a hunt ended."""

    verdict: Text = ""


@router.get("/crews/hunts")
def page(request: Request, report: Annotated[str, Query(alias="request", max_length=100)] = "") -> Response:
    """The page."""
    snapshot, now = snapshot_of(request), desk_of(request).store.now()
    since = now.astimezone(snapshot.zone).strftime("%Y-%m-%dT%H:%M")
    return render(request, "hunts.html", report=report, since=since, **_context(request), **_links(request, ""))


@router.get("/crews/hunts/body")
def body(request: Request) -> Response:
    """What of the page follows what happens."""
    return render(request, "hunts_body.html", **_context(request))


@router.get("/crews/hunts/links")
def links(request: Request, site: IdAsked = "") -> Response:
    """The links of a site with their carriers, to choose whose is broken."""
    return render(request, "hunts_links.html", **_links(request, site))


def _links(request: Request, site: str) -> dict[str, Any]:
    made = snapshot_of(request).made
    if made is None:
        return {"links": []}
    site = site or made.names.id_of("site", made.scene.used_sites[0].name)
    near = links_near(made, desk_of(request).store.now(), site)
    return {"links": [(live.id, f"{live.name}, {mhz_text(live.khz)} MHz") for live in near]}


def _context(request: Request) -> dict[str, Any]:
    desk, snapshot = desk_of(request), snapshot_of(request)
    hunts, draft, names, zone = desk.store.hunts(), snapshot.document.draft, snapshot.names, snapshot.zone
    open_ = [hunt for hunt in hunts if hunt.state == "open"]
    count = f"{number_word(len(open_))} hunt{' is' if len(open_) == 1 else 's are'} open"
    nothing = "Nothing is hunted" if not hunts else "Nothing is hunted any more"
    used = snapshot.made.scene.used_sites if snapshot.made else ()
    return {
        "answer": f"{with_capital(count) if open_ else nothing}.", "hunts": hunts, "zone": zone,
        "titles": {hunt.id: title_of(hunt, names, zone) for hunt in hunts},
        "learnt": {hunt.id: [(lesson, told_of(lesson, names)) for lesson in hunt.learnt] for hunt in hunts},
        "whom": {hunt.id: _whom(hunt) for hunt in open_}, "names": names,
        "sites": [(names.id_of("site", site.name), site.name) for site in used],
        "crews": [str(crew.get("name")) for _, crew in draft.entries("crew") if crew.get("name")],
        "edits": person_of(request).may("edit"), "planned": snapshot.made is not None,
    }  # fmt: skip


def _whom(hunt: KeptHunt) -> list[str]:
    """Whom an answer may be about: those who are suspected, the likeliest first."""
    suspects = (hunt.found or {}).get("suspects", [])
    return list(dict.fromkeys(name for suspect in suspects for name in suspect["who"]))


@router.get("/crews/hunts/steps")
def steps(request: Request, of: IdAsked) -> Response:
    """Who did what in a hunt, when."""
    store, snapshot = desk_of(request).store, snapshot_of(request)
    told = steps_of(store, store.hunt(of), snapshot.names)
    return render(request, "hunts_steps.html", steps=list(told), zone=snapshot.zone)


@router.get("/crews/hunts/case.json")
def as_file(request: Request, of: IdAsked) -> Response:
    """A hunt as a file: suspects and question as `linkwright hunt --json` has them, the case, who did what when."""
    store, snapshot = desk_of(request).store, snapshot_of(request)
    told = file_of(store, store.hunt(of), snapshot.names, snapshot.zone)
    return file_response("hunt.json", json.dumps(told, indent=2, ensure_ascii=False) + "\n", "application/json")


@router.post("/crews/hunts/begin")
def begin(request: Request, begun: NewHunt) -> dict[str, Any]:
    """Begin a hunt: of a link or a carrier, or of what a crew reported."""
    store, snapshot = desk_of(request).store, snapshot_of(request)
    since, crew, link, note = moment_of(begun.since, snapshot.zone, store.now()), "", begun.link, begun.note
    if begun.request:
        report = store.request(begun.request)
        if report.kind != "trouble":
            raise InputError("nothing is broken there; answer it")
        crew, link, note = report.crew, link or report.wanted.link, note or report.wanted.note
        since = moment_of(begun.since, snapshot.zone, report.asked)
    start = HuntStart(begun.site, _khz(begun.mhz), since, link, note, begun.request, crew)
    return _done(request, "Begun", store.begin_hunt(start_of(snapshot.planned(), start), person_of(request).name))


def _khz(text: str) -> int:
    try:
        return khz_from_mhz(float(text.replace(",", "."))) if text.strip() else 0
    except ValueError:
        raise InputError(f'"{text}" is no carrier; expected MHz such as 531.475') from None


def _done(request: Request, says: str, hunt: KeptHunt) -> dict[str, Any]:
    """The deed is kept; who is suspected now is looked at behind it."""
    desk, snapshot = desk_of(request), anew(request)
    if hunt.state == "open" and hunt.found is None and snapshot.made is not None:
        desk.hunting.begin(snapshot.made)
    return {"says": [f"{says}: {title_of(hunt, snapshot.names, snapshot.zone)}."], "revision": snapshot.revision}


@router.post("/crews/hunts/answer")
def answer(request: Request, told: LearntOfHunt) -> dict[str, Any]:
    """Something was found out about somebody."""
    names = snapshot_of(request).names
    kind, word = told.what.split()
    who = id_named(told.who, names)
    if who == told.who and names.name_of(who) == who:
        raise InputError(f'"{told.who}" is no link or crew of the job')
    learnt = HuntFact("off" if kind == "off" else "on", who, word in ("broken", "yes"))
    store, by = desk_of(request).store, person_of(request).name
    return _done(request, "Found out", store.learn(told.hunt, told.seen, learnt, by))


@router.post("/crews/hunts/read")
def read(request: Request, told: LevelRead) -> dict[str, Any]:
    """A level was read on the carrier at a site."""
    try:
        dbm = float(told.dbm.replace("\N{MINUS SIGN}", "-").replace(",", ".")) if told.dbm.strip() else None
    except ValueError:
        raise InputError(f'"{told.dbm}" is no level; expected dBm such as -82, or nothing') from None
    store, by = desk_of(request).store, person_of(request).name
    return _done(request, "Read", store.learn(told.hunt, told.seen, HuntFact("read", told.site, dbm=dbm), by))


@router.post("/crews/hunts/unlearn")
def unlearn(request: Request, told: OfHunt) -> dict[str, Any]:
    """Take back what was found out last."""
    return _done(
        request, "Taken back", desk_of(request).store.unlearn(told.hunt, told.seen, person_of(request).name)
    )


@router.post("/crews/hunts/again")
def again(request: Request, told: OfHunt) -> dict[str, Any]:
    """Look once more who is suspected, by the plan as it is now."""
    made = snapshot_of(request).planned()
    desk_of(request).hunting.begin(made, told.hunt)
    return {"says": ["Looking once more, by the newest plan."]}


@router.post("/crews/hunts/close")
def close(request: Request, told: HuntVerdict) -> dict[str, Any]:
    """End a hunt with a verdict."""
    store, by = desk_of(request).store, person_of(request).name
    return _done(request, "Closed", store.close_hunt(told.hunt, told.seen, told.verdict, by))


@router.post("/crews/hunts/reopen")
def reopen(request: Request, told: OfHunt) -> dict[str, Any]:
    """Take back the end of a hunt."""
    store, by = desk_of(request).store, person_of(request).name
    return _done(request, "Opened again", store.reopen_hunt(told.hunt, told.seen, by))
