"""The four questions of an empty job, and the answer that stands beneath them."""

from __future__ import annotations

import datetime
from dataclasses import replace
from typing import Annotated, Any, Final, Literal

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response
from pydantic import Field as Bounded

from linkwright.desk.new_place import again
from linkwright.desk.outset import usual_day
from linkwright.desk.places import bring
from linkwright.desk.questions import (
    DISTANCES_M,
    SURROUNDINGS,
    Asked,
    answered,
    asked_of,
    classes,
    hold,
    in_zone,
    kit_lines,
    outset_of,
    regions,
    ticks,
)
from linkwright.desk.table import answer as plan_says
from linkwright.desk.table import rows
from linkwright.door.gate import person_of
from linkwright.shoot.bag import Bag
from linkwright.shoot.errors import InputError
from linkwright.store.kitbook import own_bag
from linkwright.web.answers import RequestBody, desk_of, render, snapshot_of
from linkwright.web.pages.edit import told

router = APIRouter()
#: So many places that were kept are offered, the newest.
MOST_KEPT: Final = 6
Text = Annotated[str, Bounded(max_length=200)]


class Answers(RequestBody):
    """What was answered so far: enough for a plan, or not."""

    where: Annotated[str, Bounded(min_length=1, max_length=80)]
    region: Annotated[str, Bounded(min_length=2, max_length=2)]
    surroundings: Literal["open", "street", "residential", "office", "hall"] = "street"
    within_m: Annotated[float, Bounded(gt=0, le=10_000)] = 30
    date: datetime.date
    begins: datetime.time | None = None
    ends: datetime.time | None = None
    who: Annotated[list[Text], Bounded(min_length=1, max_length=200)]
    permits: Annotated[tuple[Text, ...], Bounded(max_length=50)] = ()
    kit: Text = ""
    zone: Text = ""
    place: Text = ""
    again: bool = False


class Held(RequestBody):
    """The permits that are ticked."""

    permits: Annotated[tuple[Text, ...], Bounded(max_length=50)] = ()


def bag_there() -> tuple[Bag, str]:
    """The bag, and what is wrong with it: an empty one stands in for a bag that cannot be read."""
    try:
        return own_bag(), ""
    except InputError as error:
        return Bag(), f"The bag cannot be read: {error}"


def questions(request: Request, anew: bool) -> dict[str, Any]:
    """What the four questions show; `anew`: for the same people at a new place."""
    snapshot, now = snapshot_of(request), datetime.datetime.now()
    asked, (bag, says) = asked_of(snapshot.document, now), bag_there()
    if anew:
        asked = replace(asked, where="", date=usual_day(now), hours=("", ""))
    return {
        "again": anew,
        "asked": asked,
        "regions": regions(),
        "surroundings": SURROUNDINGS,
        "distances": DISTANCES_M,
        "kit": kit_lines(bag),
        "bag_says": says,
        "classes": classes(),
        "kept": [] if (book := desk_of(request).places) is None else book.newest(MOST_KEPT),
        "ticks": ticks(asked.region, asked.date) if asked.region else [],
    }


@router.get("/prepare/permits")
def permits(request: Request, region: Annotated[str, Query(max_length=2)]) -> Response:
    """The permits of a region, as sentences to tick."""
    now = datetime.datetime.now()
    asked = asked_of(snapshot_of(request).document, now)
    return render(request, "prepare_permits.html", ticks=ticks(region, usual_day(now)), asked=asked)


@router.post("/prepare/permits")
def hold_permits(request: Request, given: Held) -> dict[str, Any]:
    """Hold these permits and no others."""
    fields, who = hold(snapshot_of(request).document, given.permits), person_of(request).name
    return told(request, desk_of(request).store.set_fields(fields, who) if fields else None)


@router.get("/prepare/answer")
def answer(request: Request) -> Response:
    """What the answers come to: the plan's sentence, and who is on what."""
    snapshot = snapshot_of(request)
    given = [] if snapshot.made is None else rows(snapshot.made, "call")
    said = plan_says(snapshot) if snapshot.document.draft.document else ""
    return render(request, "prepare_answer.html", rows=given, said=said)


@router.post("/prepare/begin")
def begin(request: Request, answers: Answers) -> dict[str, Any]:
    """A shoot of the answers, in place of what is there; it can be taken back."""
    timed = answers.begins and answers.ends
    asked = Asked(
        answers.where, answers.region, answers.surroundings, answers.within_m, answers.date,
        (f"{answers.begins:%H:%M}", f"{answers.ends:%H:%M}") if timed else ("", ""),
        tuple(dict.fromkeys(name.strip() for name in answers.who if name.strip())), answers.permits, answers.kit,
    )  # fmt: skip
    old = snapshot_of(request).shoot if answers.again else None
    if old is not None:
        repeated = again(old, in_zone(outset_of(asked), answers.zone), own_bag())
        document, given, lacking = repeated.document, list(map(list, repeated.links)), repeated.lacking
    else:
        document, begun = answered(outset_of(asked), own_bag(), answers.zone)
        lacking = begun.lacking
        given = [
            [
                outfit.name,
                outfit.transmitter.name,
                outfit.receiver.name,
                outfit.microphone.name if outfit.microphone else "",
            ]
            for outfit in begun.outfits
        ]
    desk, who = desk_of(request), person_of(request).name
    if answers.place and desk.places is not None:
        bring(desk.store, desk.places, answers.place, document, 0, who)
    change = desk.store.replace(document, who)
    return told(request, change, outfits=given, lacking=list(lacking), title=document["shoot"]["title"])
