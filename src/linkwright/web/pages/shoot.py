"""The page Shoot: who, where, when, with what?"""

from __future__ import annotations

import datetime
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response

from linkwright.desk.document import Document
from linkwright.desk.form import sections
from linkwright.desk.questions import is_as_asked
from linkwright.rules import territory
from linkwright.shoot.catalogue import called, catalogue_names
from linkwright.units import number_word, together
from linkwright.web.answers import file_response, render, snapshot_of
from linkwright.web.pages.prepare import bag_there, questions

router = APIRouter()


def answer(document: Document) -> str:
    """The answer of the page as a sentence."""
    shoot, count = document.shoot, len(document.problems)
    if not document.draft.document:
        return "Four things, and there is a plan."
    things = f"{count} thing{'s' if count != 1 else ''} still to fix"
    if shoot is None:
        return f"{things} before it can be planned."
    if count:
        return f"{things}; everything else stands and is planned."
    links, sites = number_word(len(shoot.link)).capitalize(), [site.name for site in shoot.site]
    where = f" at {together(sites)}" if sites else ""
    by = territory(shoot.shoot.region).name
    many = "links" if len(shoot.link) != 1 else "link"
    return f"{links} {many}{where}, {shoot.shoot.date:%-d %B %Y}, by the rules of {by}."


def context(request: Request) -> dict[str, Any]:
    """Everything that the page shows."""
    document = snapshot_of(request).document
    return {
        "answer": answer(document),
        "header": sections.header(document),
        "sites": sections.sites(document),
        "links": sections.links(document),
        "others": sections.others(document),
        "calls": sections.calls(document),
        "permits": sections.permits(document),
        "runs": sections.runs(document),
        "equipment": sections.equipment(document),
        "catalogue": {kind: list(map(called, catalogue_names(kind))) for kind in sections.KINDS},
    }


@router.get("/shoot")
def page(request: Request, again: bool = False) -> Response:
    """The page: four questions while the job is empty, or for the same people at a new place."""
    asks = again or is_as_asked(snapshot_of(request).document, bag_there()[0], datetime.datetime.now())
    more = questions(request, again) if asks else {}
    return render(request, "shoot.html", **context(request), **more, asks=asks)


@router.get("/shoot/answer")
def said(request: Request) -> dict[str, str]:
    """The answer alone."""
    return {"answer": answer(snapshot_of(request).document)}


@router.get("/shoot/body")
def body(request: Request) -> Response:
    """What of the page is made anew when rows came or went."""
    return render(request, "shoot_body.html", **context(request))


@router.get("/shoot.toml")
def download(request: Request) -> Response:
    """The shoot as a file, finished or not."""
    return file_response("shoot.toml", snapshot_of(request).document.draft.toml(), "application/toml")
