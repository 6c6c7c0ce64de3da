"""What pages answer with: templates, tables, files, out of one snapshot of the job."""

from __future__ import annotations

import functools
import hashlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from fastapi import Request
from fastapi.responses import PlainTextResponse, Response
from fastapi.templating import Jinja2Templates
from pydantic import BaseModel, ConfigDict

from linkwright.desk.desk import Desk
from linkwright.desk.snapshot import Snapshot
from linkwright.door.book import Book
from linkwright.door.codes import Codes
from linkwright.door.gate import is_loopback, person_of
from linkwright.door.keeper import Keeper
from linkwright.door.lan import Lan
from linkwright.web.hub import Hub

if TYPE_CHECKING:
    from linkwright.sheets.tables import Value

STATIC: Final = Path(__file__).parent / "static"
#: What is not to be kept by a browser.
KEEP_OUT: Final = {"cache-control": "no-store"}


class RequestBody(BaseModel):
    """A body that has what it should and nothing else."""

    model_config = ConfigDict(extra="forbid")


@dataclass(frozen=True, slots=True)
class Pages:
    """What the application holds: the desk, who listens to it, its templates, its addresses on the network."""

    desk: Desk
    hub: Hub
    templates: Jinja2Templates
    book: Book
    lan: Lan
    codes: Codes
    keeper: Keeper = field(default_factory=Keeper)


def pages_of(request: Request) -> Pages:
    """What the application holds."""
    pages: Pages = request.app.state.pages
    return pages


def desk_of(request: Request) -> Desk:
    """The desk: the job, and all that is at work on it."""
    return pages_of(request).desk


def snapshot_of(request: Request) -> Snapshot:
    """The job as it stood when this answer was begun: the same for all of it."""
    there: Snapshot | None = getattr(request.state, "snapshot", None)
    return there or anew(request)


def anew(request: Request) -> Snapshot:
    """The job as it stands after a change that this request made."""
    now: Snapshot = desk_of(request).snapshot()
    request.state.snapshot = now
    return now


@functools.cache
def static_files() -> dict[str, Path]:
    """All our files by the names under which they are asked for."""
    return {path.relative_to(STATIC).as_posix(): path for path in sorted(STATIC.rglob("*")) if path.is_file()}


@functools.cache
def static_version() -> str:
    """One name for all our files as they are: with another content of any they have another address.

    One for all, since modules import each other by relative addresses: under two addresses one would run twice.
    """
    return hashlib.sha256(b"".join(path.read_bytes() for path in static_files().values())).hexdigest()[:16]


def static_url(name: str) -> str:
    """Where a file of ours is found; it may be kept there for good."""
    return f"/static/{static_version()}/{name}"


def render(request: Request, template: str, status: int = 200, **values: Any) -> Response:
    """A page or a part of one, out of one snapshot."""
    snapshot = snapshot_of(request)
    title = snapshot.document.draft.at("shoot", "title")
    context = {
        "person": person_of(request),
        "loopback": is_loopback(request),
        "plain": pages_of(request).lan.plain,
        "document": snapshot.document,
        "plan_of": -1 if snapshot.made is None else snapshot.made.revision,
        "marks": snapshot.marks(),
        "job_title": title if isinstance(title, str) and title else "A new shoot",
        "here": request.url.path.strip("/").partition("/")[0],
        **values,
    }
    return pages_of(request).templates.TemplateResponse(request, template, context, status, headers=KEEP_OUT)


def csv_response(name: str, head: Sequence[str], rows: Iterable[Sequence[Value]]) -> Response:
    """A table for a spreadsheet, to be kept under a name."""
    from linkwright.sheets.tables import csv_text

    return csv_file(name, csv_text(head, rows))


def csv_file(name: str, text: str) -> Response:
    """A table that is text already, to be kept under a name."""
    return file_response(name, text, "text/csv")


def file_response(name: str, data: str | bytes, media_type: str) -> Response:
    """A file to be kept under a name."""
    headers = {"content-disposition": f'attachment; filename="{name}"', **KEEP_OUT}
    content = data.encode() if isinstance(data, str) else data
    charset = "; charset=utf-8" if media_type.startswith("text/") else ""
    return Response(content, media_type=f"{media_type}{charset}", headers=headers)


def plain_text(text: str, status: int) -> Response:
    """A sentence, where no page of ours asks."""
    return PlainTextResponse(text, status)
