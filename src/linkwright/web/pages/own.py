"""The page of a crew, for its telephones: its own carriers, what changed and what to do, what it asks.

Everything here goes through the hatch of the store (`store/hatch.py`): no page of the coordinator's, no snapshot.
"""

from __future__ import annotations

import datetime
import zoneinfo
from typing import Annotated, Any, Final, Literal

from fastapi import APIRouter, Request
from fastapi.responses import Response, StreamingResponse
from pydantic import Field as Bounded

from linkwright.desk.crewkit import sent_kit
from linkwright.desk.crews import kit_chosen, kits
from linkwright.desk.crewsheet import sheet_of
from linkwright.door.gate import person_of
from linkwright.door.once import MOST_NAME
from linkwright.shoot.errors import InputError
from linkwright.store import Hatch, WantedLinks
from linkwright.store.hatch import MOST_KIT_BYTES
from linkwright.units import mhz_text
from linkwright.web.answers import KEEP_OUT, RequestBody, desk_of, pages_of

router = APIRouter()

Text = Annotated[str, Bounded(max_length=200)]
Note = Annotated[str, Bounded(max_length=2000)]
#: What a crew is told when it ticked.
DONE: Final = {"set": "set", "heard": "set, and sounds clean", "clear": "to be done again"}


class AskedLinks(RequestBody):
    """What a crew asks for: links, kit, site, one of its calls or a day and times, a note."""

    links: Annotated[int, Bounded(ge=1, le=200)] = 1
    kit: Annotated[str, Bounded(max_length=400)]
    site: Text = ""
    call: Text = ""
    date: Text = ""
    starts: Text = ""
    ends: Text = ""
    note: Note = ""


class ToldTrouble(RequestBody):
    """Trouble with a link (by id), or with none in particular."""

    link: Text = ""
    text: Note


class SentAlong(RequestBody):
    """The text of a bag's file."""

    text: Annotated[str, Bounded(max_length=MOST_KIT_BYTES)]


class Giving(RequestBody):
    """A request that is given back, with the state that the person saw."""

    request: Text
    seen: Text


class TickedCarrier(RequestBody):
    """A link in a call, the carrier that the person saw [kHz, 0: switch off], and what was done with it."""

    link: Text
    call: Text
    khz: Annotated[int, Bounded(ge=0, le=10_000_000)]
    act: Literal["set", "heard", "clear"]


def hatch_of(request: Request) -> Hatch:
    """The hatch of whoever asks: of its own crew, and of no other."""
    return desk_of(request).store.hatch(person_of(request).crew)


@router.get("/own")
def page(request: Request) -> Response:
    """The page."""
    return _render(request, "own.html")


@router.get("/own/body")
def body(request: Request) -> Response:
    """What of the page follows what happens."""
    return _render(request, "own_body.html")


@router.get("/own/events", include_in_schema=False)
async def events(request: Request) -> StreamingResponse:
    """That something of the crew's own has changed, and nothing else."""
    person = person_of(request)
    stream = pages_of(request).hub.stream(dict, frozenset(), person.device, person.lasts, person.crew)
    return StreamingResponse(stream, media_type="text/event-stream", headers=KEEP_OUT)


@router.post("/own/ask")
def ask(request: Request, asked: AskedLinks) -> dict[str, Any]:
    """Ask for carriers."""
    hatch, who = hatch_of(request), person_of(request).name
    kit = kit_chosen(asked.kit, hatch.own(), sent_kit(hatch.kit()))
    when = (
        {} if asked.call else {"date": _date(asked.date), "starts": _time(asked.starts), "ends": _time(asked.ends)}
    )
    wanted = WantedLinks(
        links=asked.links, transmitter=kit.transmitter, receiver=kit.receiver, site=asked.site, call=asked.call,
        note=asked.note, **when,
    )  # fmt: skip
    hatch.ask(wanted, who, once=_once(request))
    return {"says": ["Asked; the answer comes here."]}


def _once(request: Request) -> str:
    """The name of the action: sent again, to whichever process, it is done once."""
    return request.headers.get("x-once", "")[:MOST_NAME]


def _date(text: str) -> str:
    try:
        return datetime.date.fromisoformat(text).isoformat() if text else ""
    except ValueError:
        raise InputError(f'"{text}" is no day; expected one such as 2027-05-14') from None


def _time(text: str) -> str:
    try:
        return datetime.time.fromisoformat(text).isoformat() if text else ""
    except ValueError:
        raise InputError(f'"{text}" is no time; expected one such as 08:30') from None


@router.post("/own/trouble")
def trouble(request: Request, told: ToldTrouble) -> dict[str, Any]:
    """Report trouble."""
    hatch_of(request).trouble(told.link, told.text, person_of(request).name, once=_once(request))
    return {"says": ["Reported to whoever coordinates; keep listening."]}


@router.post("/own/kit")
def send_kit(request: Request, given: SentAlong) -> dict[str, Any]:
    """Send the crew's own kit along, to ask with."""
    kit = hatch_of(request).send_kit(given.text, person_of(request).name)
    return {"says": [f"Sent along: {kit.says}. Ask with it now."]}


@router.post("/own/give-back")
def give_back(request: Request, giving: Giving) -> dict[str, Any]:
    """Give back what was asked for, or take the question back."""
    hatch_of(request).give_back(giving.request, giving.seen, person_of(request).name)
    return {"says": ["Given back. Switch off what is still on."]}


@router.post("/own/tick")
def tick(request: Request, ticked: TickedCarrier) -> dict[str, Any]:
    """A carrier was set, or set and heard."""
    hatch_of(request).tick(ticked.link, ticked.call, ticked.khz, ticked.act, person_of(request).name)
    where = f"{mhz_text(ticked.khz)} MHz: {DONE[ticked.act]}." if ticked.khz else "Off, and done with."
    return {"says": [where]}


def _render(request: Request, template: str) -> Response:
    hatch, person = hatch_of(request), person_of(request)
    own, kit, now = hatch.own(), hatch.kit(), hatch.now()
    sheet = sheet_of(own, hatch.carriers(), hatch.requests(), now)
    context = {
        "person": person, "plain": pages_of(request).lan.plain, "job_title": own.title or "A new shoot", "own": own,
        "sheet": sheet, "answer": sheet.answer, "notices": hatch.notices(),
        "looked_into": hatch.looked_into(), "kit": kit, "kits": kits(own, sent_kit(kit)),
        "zone": zoneinfo.ZoneInfo(own.timezone), "mhz": mhz_text,
    }  # fmt: skip
    return pages_of(request).templates.TemplateResponse(request, template, context, headers=KEEP_OUT)
