"""Places that were kept: what was learnt is kept from the page Wrap, and offered on the page Shoot."""

from __future__ import annotations

from typing import Annotated, Any, Final

from fastapi import APIRouter, Request
from fastapi.responses import Response
from pydantic import Field as Bounded

from linkwright.desk.places import keep, learnings, offers, take_over
from linkwright.door.gate import person_of
from linkwright.shoot.errors import InputError
from linkwright.store.placebook import PlaceBook
from linkwright.web.answers import RequestBody, desk_of, render, snapshot_of
from linkwright.web.pages.edit import told

router = APIRouter()

#: The readings are waited for so long [s].
MOST_WAIT_S: Final = 600.0
#: So many kept places are offered, the nearest.
MOST_OFFERED: Final = 6


class Keeping(RequestBody):
    """The site of which is kept what was learnt."""

    site: Annotated[str, Bounded(max_length=80)]


class Taking(RequestBody):
    """The site (by id) that takes over a kept place."""

    site: Annotated[str, Bounded(max_length=200)]
    place: Annotated[str, Bounded(max_length=200)]


def book_of(request: Request) -> PlaceBook:
    """Where places are kept. Raises InputError where nothing is."""
    book = desk_of(request).places
    if book is None:
        raise InputError("no places are kept here")
    return book


@router.get("/places/near")
def near(request: Request) -> Response:
    """Kept places near the sites of the shoot, as a part of the page Shoot."""
    book = desk_of(request).places
    offered = [] if book is None else offers(snapshot_of(request).document.draft, book)
    return render(
        request, "places_near.html", offers=offered[:MOST_OFFERED], more=max(0, len(offered) - MOST_OFFERED)
    )


@router.post("/places/keep")
def keep_place(request: Request, what: Keeping) -> dict[str, Any]:
    """Keep what was learnt of a site."""
    desk, book = desk_of(request), book_of(request)
    desk.wrapping.begin(snapshot_of(request))
    desk.wrapping.wait(MOST_WAIT_S)
    snapshot = snapshot_of(request)
    learnt = learnings(desk.store, snapshot, desk.wrapping.gone.by_site)
    learning = next((each_learnt for each_learnt in learnt if each_learnt.site == what.site), None)
    if learning is None:
        raise InputError(f"nothing was learnt of {what.site} yet")
    return {"says": keep(desk.store, snapshot, book, learning)}


@router.post("/places/take")
def take_place(request: Request, what: Taking) -> dict[str, Any]:
    """Take a kept place over into a site: one edit."""
    store, book = desk_of(request).store, book_of(request)
    change = take_over(store, snapshot_of(request), book, what.site, what.place, person_of(request).name)
    place = book.place(what.place)
    return told(request, change, says=f"Taken over from {place.name}, {place.date:%-d %B %Y}.")
