"""The page Shoot: who, where, when, with what?"""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import PlainTextResponse, Response

from linkwright.desk.form import sections
from linkwright.desk.job import Document
from linkwright.shoot.catalogue import catalogue_names
from linkwright.web.answers import job_of, render

router = APIRouter()


def answer(document: Document) -> str:
    """The answer of the page as a sentence."""
    shoot = document.shoot
    if shoot is None:
        count = len(document.problems)
        if not document.draft.document:
            return "Nothing is known of this shoot yet: begin with its title, its region and its date."
        return f"{count} thing{'s' if count != 1 else ''} to settle before it can be planned."
    links, sites = len(shoot.link), max(1, len(shoot.site))
    calls = max(1, len(shoot.call))
    return (
        f"{links} link{'s' if links != 1 else ''} on {sites} site{'s' if sites != 1 else ''} in {calls} "
        f"call{'s' if calls != 1 else ''}, {shoot.shoot.date:%-d %B %Y}, by the rules of {shoot.shoot.region}."
    )


def context(request: Request) -> dict[str, Any]:
    """Everything that the page shows."""
    document = job_of(request).document()
    names = {tuple(map(str, one.path)) for one in document.problems}
    return {
        "document": document,
        "answer": answer(document),
        "header": sections.header(document),
        "sites": sections.sites(document),
        "links": sections.links(document),
        "others": sections.others(document),
        "calls": sections.calls(document),
        "runs": sections.runs(document),
        "equipment": sections.equipment(document),
        "catalogue": {kind: catalogue_names(kind) for kind in sections.KINDS},
        "wrong_paths": names,
    }


@router.get("/shoot")
def page(request: Request) -> Response:
    """The page."""
    return render(request, "shoot.html", **context(request))


@router.get("/shoot/body")
def body(request: Request) -> Response:
    """What of the page is made anew when rows came or went."""
    return render(request, "shoot_body.html", **context(request))


@router.get("/shoot.toml")
def download(request: Request) -> Response:
    """The shoot as a file, finished or not."""
    text = job_of(request).store.document().toml()
    return PlainTextResponse(
        text,
        media_type="application/toml",
        headers={"content-disposition": 'attachment; filename="shoot.toml"', "cache-control": "no-store"},
    )
