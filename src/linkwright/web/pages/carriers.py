"""Moving a link to another carrier: asked for, to be done by people at both ends, ticked, and who was fled from."""

from __future__ import annotations

from typing import Annotated, Any, Final, Literal

from fastapi import APIRouter, Request
from fastapi.responses import Response
from pydantic import Field as Bounded

from linkwright.desk import carriers
from linkwright.desk.snapshot import Snapshot
from linkwright.desk.troubles import end
from linkwright.door.gate import person_of
from linkwright.shoot.errors import InputError
from linkwright.watch.diagnose.causes import CAUSES
from linkwright.web.answers import RequestBody, anew, desk_of, render, snapshot_of

router = APIRouter()

#: The kind of happening that a link on another carrier is.
SWITCHED: Final = "switched"
Link = Annotated[str, Bounded(max_length=200)]
Khz = Annotated[int, Bounded(ge=1_000, le=10_000_000)]


class MovedLink(RequestBody):
    """A link and the carrier that it is to go to [kHz]; whether its ends stand on the old one, and flee from it."""

    link: Link
    khz: Khz
    on: bool = False
    fled: bool = False


class Acting(RequestBody):
    """An act of a move that is done: one of `carriers.ACTS`, or all of them."""

    link: Link
    khz: Khz
    act: Literal["receiver", "listened", "transmitter", "heard", "all"] = "all"


class Free(RequestBody):
    """A carrier on which nobody is any more: the entry of who was there."""

    other: Annotated[str, Bounded(max_length=200)]


def waiting(request: Request) -> dict[str, Any]:
    """What the part shows: moves to be done, and carriers that were fled from."""
    desk, snapshot = desk_of(request), snapshot_of(request)
    return {
        "to_do": carriers.to_do(desk.store, snapshot, desk.watching.now_ns()),
        "fled": carriers.fled_from(snapshot),
    }


@router.get("/carrier/waiting")
def part(request: Request) -> Response:
    """Moves that are to be done."""
    return render(request, "carrier_waiting.html", waiting=waiting(request))


@router.post("/carrier/move")
def move(request: Request, to: MovedLink) -> dict[str, Any]:
    """A link is to go to another carrier: locked there, to be done by whoever has its ends, and whom to tell."""
    desk, snapshot, who = desk_of(request), snapshot_of(request), person_of(request).name
    id_, now_ns = snapshot.names.id_of("link", to.link), desk.watching.now_ns()
    amiss = [trouble for trouble in desk.troubles() if trouble.id == id_]
    episodes = [alarm.episode for alarm in desk.watching.shown() if alarm.open]
    causes = [trouble.cause for trouble in amiss] + [episode.cause for episode in episodes if episode.link == id_]
    disturbed = any(CAUSES[cause].by_others for cause in causes)
    text, change = carriers.move(
        desk.store, snapshot, id_, to.khz, now_ns, who, is_on=to.on, fled=to.fled or disturbed
    )
    later = anew(request)
    stands = any(step.id == id_ for step in carriers.to_do(desk.store, later, now_ns))
    if change is not None and stands:
        desk.store.happen(SWITCHED, id_, {"text": text.partition(" ")[2], "to_khz": to.khz}, None, who)
        for trouble in amiss:
            if trouble.ends == "over" and CAUSES[trouble.cause].spare_helps:
                end(desk.store, snapshot, trouble.key, who)  # what is to be done now is the move
        desk.watching.ask_besides()
    says = f"Changed: {text}."
    if stands:
        says += f" To be done at both ends. {_to_tell(later)}"
    return {"says": [says], "change": change and change.revision, "revision": later.revision}


def _to_tell(snapshot: Snapshot) -> str:
    names = [contact.name for contact in snapshot.shoot.contact] if snapshot.shoot is not None else []
    return f"Tell {', '.join(names)}." if names else "Tell whoever coordinates carriers here."


@router.post("/tick/carrier")
def done(request: Request, act: Acting) -> dict[str, Any]:
    """An act of a move is done, or all of it."""
    desk, snapshot, who = desk_of(request), snapshot_of(request), person_of(request).name
    id_ = snapshot.names.id_of("link", act.link)
    says, change = carriers.tick(desk.store, snapshot, id_, act.khz, act.act, who)
    if change is not None:
        desk.store.happen(SWITCHED, id_, {"text": "is set to the new carrier, and sounds clean"}, None, who)
    return {"says": [says], "change": change and change.revision, "revision": anew(request).revision}


@router.post("/carrier/free")
def free(request: Request, gone: Free) -> dict[str, Any]:
    """Somebody listened where we fled from, and nobody is there: it may be given again."""
    snapshot, store = snapshot_of(request), desk_of(request).store
    there = next((other for other in carriers.fled_from(snapshot) if other.id == gone.other), None)
    if there is None:
        raise InputError("that carrier is free already; load the page again")
    who = person_of(request).name
    change = store.remove(("other", there.id), who, seen_revision=snapshot.revision)
    store.happen("note", "", {"text": f"listened on {there.carrier} MHz: free"}, None, who)
    says = f"{there.carrier} MHz may be given again."
    return {"says": [says], "change": change and change.revision, "revision": anew(request).revision}
