"""The page Shoot: who, where, when, with what?"""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response

from linkwright.desk.document import Document
from linkwright.desk.form import sections
from linkwright.shoot.catalogue import called, catalogue_names
from linkwright.web.answers import file_response, render, snapshot_of

router = APIRouter()


def answer(document: Document) -> str:
    """The answer of the page as a sentence."""
    shoot, count = document.shoot, len(document.problems)
    if not document.draft.document:
        return "Nothing is known of this shoot yet: begin with its title, its region and its date."
    things = f"{count} thing{'s' if count != 1 else ''} to settle"
    if shoot is None:
        return f"{things} before it can be planned."
    if count:
        return f"{things}; everything else stands and is planned."
    links, sites = len(shoot.link), max(1, len(shoot.site))
    calls = max(1, len(shoot.call))
    return (
        f"{links} link{'s' if links != 1 else ''} on {sites} site{'s' if sites != 1 else ''} in {calls} "
        f"call{'s' if calls != 1 else ''}, {shoot.shoot.date:%-d %B %Y}, by the rules of {shoot.shoot.region}."
    )


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
def page(request: Request) -> Response:
    """The page."""
    return render(request, "shoot.html", **context(request))


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
