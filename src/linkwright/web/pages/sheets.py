"""The page Sheets: what does everybody get in the hand? And the carriers that crews swap."""

from __future__ import annotations

import io
import zipfile
from dataclasses import replace
from typing import Annotated, Any, Final, Literal

from fastapi import APIRouter, File, Query, Request, UploadFile
from fastapi.responses import Response
from starlette.concurrency import run_in_threadpool

from linkwright.desk.archive import NO_TIME
from linkwright.desk.job import Job
from linkwright.desk.places import learnings
from linkwright.desk.wrap import REPORT_PX, picture, wrap_up
from linkwright.desk.wrapping import Wrapping
from linkwright.plan.swapped import hits, hits_sentence
from linkwright.sheets.bundle import FILES, Sheets
from linkwright.sheets.wrap import WrapUp
from linkwright.shoot.carrier_list import neighbours_of
from linkwright.shoot.errors import InputError
from linkwright.web.answers import job_of, render
from linkwright.web.pages.edit import plain_name, told
from linkwright.web.security import person_of

router = APIRouter()

Paper = Annotated[Literal["a4", "us-letter"], Query()]
TYPES: Final = {
    "pdf": "application/pdf", "csv": "text/csv; charset=utf-8", "ics": "text/calendar; charset=utf-8",
    "json": "application/json",
}  # fmt: skip
#: The earliest time that a zip file can say: its files have no time of their own, so that the same plan gives the
#: Largest list of a neighbour [bytes].
MOST_LIST: Final = 8 * 1024 * 1024
#: How long a file waits until the readings have been gone through [s].
MOST_WAIT_S: Final = 600.0
#: Sheets that are shown as pictures on the page.
SHOWN: Final = ("crew.pdf", "cards.pdf", "coordination.pdf", "if-it-breaks-up.pdf")


def sheets_of(request: Request, paper: Literal["a4", "us-letter"] = "a4", *, named: bool = False) -> Sheets:
    """The sheets of the newest plan; `named`: for their names only. Raises InputError while there is none."""
    job = job_of(request)
    scene, plan = job.scene(), job.planned.plan
    if scene is None or plan is None:
        raise InputError("there is no plan to put on paper yet; the pages Shoot and Plan say what is lacking")
    addresses: tuple[str, ...] = request.app.state.lan_urls
    return Sheets(scene, plan, paper, addresses[0] if addresses else None, wrap_of(request, named=named))


def wrap_of(request: Request, *, named: bool) -> WrapUp | None:
    """What happened, with its picture unless it is for names only; None where nothing was read."""
    wrapping: Wrapping = request.app.state.wrapping
    if not wrapping.attachments():
        return None
    wrapping.begin(job_of(request))
    if not wrapping.wait(0.0 if named else MOST_WAIT_S):
        return None
    learnt = tuple(line for one in learnings(job_of(request), wrapping.gone.by_site) for line in one.says)
    wrap = wrap_up(job_of(request), wrapping, request.app.state.listening, learnt, 0.0 if named else MOST_WAIT_S)
    if not wrap.figures:
        return None
    return wrap if named else replace(wrap, svg=picture(wrap, wrapping, REPORT_PX))


def answer(job: Job) -> str:
    """The answer of the page as a sentence."""
    plan = job.planned.plan
    if plan is None:
        return "There is nothing to hand out before there is a plan."
    links = {link.link for call in plan.calls for link in call.links}
    old = job.planned.of_revision != job.document().revision
    late = " The shoot has changed since; wait for the new plan." if old else ""
    many = "one link" if len(links) == 1 else f"{len(links)} links"
    return f"Sheets for {many} in {_calls(len(plan.calls))} are ready.{late}"


def _calls(count: int) -> str:
    return "one call" if count == 1 else f"{count} calls"


@router.get("/sheets")
def page(request: Request, paper: Paper = "a4") -> Response:
    """The page."""
    job = job_of(request)
    try:
        sheets = sheets_of(request, paper, named=True)
        files = [(name, sheets.about(name)) for name in sheets.names()]
    except InputError:
        files = []
    return render(
        request, "sheets.html", answer=answer(job), files=files, paper=paper, shown=SHOWN if files else (),
        plan_of=job.planned.of_revision, codes=bool(request.app.state.lan_urls),
        about=FILES,
    )  # fmt: skip


@router.get("/sheets/file/{name}")
def one_file(request: Request, name: str, paper: Paper = "a4") -> Response:
    """One file, made now."""
    sheets = sheets_of(request, paper)
    ((_, data),) = sheets.made(only=frozenset({name}))
    return Response(
        data,
        media_type=TYPES[name.rpartition(".")[2]],
        headers={"content-disposition": f'attachment; filename="{name}"', "cache-control": "no-store"},
    )


@router.get("/sheets/preview/{name}")
def look(request: Request, name: str, paper: Paper = "a4") -> Response:
    """The first page of a PDF as a picture."""
    return Response(
        sheets_of(request, paper).previewed(name), media_type="image/svg+xml", headers={"cache-control": "no-store"}
    )


@router.get("/sheets.zip")
def everything(request: Request, paper: Paper = "a4") -> Response:
    """All files in one archive."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in sheets_of(request, paper).made():
            archive.writestr(zipfile.ZipInfo(name, NO_TIME), data, zipfile.ZIP_DEFLATED)
    return Response(
        out.getvalue(),
        media_type="application/zip",
        headers={"content-disposition": 'attachment; filename="sheets.zip"', "cache-control": "no-store"},
    )


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


def _take(request: Request, name: str, text: str) -> dict[str, Any]:
    job = job_of(request)
    document = job.document()
    if document.shoot is None:
        raise InputError("the shoot is not whole yet; the page Shoot says what it lacks")
    found = neighbours_of(text, name, document.shoot)
    says = [f"{name}: {one}." for one in found.told]
    if not found.others:
        return told(job, None, says=[*says, f"{name} holds no carrier that is on here."])
    scene, plan = job.scene(), job.planned.plan
    if scene is not None and plan is not None:
        says.insert(0, hits_sentence(hits(scene, plan, found.others), len(found.others)))
    whole = document.draft.document
    more = [one.model_dump(by_alias=True, exclude_none=True, exclude_defaults=True) for one in found.others]
    grown = {**whole, "other": [*whole.get("other", []), *more]}
    change = job.store.replace(grown, person_of(request).name, seen_revision=document.revision)
    return told(job, change, says=says)
