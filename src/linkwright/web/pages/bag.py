"""The page The bag: what this crew owns, kept for all shoots; every item is changed here."""

from __future__ import annotations

import datetime
import json
from typing import Annotated, Any

from fastapi import APIRouter, Query, Request
from fastapi.responses import JSONResponse, Response
from pydantic import Field as Bounded

from linkwright.desk import bagging
from linkwright.desk.bag import class_item, class_named
from linkwright.desk.bagging import Alter, card, says
from linkwright.desk.kit_causes import keep_with_kit, says_of
from linkwright.door.gate import person_of
from linkwright.shoot.bag import KINDS, permit_document, permit_of, write_bag
from linkwright.shoot.carrier_list import MOST_CHARACTERS
from linkwright.shoot.catalogue import called, catalogue_names
from linkwright.shoot.errors import InputError
from linkwright.store import Conflict
from linkwright.store.kitbook import BagChange, bag_of, changes, own_bag
from linkwright.units import counted, together
from linkwright.web.answers import RequestBody, desk_of, file_response, render, snapshot_of
from linkwright.web.pages.edit import FieldEdit, PathEdit
from linkwright.web.pages.prepare import bag_there

router = APIRouter(prefix="/bag")
Name = Annotated[str, Bounded(min_length=1, max_length=80)]


class NewItem(RequestBody):
    """An item that a crew owns: its class in words, its own name (else that of its class), how many."""

    use: Name
    name: Annotated[str, Bounded(max_length=80)] = ""
    count: Annotated[str, Bounded(max_length=10)] = "1"


class NewFigure(RequestBody):
    """What was measured of an item."""

    name: Name
    what: Name
    value: Annotated[str, Bounded(max_length=40)]
    power_mw: Annotated[str, Bounded(max_length=20)] = ""
    when: datetime.date
    how: Annotated[str, Bounded(max_length=200)]


class NoFigure(RequestBody):
    """A measurement that is taken out, by its place among the item's."""

    name: Name
    number: Annotated[int, Bounded(ge=0, le=1000)]


class Named(RequestBody):
    """Something of the bag by its name."""

    name: Name


class PastedTable(RequestBody):
    """A table as text: what a display shows, or a whole bag."""

    name: Annotated[str, Bounded(max_length=80)] = ""
    text: Annotated[str, Bounded(max_length=MOST_CHARACTERS)] = ""


def answer_of(bag: Any) -> str:
    """The sentence at the top."""
    if not bag.item:
        return "The bag is empty: put in what you own, and every shoot begins with it."
    many = {kind: sum(item.count for item in bag.of(kind)) for kind in KINDS}
    return f"In the bag: {together([counted(count, kind) for kind, count in many.items() if count])}."


def context() -> dict[str, Any]:
    """Everything that the page shows."""
    bag, wrong = bag_there()
    lines = changes()
    gone = {line.of for line in lines}
    return {
        "answer": wrong or answer_of(bag),
        "bag_says": wrong,
        "cards": [card(item) for item in bag.item],
        "permits": [(permit, bagging.permit_lists(permit)) for permit in bag.permit],
        "classes": {kind: [called(name) for name in catalogue_names(kind)] for kind in KINDS},
        "today": datetime.date.today(),
        "says_of": says_of,
        "lines": [(line, says(line), line.number not in gone) for line in reversed(lines[-30:])],
    }


def changed(request: Request, name: str, alter: Alter, **more: Any) -> dict[str, Any]:
    """Change an item of the bag."""
    return told(request, bagging.change(name, alter, person_of(request).name, now()), **more)


def told(request: Request, line: BagChange | None, **more: Any) -> dict[str, Any]:
    """What every change answers: what was done, and its way back."""
    back = {} if line is None else {"change": line.number, "back": f"/bag/back/{line.number}"}
    return {
        "revision": snapshot_of(request).revision, "wrong": [], "changed": line is not None,
        "says": [says(line)] if line is not None else [], **back, **more,
    }  # fmt: skip


def now() -> datetime.datetime:
    """The time of a change."""
    return datetime.datetime.now(datetime.UTC)


@router.get("")
def page(request: Request) -> Response:
    """The page."""
    return render(request, "bag.html", **context())


@router.get("/body")
def body(request: Request) -> Response:
    """What of the page is made anew when something changed."""
    return render(request, "bag_body.html", **context())


@router.get("/answer")
def said() -> dict[str, str]:
    """The sentence alone."""
    return {"answer": str(context()["answer"])}


@router.get("/kit.toml")
def download() -> Response:
    """The bag as a file, whole by itself."""
    return file_response("kit.toml", write_bag(own_bag()), "application/toml")


@router.post("/entry")
def add(request: Request, new: NewItem) -> dict[str, Any]:
    """A new item."""
    name = new.name.strip() or class_item_name(new.use)
    if not new.count.strip().isdigit():
        raise InputError(f'how many is "{new.count}"; expected a whole number')
    return changed(request, name, bagging.added(new.use, name, int(new.count)), path=["bag", name])


def class_item_name(words: str) -> str:
    """What an item is called by its class."""
    return class_item(class_named(words)).name


@router.post("/field")
def field(request: Request, edit: FieldEdit) -> Any:
    """Put what was typed where the person saw something."""
    if len(edit.path) < 3 or edit.path[0] != "bag":
        raise InputError("that is no field of the bag; load the page again")
    name, keys = edit.path[1], edit.path[2:]
    try:
        line = bagging.change(
            name, bagging.set_to(name, keys, edit.seen, edit.text), person_of(request).name, now()
        )
    except Conflict as conflict:
        theirs = json.dumps(conflict.theirs, default=str)
        shown = {"theirs": "" if conflict.theirs is None else theirs.strip('"'), "seen": theirs, "who": ""}
        return JSONResponse({"says": [str(conflict)], **shown}, 409)
    item = own_bag().named(edit.text.strip() if keys == ["name"] else name)
    cell = (
        next((field_cell for field_cell in bagging.cells_of(item) if list(field_cell.path[2:]) == keys), None)
        if item
        else None
    )
    more = {} if cell is None else {"text": cell.text, "seen": cell.seen}
    return told(request, line, **more, anew=keys in (["name"], ["mark"], ["count"]))


@router.get("/remove")
def goes_along(path: Annotated[str, Query(max_length=2000)]) -> dict[str, Any]:
    """What would go with an item, were it taken out."""
    return {"along": bagging.goes_along(bagging.owned(own_bag().named(name_in(path)), name_in(path)))}


def name_in(path: str) -> str:
    """The item that a path names. Raises InputError."""
    try:
        _, name = json.loads(path)
    except (ValueError, TypeError, RecursionError):
        name = None
    if not isinstance(name, str):
        raise InputError("that is no item of the bag; load the page again")
    return name


@router.post("/remove")
def remove(request: Request, edit: PathEdit) -> dict[str, Any]:
    """Take an item out."""
    name = edit.path[-1]
    return changed(request, name, lambda there: bagging.owned(there, name) and None)


@router.post("/measured")
def measure(request: Request, new: NewFigure) -> dict[str, Any]:
    """A measurement more."""
    try:
        at_mw = float(new.power_mw.replace(",", ".")) if new.power_mw.strip() else None
    except ValueError:
        raise InputError(f'the power step is "{new.power_mw}"; expected milliwatts') from None
    return changed(request, new.name, bagging.measured(new.name, new.what, new.value, new.how, at_mw, new.when))


@router.post("/unmeasured")
def unmeasure(request: Request, gone: NoFigure) -> dict[str, Any]:
    """A measurement less."""
    return changed(request, gone.name, bagging.unmeasured(gone.name, gone.number))


@router.post("/carriers")
def carriers(request: Request, table: PastedTable) -> dict[str, Any]:
    """What the display of an item shows."""
    return changed(request, table.name, bagging.listing(table.name, table.text))


@router.post("/import")
def take_in(request: Request, table: PastedTable) -> dict[str, Any]:
    """Another's bag into this one: items of one name are replaced."""
    came = bag_of(table.text.encode(), "the file")
    return told(request, bagging.take_in(came.held, person_of(request).name, now()))


@router.post("/confirmed")
def keep_confirmed(request: Request) -> dict[str, Any]:
    """Keep with the kit which causes of faults were confirmed on this job."""
    desk = desk_of(request)
    line = keep_with_kit(desk.store, snapshot_of(request), person_of(request).name, now())
    return told(request, line, **({} if line else {"says": ["The bag has it already."]}))


@router.post("/permits")
def keep_permits(request: Request) -> dict[str, Any]:
    """The licences of the shoot into the bag, for the next one."""
    shoot = snapshot_of(request).whole_shoot()
    if not shoot.permit:
        raise InputError("the shoot has no permit; the page The shoot takes them")
    permits = [permit_of({"region": shoot.shoot.region, **permit_document(permit)}) for permit in shoot.permit]
    return told(request, bagging.take_in(permits, person_of(request).name, now()))


@router.post("/permit/out")
def permit_out(request: Request, which: Named) -> dict[str, Any]:
    """A licence out of the bag."""
    return told(request, bagging.take_out_permit(which.name, person_of(request).name, now()))


@router.post("/back/{number}")
def back(request: Request, number: int) -> dict[str, Any]:
    """Take back a change of the bag."""
    line = bagging.take_back(number, person_of(request).name, now())
    return told(request, line, **({} if line else {"says": ["That was taken back already."]}))


@router.post("/undo")
def undo(request: Request) -> dict[str, Any]:
    """Take back one's own newest change of the bag."""
    line = bagging.undo(person_of(request).name, now())
    return told(request, line, **({} if line else {"says": ["Nothing is left to take back."]}))
