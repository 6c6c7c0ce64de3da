"""The page Shoot: who, where, when, with what?"""

from __future__ import annotations

import datetime
from typing import Annotated, Any

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response

from linkwright.desk.document import LISTS, Document
from linkwright.desk.form import sections
from linkwright.desk.part import LookedFor
from linkwright.desk.questions import held, is_as_asked, ticks_of
from linkwright.desk.table import channels_taken
from linkwright.rules import territory
from linkwright.shoot.catalogue import called, catalogue_names
from linkwright.shoot.errors import InputError
from linkwright.units import number_word, together
from linkwright.web.answers import file_response, render, snapshot_of
from linkwright.web.pages.prepare import bag_there, questions
from linkwright.web.queries import Looked, path_of

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
    return f"{links} {many}{where}, {shoot.shoot.date:%-d %B %Y}; rules: {by}."


def context(request: Request, looked: LookedFor) -> dict[str, Any]:
    """Everything that the page shows."""
    document, made = snapshot_of(request).document, snapshot_of(request).made
    lists = {kind: sections.cards(document, kind, looked) for kind in (*LISTS, *sections.KINDS)}
    calls = {card.name for card in lists["call"].cards.some}
    return {
        "answer": answer(document),
        "asks": False,
        "find": looked.find,
        "large": any(of.cards.large for of in lists.values()),
        "to_fix": [
            (sections.path_json(tuple(map(str, problem.path))), problem.says) for problem in document.problems[:30]
        ],
        "header": sections.entry(document, ("shoot",)),
        **{f"{kind}s": lists[kind] for kind in LISTS},
        "equipment": {kind: lists[kind] for kind in sections.KINDS},
        "channels": {}
        if made is None
        else channels_taken(made, [call for call in made.plan.calls if call.call in calls]),
        "ticks": ticks_of(document),
        "asked": {"permits": held(document)},
        "catalogue": {kind: list(map(called, catalogue_names(kind))) for kind in sections.KINDS},
    }


@router.get("/shoot")
def page(request: Request, looked: Looked, again: bool = False) -> Response:
    """The page: four questions while the job is empty, or for the same people at a new place."""
    asks = again or is_as_asked(snapshot_of(request).document, bag_there()[0], datetime.datetime.now())
    more = questions(request, again) if asks else {}
    return render(request, "shoot.html", **context(request, looked) | more | {"asks": asks})


@router.get("/shoot/answer")
def said(request: Request, looked: Looked) -> dict[str, Any]:
    """The answer, and the line of every card that is shown by its path."""
    document = snapshot_of(request).document
    lists = (sections.cards(document, kind, looked) for kind in (*LISTS, *sections.KINDS))
    cards = {card.path_json: [card.name, card.says, card.wrong] for of in lists for card in of.cards.some}
    return {"answer": answer(document), "cards": cards}


@router.get("/shoot/entry")
def opened(request: Request, path: Annotated[str, Query(max_length=2000)]) -> Response:
    """A card opened: the fields of its entry, and what is inside."""
    keys = path_of(path)
    entry = sections.entry(snapshot_of(request).document, keys)
    if entry is None:
        raise InputError("that is not in the shoot any more; load the page again")
    return render(request, "shoot_entry.html", entry=entry, movable=keys[0] not in sections.KINDS)


@router.get("/shoot/body")
def body(request: Request, looked: Looked) -> Response:
    """What of the page is made anew when rows came or went."""
    return render(request, "shoot_body.html", **context(request, looked))


@router.get("/shoot.toml")
def download(request: Request) -> Response:
    """The shoot as a file, finished or not."""
    return file_response("shoot.toml", snapshot_of(request).document.draft.toml(), "application/toml")
