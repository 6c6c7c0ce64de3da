"""Changing the shoot: one field, one entry, a paste, undo. Each change says what the person saw."""

from __future__ import annotations

import json
from typing import Annotated, Any, Final, Literal

from fastapi import APIRouter, File, Form, Query, Request, UploadFile
from fastapi.responses import JSONResponse
from pydantic import Field as Bounded
from starlette.concurrency import run_in_threadpool

from linkwright.desk.editing import put, removal
from linkwright.desk.files import attach_to_site, missing_files, plain_name
from linkwright.desk.form.fields import entered, shown
from linkwright.desk.form.pasting import paste as put_cells
from linkwright.desk.form.sections import field_at
from linkwright.desk.history import told_of_change
from linkwright.door.gate import person_of
from linkwright.shoot.catalogue import catalogue_names, class_of
from linkwright.shoot.errors import InputError
from linkwright.shoot.reading import parse_document
from linkwright.store import Conflict, LoggedChange
from linkwright.web.answers import RequestBody, anew, desk_of, snapshot_of
from linkwright.web.queries import json_of, path_of

router = APIRouter(prefix="/api")
#: Fields whose change is seen in more than themselves: what may be ticked, what an item has from its class.
TO_MORE: Final = ("region", "permits", "accepts", "use")

Key = Annotated[str, Bounded(max_length=200)]
Path = Annotated[list[Key], Bounded(min_length=1, max_length=12)]


class FieldEdit(RequestBody):
    """A field: where, what the person saw there as JSON, and what they typed."""

    path: Path
    seen: Annotated[str, Bounded(max_length=1_000_000)] = "null"
    text: Annotated[str, Bounded(max_length=1_000_000)] = ""


class EntryEdit(RequestBody):
    """A new entry in a list, with what it begins with."""

    path: Path
    before: Key | None = None
    value: dict[str, str | float | bool | list[float]] = Bounded(default_factory=dict, max_length=200)


class PathEdit(RequestBody):
    """Something that is removed or moved, as seen at a revision."""

    path: Path
    revision: Annotated[int, Bounded(ge=0, le=2**53)]
    before: Key | None = None


class Paste(RequestBody):
    """Cells from a spreadsheet, put into a list from one entry and one field on."""

    path: Path
    entry: Key | None = None
    key: Key
    text: Annotated[str, Bounded(max_length=2_000_000)]


class NewEquipment(RequestBody):
    """A type of equipment, from the catalogue or empty."""

    kind: Literal["transmitter", "receiver", "microphone", "recorder"]
    name: Annotated[str, Bounded(min_length=1, max_length=80)]
    use: Annotated[str, Bounded(max_length=80)] = ""


class TakeBack(RequestBody):
    """A change that is taken back, by its revision."""

    revision: Annotated[int, Bounded(ge=1, le=2**53)]


def told(request: Request, change: LoggedChange | None, **more: Any) -> dict[str, Any]:
    """What every change answers: where things stand now, and what was done, in words."""
    now = anew(request)
    says = [told_of_change(change, now.names)] if change is not None else []
    return {
        "revision": now.revision,
        "changed": change is not None,
        "did": says,
        "change": None if change is None else change.revision,
        "problems": len(now.document.problems),
        "wrong": wrong_of(request),
        **more,
    }


def wrong_of(request: Request) -> list[list[Any]]:
    """All that is wrong, by path."""
    wrong: dict[tuple[str, ...], list[str]] = {}
    for problem in snapshot_of(request).document.problems[:500]:
        wrong.setdefault(tuple(map(str, problem.path)), []).append(problem.says)
    return [[list(path), says] for path, says in wrong.items()]


@router.post("/field")
def field(request: Request, edit: FieldEdit) -> Any:
    """Put what was typed where the person saw something."""
    desk, path = desk_of(request), tuple(edit.path)
    known = field_at(path)
    if known is None:
        raise InputError(f"{', '.join(path)} is no field of a shoot")
    seen = json_of(edit.seen)
    try:
        change = put(desk.store, desk.names(), path, seen, entered(known, edit.text), person_of(request).name)
    except Conflict as conflict:
        theirs = {"theirs": shown(known, conflict.theirs), "seen": json.dumps(conflict.theirs), "who": conflict.who}
        return JSONResponse({"says": [str(conflict)], **theirs}, 409)
    now = desk.store.document().at(*path)
    return told(request, change, text=shown(known, now), seen=json.dumps(now), anew=path[-1] in TO_MORE)


@router.post("/entry")
def entry(request: Request, edit: EntryEdit) -> dict[str, Any]:
    """A new entry in a list."""
    change = desk_of(request).store.insert(
        tuple(edit.path), edit.value, person_of(request).name, before=edit.before
    )
    return told(request, change, path=list(change.path))


@router.get("/remove")
def goes_along(request: Request, path: Annotated[str, Query(max_length=2000)]) -> dict[str, Any]:
    """What would go with something, were it removed."""
    return {"along": list(removal(snapshot_of(request).document.draft, path_of(path)).says)}


@router.post("/remove")
def remove(request: Request, edit: PathEdit) -> dict[str, Any]:
    """Remove what the person saw, with what goes with it."""
    store, path, who = desk_of(request).store, tuple(edit.path), person_of(request).name
    gone = removal(store.document(), path)
    if len(gone.fields) > 1:
        return told(request, store.set_fields(gone.fields, who))
    return told(request, store.remove(path, who, seen_revision=edit.revision))


@router.post("/move")
def move(request: Request, edit: PathEdit) -> dict[str, Any]:
    """Put an entry before another, or last."""
    who = person_of(request).name
    change = desk_of(request).store.move(tuple(edit.path), who, before=edit.before, seen_revision=edit.revision)
    return told(request, change)


@router.post("/undo")
def undo(request: Request) -> dict[str, Any]:
    """Take back one's own last change."""
    change = desk_of(request).store.undo(person_of(request).name)
    return told(request, change, **({} if change else {"did": ["Nothing is left to take back."]}))


@router.post("/redo")
def redo(request: Request) -> dict[str, Any]:
    """Do again what one took back last."""
    change = desk_of(request).store.redo(person_of(request).name)
    return told(request, change, **({} if change else {"did": ["There is nothing to do again."]}))


@router.post("/take-back")
def take_back(request: Request, edit: TakeBack) -> dict[str, Any]:
    """Take back any change that still stands, whoever made it."""
    change = desk_of(request).store.take_back(edit.revision, person_of(request).name)
    return told(request, change, **({} if change else {"did": ["That was taken back already."]}))


@router.post("/paste")
def paste(request: Request, edit: Paste) -> dict[str, Any]:
    """Cells from a spreadsheet: existing entries take theirs in turn, further rows become new entries."""
    desk, who = desk_of(request), person_of(request).name
    change = put_cells(desk.store, desk.names(), tuple(edit.path), edit.entry, edit.key, edit.text, who)
    return told(request, change)


@router.post("/equipment")
def equipment(request: Request, new: NewEquipment) -> dict[str, Any]:
    """A type of equipment: of the catalogue, to be changed from there, or from nothing."""
    if new.use and class_of(new.use) not in catalogue_names(new.kind):
        raise InputError(f"the catalogue has no {new.kind} {new.use}")
    value = {"use": new.use} if new.use else {}
    store, who = desk_of(request).store, person_of(request).name
    return told(request, store.set_field((new.kind, new.name), None, value, who))


@router.get("/state")
def state(request: Request, since: Annotated[int, Bounded(ge=0, le=2**53)] = 0) -> dict[str, Any]:
    """What others changed since a revision: values by path, all that is wrong, whether rows came or went."""
    document = snapshot_of(request).document
    changes = desk_of(request).store.changes(since)
    values, shape = [], False
    for change in changes:
        if change.area != "document":
            continue
        for path in change.paths():
            known = field_at(tuple(map(str, path)))
            if known is None or change.what in ("insert", "move", "replace"):
                shape = True
                continue
            shape = shape or path[-1] in TO_MORE
            now = document.draft.at(*map(str, path))
            values.append(
                {"path": list(path), "text": shown(known, now), "seen": json.dumps(now), "who": change.who}
            )
    return {
        "revision": document.revision,
        "values": values,
        "shape": shape or len(changes) >= 1000,
        "wrong": wrong_of(request),
        "problems": len(document.problems),
    }


@router.post("/import")
async def import_file(request: Request, file: Annotated[UploadFile, File()]) -> dict[str, Any]:
    """A shoot file in place of what is there; it can be undone. Files that it names are dropped on the page Air."""
    store, who = desk_of(request).store, person_of(request).name
    if await file.read(4) == b"PK\x03\x04":
        from linkwright.desk.archive import take_shoot

        name = plain_name(file.filename or "the archive")
        change = await run_in_threadpool(take_shoot, file.file, name, store, who)
        return told(request, change, missing=missing_files(store, store.document().document))
    await file.seek(0)
    data = await file.read(16 * 1024 * 1024 + 1)
    if len(data) > 16 * 1024 * 1024:
        raise InputError("the file has more than 16 MiB; expected a shoot file")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise InputError(f"is not UTF-8 text (byte {error.start}); expected a shoot file") from None
    document = parse_document(text, file.filename or "the file")
    change = store.replace(document, who)
    return told(request, change, missing=missing_files(store, document))


@router.post("/attach")
async def attach(
    request: Request,
    file: Annotated[UploadFile, File()],
    site: Annotated[str, Form(max_length=200)] = "",
    use: Annotated[Literal["sweeps", "stations", "picture"], Form()] = "sweeps",
) -> dict[str, Any]:
    """A file for a site: a sweep, a list of stations, or the picture under its ground."""
    desk, name, who = desk_of(request), plain_name(file.filename or "file"), person_of(request).name
    attachment, called, says = await run_in_threadpool(
        attach_to_site, desk.store, desk.files, file.file, name, site, use, who
    )
    return told(request, None, attachment=attachment, name=called, says=says)


@router.post("/work/{name}/{what}")
def work(request: Request, name: str, what: Literal["again", "stop"]) -> dict[str, Any]:
    """Try again what failed in the background, or stop what is under way."""
    works = desk_of(request).works
    if name not in works:
        raise InputError(f"there is no work called {name[:40]}")
    if what == "stop":
        works[name].stop()
        return {"says": ["Stopped."]}
    tried = works[name].again()
    return {"says": ["It is tried again." if tried else "There is nothing to try again."]}
