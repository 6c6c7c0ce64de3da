"""The page Sheets: what does everybody get in the hand? And the carriers that crews swap."""

from __future__ import annotations

import io
import zipfile
from dataclasses import replace
from typing import Annotated, Any, Final, Literal

from fastapi import APIRouter, File, Query, Request, UploadFile
from fastapi.responses import Response
from pydantic import Field as Bounded
from starlette.concurrency import run_in_threadpool

from linkwright.desk.archive import NO_TIME
from linkwright.desk.fetch import fetch
from linkwright.desk.files import plain_name
from linkwright.desk.neighbouring import MOST_BYTES as MOST_LIST
from linkwright.desk.neighbouring import take_list
from linkwright.desk.snapshot import Snapshot
from linkwright.desk.wrap import REPORT_PX, picture, wrapped
from linkwright.door.gate import person_of
from linkwright.sheets.bundle import WRAP_FILES, Sheets
from linkwright.sheets.carriers import carriers_csv, carriers_json
from linkwright.shoot.errors import InputError
from linkwright.units import number_word
from linkwright.watch.figures.day_figures import WrapUp
from linkwright.web.answers import KEEP_OUT, RequestBody, desk_of, file_response, pages_of, render, snapshot_of
from linkwright.web.pages.edit import told

router = APIRouter()

Paper = Annotated[Literal["a4", "us-letter"], Query()]
TYPES: Final = {
    "pdf": "application/pdf",
    "csv": "text/csv",
    "ics": "text/calendar",
    "json": "application/json",
}
#: How long a file waits until the readings have been gone through [s].
MOST_WAIT_S: Final = 600.0


def sheets_of(request: Request, paper: Literal["a4", "us-letter"] = "a4", *, named: bool = False) -> Sheets:
    """The sheets of the newest plan; `named`: for their names only. Raises InputError while there is none."""
    made, addresses = snapshot_of(request).planned(), pages_of(request).lan.urls
    return Sheets(made.scene, made.plan, paper, addresses[0] if addresses else None, wrap_of(request, named=named))


def wrap_of(request: Request, *, named: bool) -> WrapUp | None:
    """What happened, with its picture unless it is for names only; None where nothing was read."""
    desk, snapshot = desk_of(request), snapshot_of(request)
    if not desk.wrapping.attachments():
        return None
    desk.wrapping.begin(snapshot)
    if not desk.wrapping.wait(0.0 if named else MOST_WAIT_S):
        return None
    wrap = wrapped(desk, snapshot, 0.0 if named else MOST_WAIT_S)
    if not wrap.figures:
        return None
    return wrap if named else replace(wrap, svg=picture(wrap, desk.wrapping, REPORT_PX))


def answer(snapshot: Snapshot) -> str:
    """The answer of the page as a sentence."""
    plan = snapshot.plan
    if plan is None:
        return "There is nothing to hand out before there is a plan."
    links = {link.link for call in plan.calls for link in call.links}
    late = " The shoot has changed since; wait for the new plan." if snapshot.plan_is_old else ""
    return f"{_many(len(links), 'link')} in {_many(len(plan.calls), 'call').lower()}, on paper for everybody.{late}"


def _many(count: int, word: str) -> str:
    return f"{number_word(count).capitalize()} {word}{'' if count == 1 else 's'}"


@router.get("/sheets")
def page(request: Request, paper: Paper = "a4") -> Response:
    """The page."""
    try:
        sheets = sheets_of(request, paper, named=True)
        readers = [(who, [(name, sheets.about(name)) for name in files]) for who, files in sheets.by_reader()]
    except InputError:
        readers = []
    return render(
        request, "sheets.html", answer=answer(snapshot_of(request)), readers=readers, paper=paper,
        codes=bool(pages_of(request).lan.urls),
    )  # fmt: skip


@router.get("/sheets/file/{name}")
def one_file(request: Request, name: str, paper: Paper = "a4") -> Response:
    """One file, made now."""
    sheets = sheets_of(request, paper, named=name not in WRAP_FILES)
    ((_, data),) = sheets.made(only=frozenset({name}))
    return file_response(name, data, TYPES[name.rpartition(".")[2]])


@router.get("/sheets/preview/{name}")
def look(request: Request, name: str, paper: Paper = "a4") -> Response:
    """The first page of a PDF as a picture."""
    svg = sheets_of(request, paper, named=name not in WRAP_FILES).previewed(name)
    return Response(svg, media_type="image/svg+xml", headers=KEEP_OUT)


@router.get("/sheets.zip")
def everything(request: Request, paper: Paper = "a4") -> Response:
    """All files in one archive."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in sheets_of(request, paper).made():
            archive.writestr(zipfile.ZipInfo(name, NO_TIME), data, zipfile.ZIP_DEFLATED)
    return file_response("sheets.zip", out.getvalue(), "application/zip")


@router.post("/sheets/neighbours")
async def neighbours(request: Request, file: Annotated[UploadFile, File()]) -> dict[str, Any]:
    """A list of another crew's carriers: they become others of the shoot, and what they do to our plan is told."""
    data = await file.read(MOST_LIST + 1)
    if len(data) > MOST_LIST:
        raise InputError(f"the list has more than {MOST_LIST // 1024 // 1024} MiB; expected a list of carriers")
    name = plain_name(file.filename or "list")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise InputError(f"is not UTF-8 text (byte {error.start}); expected CSV or JSON", path=name) from None
    return await run_in_threadpool(_take, request, name, text)


class FromAddress(RequestBody):
    """Where another crew serves its list, with its token and the SHA-256 of its certificate, where it has them."""

    address: Annotated[str, Bounded(max_length=1000)]
    token: Annotated[str, Bounded(max_length=200)] = ""
    fingerprint: Annotated[str, Bounded(max_length=200)] = ""


@router.post("/sheets/fetch")
def fetched(request: Request, of: FromAddress) -> dict[str, Any]:
    """A list of another crew's carriers from where they serve it: fetched now, and taken in."""
    download = fetch(of.address.strip(), of.token.strip(), of.fingerprint.strip())
    answered = _take(request, download.address, download.text)
    return {**answered, "says": [*answered["says"], f"{download.says}."]}


@router.get("/list/{name}")
def our_list(request: Request, name: Literal["carriers.csv", "carriers.json"]) -> Response:
    """Our carriers as an open list, for other crews' programs: with a key of Connect that gives no more."""
    made = snapshot_of(request).planned()
    if name == "carriers.json":
        return Response(carriers_json(made.shoot, made.plan), media_type="application/json", headers=KEEP_OUT)
    return Response(carriers_csv(made.shoot, made.plan), media_type="text/csv", headers=KEEP_OUT)


def _take(request: Request, name: str, text: str) -> dict[str, Any]:
    taken = take_list(desk_of(request).store, snapshot_of(request), name, text, person_of(request).name)
    return told(request, taken.change, says=list(taken.says))
