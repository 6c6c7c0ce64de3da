"""Changing the shoot: one field, one entry, a paste, undo. Each change says what the person saw."""

from __future__ import annotations

import json
from typing import Annotated, Any, Final, Literal

from fastapi import APIRouter, File, Form, Request, UploadFile
from fastapi.responses import JSONResponse
from pydantic import BaseModel, ConfigDict
from pydantic import Field as Bounded
from starlette.concurrency import run_in_threadpool

from linkwright.desk.form.fields import entered, shown
from linkwright.desk.form.sections import INNER, LISTS, field_at
from linkwright.desk.job import MOST_UPLOAD, Job, named_files
from linkwright.shoot.catalogue import catalogue_names
from linkwright.shoot.errors import InputError
from linkwright.shoot.reading import parse_document
from linkwright.store import Change, Conflict
from linkwright.web.answers import job_of
from linkwright.web.security import person_of

router = APIRouter(prefix="/api")

Key = Annotated[str, Bounded(max_length=200)]
Path = Annotated[list[Key], Bounded(min_length=1, max_length=12)]
#: A paste of more cells than this is some other table.
MOST_CELLS: Final = 20_000


class Body(BaseModel):
    """A body that has what it should and nothing else."""

    model_config = ConfigDict(extra="forbid")


class FieldEdit(Body):
    """A field: where, what the person saw there as JSON, and what they typed."""

    path: Path
    seen: Annotated[str, Bounded(max_length=1_000_000)] = "null"
    text: Annotated[str, Bounded(max_length=1_000_000)] = ""


class EntryEdit(Body):
    """A new entry in a list, with what it begins with."""

    path: Path
    before: Key | None = None
    value: dict[str, str | float | bool] = {}


class PathEdit(Body):
    """Something that is removed or moved, as seen at a revision."""

    path: Path
    revision: Annotated[int, Bounded(ge=0, le=2**53)]
    before: Key | None = None


class Paste(Body):
    """Cells from a spreadsheet, put into a list from one entry and one field on."""

    path: Path
    entry: Key | None = None
    key: Key
    text: Annotated[str, Bounded(max_length=2_000_000)]


class NewEquipment(Body):
    """A type of equipment, from the catalogue or empty."""

    kind: Literal["transmitter", "receiver", "microphone", "recorder"]
    name: Annotated[str, Bounded(min_length=1, max_length=80)]
    use: Annotated[str, Bounded(max_length=80)] = ""


def told(job: Job, change: Change | None, **more: Any) -> dict[str, Any]:
    """What every change answers: where things stand now."""
    document = job.document()
    return {
        "revision": document.revision,
        "changed": change is not None,
        "problems": len(document.problems),
        "wrong": wrong_of(job),
        **more,
    }


def wrong_of(job: Job) -> list[list[Any]]:
    """All that is wrong, by path."""
    found: dict[tuple[str, ...], list[str]] = {}
    for problem in job.document().problems[:500]:
        found.setdefault(tuple(map(str, problem.path)), []).append(problem.says)
    return [[list(path), says] for path, says in found.items()]


@router.post("/field")
def field(request: Request, edit: FieldEdit) -> Any:
    """Put what was typed where the person saw something."""
    job, path = job_of(request), tuple(edit.path)
    known = field_at(path)
    if known is None:
        raise InputError(f"{', '.join(path)} is no field of a shoot")
    seen = _json(edit.seen)
    try:
        change = job.store.set_field(path, seen, entered(known, edit.text), person_of(request).name)
    except Conflict as conflict:
        theirs = {"theirs": shown(known, conflict.theirs), "seen": json.dumps(conflict.theirs), "who": conflict.who}
        return JSONResponse({"says": [str(conflict)], **theirs}, 409)
    now = job.store.document().at(*path)
    return told(job, change, text=shown(known, now), seen=json.dumps(now))


@router.post("/entry")
def entry(request: Request, edit: EntryEdit) -> dict[str, Any]:
    """A new entry in a list."""
    job = job_of(request)
    change = job.store.insert(tuple(edit.path), edit.value, person_of(request).name, before=edit.before)
    return told(job, change, path=list(change.path))


@router.post("/remove")
def remove(request: Request, edit: PathEdit) -> dict[str, Any]:
    """Remove what the person saw."""
    job = job_of(request)
    return told(job, job.store.remove(tuple(edit.path), person_of(request).name, seen_revision=edit.revision))


@router.post("/move")
def move(request: Request, edit: PathEdit) -> dict[str, Any]:
    """Put an entry before another, or last."""
    job, who = job_of(request), person_of(request).name
    return told(job, job.store.move(tuple(edit.path), who, before=edit.before, seen_revision=edit.revision))


@router.post("/undo")
def undo(request: Request) -> dict[str, Any]:
    """Take back one's own last change."""
    job = job_of(request)
    return told(job, job.store.undo(person_of(request).name))


@router.post("/redo")
def redo(request: Request) -> dict[str, Any]:
    """Do again what one took back last."""
    job = job_of(request)
    return told(job, job.store.redo(person_of(request).name))


@router.post("/paste")
def paste(request: Request, edit: Paste) -> dict[str, Any]:
    """Cells from a spreadsheet: existing entries take theirs in turn, further rows become new entries."""
    job, who, path = job_of(request), person_of(request).name, tuple(edit.path)
    model_fields = _fields_of_list(path)
    keys = [one.key for one in model_fields]
    if edit.key not in keys:
        raise InputError(f"{edit.key} is no column of this table")
    rows = [row.split("\t") for row in edit.text.replace("\r", "").rstrip("\n").split("\n")]
    if sum(map(len, rows)) > MOST_CELLS:
        raise InputError(f"the paste has more than {MOST_CELLS} cells; paste it in parts")
    columns = model_fields[keys.index(edit.key) :]
    ids = list(job.store.document().ids.get(path, ()))
    start = ids.index(edit.entry) if edit.entry in ids else len(ids)
    change = None
    for n, row in enumerate(rows):
        values = {one.key: entered(one, text) for one, text in zip(columns, row, strict=False)}
        if start + n < len(ids):
            for key, value in values.items():
                at = (*path, ids[start + n], key)
                change = job.store.set_field(at, job.store.document().at(*at), value, who) or change
        elif any(value is not None for value in values.values()):
            change = job.store.insert(path, {k: v for k, v in values.items() if v is not None}, who)
    return told(job, change)


def _fields_of_list(path: tuple[str, ...]) -> list[Any]:
    from linkwright.desk.form.fields import fields_of
    from linkwright.shoot.models import Call, Link
    from linkwright.shoot.place import Other, Site
    from linkwright.shoot.times import Run

    tops = {"site": Site, "link": Link, "other": Other, "call": Call, "run": Run}
    model = tops.get(path[0]) if len(path) == 1 else LISTS.get(path[-1]) if len(path) == 3 else None
    if model is None:
        raise InputError(f"{', '.join(path)} is no table that takes a paste")
    return [one for one in fields_of(model) if one.key not in LISTS and one.key not in INNER]


@router.post("/equipment")
def equipment(request: Request, new: NewEquipment) -> dict[str, Any]:
    """A type of equipment: of the catalogue, to be changed from there, or from nothing."""
    job = job_of(request)
    if new.use and new.use not in catalogue_names(new.kind):
        raise InputError(f"the catalogue has no {new.kind} {new.use}")
    value = {"use": new.use} if new.use else {}
    return told(job, job.store.set_field((new.kind, new.name), None, value, person_of(request).name))


@router.get("/state")
def state(request: Request, since: Annotated[int, Bounded(ge=0, le=2**53)] = 0) -> dict[str, Any]:
    """What others changed since a revision: values by path, all that is wrong, whether rows came or went."""
    job = job_of(request)
    document = job.document()
    changes = job.store.changes(since)
    values, shape = [], False
    for change in changes:
        if change.area != "document":
            continue
        known = field_at(tuple(map(str, change.path)))
        if known is None or change.what in ("insert", "move", "replace"):
            shape = True
            continue
        now = document.draft.at(*map(str, change.path))
        values.append(
            {"path": list(change.path), "text": shown(known, now), "seen": json.dumps(now), "who": change.who}
        )
    return {
        "revision": document.revision,
        "values": values,
        "shape": shape or len(changes) >= 1000,
        "wrong": wrong_of(job),
        "problems": len(document.problems),
    }


@router.post("/import")
async def import_file(request: Request, file: Annotated[UploadFile, File()]) -> dict[str, Any]:
    """A shoot file in place of what is there; it can be undone. Files that it names are dropped on the page Air."""
    job = job_of(request)
    if await file.read(4) == b"PK\x03\x04":
        return await run_in_threadpool(_import_archive, job, file, person_of(request).name)
    await file.seek(0)
    data = await file.read(16 * 1024 * 1024 + 1)
    if len(data) > 16 * 1024 * 1024:
        raise InputError("the file has more than 16 MiB; expected a shoot file")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise InputError(f"is not UTF-8 text (byte {error.start}); expected a shoot file") from None
    document = parse_document(text, file.filename or "the file")
    change = job.store.replace(document, person_of(request).name)
    there = {one.name for one in job.store.attachment_list()}
    return told(job, change, missing=[name for name in named_files(document) if name not in there])


def _import_archive(job: Job, file: UploadFile, who: str) -> dict[str, Any]:
    """The shoot of an archive, with the files that its sites name."""
    from linkwright.desk.archive import take_shoot

    change = take_shoot(file.file, plain_name(file.filename or "the archive"), job.store, who)
    there = {one.name for one in job.store.attachment_list()}
    return told(
        job, change, missing=[name for name in named_files(job.document().draft.document) if name not in there]
    )


@router.post("/attach")
async def attach(
    request: Request, file: Annotated[UploadFile, File()], site: Annotated[str, Form(max_length=200)] = "",
    use: Annotated[Literal["sweeps", "stations", "picture"], Form()] = "sweeps",
) -> dict[str, Any]:  # fmt: skip
    """A file for a site: a sweep, a list of stations, or the picture under its ground."""
    job, who = job_of(request), person_of(request).name
    name = plain_name(file.filename or "file")
    told_of = await run_in_threadpool(_attach, job, who, file, name, site, use)
    return told(job, None, **told_of)


def _attach(job: Job, who: str, file: UploadFile, name: str, site: str, use: str) -> dict[str, Any]:
    there = {one.name for one in job.store.attachment_list()}
    shown_name = name
    n = 2
    while shown_name in there and use != "picture":
        stem, dot, ending = name.rpartition(".")
        shown_name = f"{stem} {n}.{ending}" if dot else f"{name} {n}"
        n += 1
    attachment = job.store.attach(shown_name, file.file, who, most_bytes=MOST_UPLOAD, kind=use)
    says = []
    if use == "sweeps":
        try:
            readout = job.readout(attachment, shown_name)
            says = [f"{sweep.format}: {', '.join(sweep.understood)}" for sweep in readout.sweeps] or [
                f"{len(readout.heard)} carriers from a list"
            ]
        except InputError as error:
            job.store.detach(attachment, who)
            raise error
    if site and use in ("sweeps", "stations"):
        path = ("site", site, use)
        now = job.store.document().at(*path)
        value = [*(now if isinstance(now, list) else []), shown_name] if use == "sweeps" else shown_name
        job.store.set_field(path, now, value, who)
    return {"attachment": attachment, "name": shown_name, "says": says}


def plain_name(name: str) -> str:
    """The name of a file without folders; text to show, never a path."""
    plain = name.replace("\\", "/").rsplit("/", 1)[-1]
    return "".join(c for c in plain if c.isprintable())[:120] or "file"


def _json(text: str) -> Any:
    try:
        return json.loads(text)
    except (ValueError, RecursionError):
        raise InputError("what the page saw there is no JSON; load the page again") from None
