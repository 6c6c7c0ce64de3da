"""The page Wrap: what happened, and what did we learn?"""

from __future__ import annotations

import datetime
import json
import os
import tempfile
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Annotated, Any, Final

from fastapi import APIRouter, File, Query, Request, UploadFile
from fastapi.responses import FileResponse, Response
from pydantic import Field as Bounded
from starlette.concurrency import run_in_threadpool

from linkwright.desk.answers import answers_of, say_afterwards
from linkwright.desk.files import plain_name
from linkwright.desk.kit_causes import kit_says
from linkwright.desk.laying import SHORT_S
from linkwright.desk.wrap import (
    REPORT_PX,
    bounds,
    by_name,
    elsewhere,
    happenings_csv,
    learnt_of,
    picture,
    wrap_up,
    wrapped,
)
from linkwright.desk.wrap_run import MOST_LOG, Wrapping
from linkwright.door.gate import person_of
from linkwright.draw.ink import in_page_inks
from linkwright.halfway import prefix
from linkwright.sheets.wrap import (
    MOST_TOLD,
    figures_csv,
    link_rows,
    recording_row,
    shown,
    weightiest,
    wrap_csv,
    wrap_sheet,
)
from linkwright.shoot.errors import InputError
from linkwright.store import LOG
from linkwright.watch.diagnose.answers import Answer
from linkwright.watch.diagnose.causes import CAUSES
from linkwright.watch.diagnose.episodes import iso, moment, to_document
from linkwright.watch.figures.day_figures import AFTER_MS, ToldEpisode, WrapUp
from linkwright.web.answers import (
    KEEP_OUT,
    RequestBody,
    anew,
    csv_file,
    desk_of,
    file_response,
    render,
    snapshot_of,
)
from linkwright.web.pages.sheets import Paper, sheets_of

router = APIRouter()

Width = Annotated[int, Query(ge=300, le=2000)]
#: Times are ISO 8601 with their offset; nothing for the whole.
Time = Annotated[str, Query(max_length=40)]
#: The shortest stretch that is drawn [ms], and the longest: a year.
LEAST_MS: Final = 200
MOST_MS: Final = 366 * 86_400_000
#: So many episodes, the longest, are shown at once.
OPEN: Final = 12
#: Around an episode that is looked at, on either side [ms].
AROUND_MS: Final = 5_000
#: What goes into a file is waited for [s].
MOST_WAIT_S: Final = 3600.0


def wrapping_of(request: Request) -> Wrapping:
    """The job's readings, gone through as far as they are."""
    wrapping = desk_of(request).wrapping
    wrapping.begin(snapshot_of(request))
    return wrapping


def wrap_of(request: Request, wait_s: float = SHORT_S) -> WrapUp:
    """Everything that is told of the day, as far as it is known now."""
    wrapping_of(request)
    return wrapped(desk_of(request), snapshot_of(request), wait_s)


def whole(request: Request) -> WrapUp:
    """The same after everything has been gone through: for files."""
    wrapping_of(request).wait(MOST_WAIT_S)
    return wrap_of(request, MOST_WAIT_S)


def context(request: Request) -> dict[str, Any]:
    """Everything that the page shows."""
    wrapping, desk, snapshot = wrapping_of(request), desk_of(request), snapshot_of(request)
    lessons = learnt_of(desk, snapshot)
    wrap, work = wrap_up(desk, snapshot, lessons), desk.works["laying"].state
    longest = weightiest(wrap.episodes)[:MOST_TOLD]
    answers = by_name(answers_of(desk.store), snapshot.names)
    return {
        "answer": wrap.answer,
        "wrap": wrap,
        "busy": wrapping.busy,
        "laying": work.busy,
        "share": wrapping.background.state.share,
        "told": [line for line in (elsewhere(wrap, wrapping.gone), *wrapping.gone.told) if line],
        "episodes": _rows(longest[:OPEN], wrap.zone, answers),
        "shorter": _rows(longest[OPEN:], wrap.zone, answers),
        "left_out": len(wrap.episodes) - len(longest),
        "links": link_rows(wrap),
        "recordings": [recording_row(recording, wrap.zone) for recording in wrap.recordings],
        "events": [
            {"at": f"{moment(event.at_ms, wrap.zone):%H:%M:%S}", "kind": event.kind, "text": event.text}
            for event in wrap.events[:MOST_TOLD]
        ],
        "after_s": AFTER_MS // 1000,
        "learnings": lessons,
        "may_be": [(cause.name, cause.words) for cause in CAUSES.values() if cause.track is not None],
        "may_keep": desk.places is not None,
        "of_kit": kit_says(desk.store, snapshot),
        "logs": [attachment for attachment in wrapping.attachments() if attachment.kind == LOG],
    }


def _rows(episodes: list[ToldEpisode], zone: datetime.tzinfo, answers: Sequence[Answer]) -> list[dict[str, str]]:
    """Episodes in words, in the order of time, each with the stretch to look at."""
    rows = []
    for told in sorted(episodes, key=lambda told: told.episode.from_ms):
        episode = told.episode
        look = iso(episode.from_ms - AROUND_MS, zone), iso(episode.to_ms + AROUND_MS, zone)
        said = any(each.is_of(episode.link, episode.from_ms * 1_000_000) for each in answers)
        at_ms = str(episode.from_ms)
        rows.append({**shown(told, zone), "from": look[0], "to": look[1], "at_ms": at_ms, "said": "yes" * said})
    return rows


class WasThis(RequestBody):
    """What an episode of a link was that began then [ms, UTC]; without a cause, what was said is taken back."""

    link: Annotated[str, Bounded(max_length=200)]
    at_ms: int
    was: Annotated[str, Bounded(max_length=40)] = ""


@router.post("/wrap/was")
def was(request: Request, this: WasThis) -> dict[str, Any]:
    """Somebody says what an episode was: its causes are weighed anew, and it is learnt from."""
    desk, id_ = desk_of(request), snapshot_of(request).names.id_of("link", this.link)
    says = say_afterwards(desk.store, id_, this.at_ms * 1_000_000, this.was, person_of(request).name)
    desk.watching.answered_elsewhere()
    return {"says": [says]}


@router.get("/wrap")
def page(request: Request) -> Response:
    """The page."""
    return render(request, "wrap.html", **context(request))


@router.get("/wrap/body")
def body(request: Request) -> Response:
    """What of the page follows the readings."""
    return render(request, "wrap_body.html", **context(request))


@router.get("/api/wrap/picture")
def time_line(
    request: Request,
    width: Width = 1000,
    begin: Annotated[str, Query(alias="from", max_length=40)] = "",
    end: Annotated[str, Query(alias="to", max_length=40)] = "",
) -> dict[str, Any]:
    """The time line drawn: the whole, or between two times."""
    wrap, wrapping = wrap_of(request), wrapping_of(request)
    between = _between(begin, end)
    from_ms, to_ms = between or bounds(wrap, wrapping.gone)
    svg = in_page_inks(picture(wrap, wrapping, float(width), between))
    return {
        "svg": svg, "from": iso(from_ms, wrap.zone), "to": iso(to_ms, wrap.zone), "whole": between is None,
        "busy": wrapping.busy or desk_of(request).works["laying"].state.busy,
    }  # fmt: skip


def _between(begin: str, end: str) -> tuple[int, int] | None:
    """Two times [ms, UTC]; None for the whole. Raises InputError."""
    if not begin and not end:
        return None
    moments = []
    for what, text in (("from", begin), ("to", end)):
        try:
            at = datetime.datetime.fromisoformat(text.replace(" ", "+"))  # a "+" that was not escaped
            if at.tzinfo is None:
                raise ValueError
            moments.append(round(at.timestamp() * 1000.0))
        except (ValueError, OverflowError):
            says = f'{what} is "{text[:40]}"; expected ISO 8601 with offset, as 2027-05-14T14:32:00+01:00'
            raise InputError(says) from None
    if not LEAST_MS <= moments[1] - moments[0] <= MOST_MS:
        raise InputError("the stretch is shorter than 0.2 s or longer than a year; choose another one")
    return moments[0], moments[1]


@router.get("/wrap/report.pdf")
def report(request: Request, paper: Paper = "a4") -> Response:
    """The wrap report."""
    from linkwright.draw.ink import in_black
    from linkwright.sheets.content import header
    from linkwright.sheets.pdf import setting

    wrap, shoot = whole(request), snapshot_of(request).whole_shoot()
    svg = in_black(picture(wrap, wrapping_of(request), REPORT_PX))
    with setting(header(shoot, paper)) as set_one:
        data = set_one("wrap", {**wrap_sheet(wrap), "svg": svg})
    return file_response("wrap.pdf", data, "application/pdf")


@router.get("/wrap.csv")
def table(request: Request) -> Response:
    """Everything on the time line as one table."""
    return csv_file("wrap.csv", wrap_csv(whole(request)))


@router.get("/wrap/links.csv")
def statistics(request: Request) -> Response:
    """The statistics as a table."""
    return csv_file("links-of-the-day.csv", figures_csv(whole(request)))


@router.get("/wrap/episodes.json")
def episodes(request: Request) -> dict[str, Any]:
    """The episodes as `linkwright diagnose --json` has them."""
    wrap = whole(request)
    return to_document([told.episode for told in wrap.episodes], wrap.zone)


@router.get("/wrap/archive.zip")
def archive(request: Request) -> Response:
    """Everything of the job as one file, which opens again."""
    from starlette.background import BackgroundTask

    from linkwright.desk.archive import pack

    store, wrapping = desk_of(request).store, wrapping_of(request)
    whole(request)
    handle, name = tempfile.mkstemp(prefix=prefix(), suffix=".zip")
    path = Path(name)
    try:
        with os.fdopen(handle, "wb") as out:
            pack(store, out, wrapping.stretches(), _more(request))
    except BaseException:
        path.unlink(missing_ok=True)
        raise
    return FileResponse(
        path, media_type="application/zip", filename="job.zip", headers=KEEP_OUT,
        background=BackgroundTask(path.unlink, missing_ok=True),
    )  # fmt: skip


def _more(request: Request) -> Iterator[tuple[str, Callable[[], bytes]]]:
    """What else goes into the archive: plan, episodes, what happened, the sheets."""
    desk, snapshot, wrap = desk_of(request), snapshot_of(request), wrap_of(request)
    plan = snapshot.plan
    if plan is not None:
        from linkwright.plan.file import write_plan

        yield "plan.json", lambda: write_plan(plan).encode()
    told = to_document([episode.episode for episode in wrap.episodes], wrap.zone)
    yield "episodes.json", lambda: (json.dumps(told, indent=1, ensure_ascii=False) + "\n").encode()
    yield "happenings.csv", lambda: happenings_csv(desk, snapshot).encode()
    yield "wrap.csv", lambda: wrap_csv(wrap).encode()
    yield "wrap-links.csv", lambda: figures_csv(wrap).encode()
    try:
        sheets = sheets_of(request)
        made = dict(sheets.made()) if plan is not None else {}
    except InputError:
        made = {}
    for name, data in made.items():
        yield f"sheets/{name}", lambda data=data: data  # type: ignore[misc]


@router.post("/wrap/logs")
async def add_log(request: Request, file: Annotated[UploadFile, File()]) -> dict[str, Any]:
    """Take in a receiver's log, CSV or Parquet; it is gone through with the readings."""
    wrapping, who = wrapping_of(request), person_of(request).name
    name = plain_name(file.filename or "log")

    def keep() -> str:
        from linkwright.watch.log.reading import read_batches

        id_ = wrapping.store.attach(name, file.file, who, most_bytes=MOST_LOG, kind=LOG)
        try:
            attachment = next(attachment for attachment in wrapping.attachments() if attachment.id == id_)
            first = next(iter(read_batches(wrapping.file(attachment), name)), None)
            if first is None:
                raise InputError("has no readings; expected a receiver's log", path=name)
        except BaseException:  # whatever it is, the job is as it was
            wrapping.store.detach(id_, who)
            raise
        return ", ".join(first.names[:12])

    links = await run_in_threadpool(keep)
    wrapping.begin(anew(request))
    return {"says": [f"{name} is here, with readings of {links}"]}


@router.post("/wrap/logs/remove")
def remove_log(request: Request, of: Annotated[str, Query(max_length=80)]) -> dict[str, Any]:
    """Take a receiver's log away."""
    wrapping = wrapping_of(request)
    attachment = next(
        (attachment for attachment in wrapping.attachments() if attachment.id == of and attachment.kind == LOG),
        None,
    )
    if attachment is None:
        raise InputError("this log is not in the job any more; load the page again")
    wrapping.store.detach(of, person_of(request).name)
    wrapping.begin(anew(request))
    return {"says": [f"{attachment.name} is removed."]}
