"""What pages answer with: templates, tables, and the job that they are about."""

from __future__ import annotations

import functools
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from fastapi import Request
from fastapi.responses import PlainTextResponse, Response
from fastapi.templating import Jinja2Templates

from linkwright.desk.job import Job
from linkwright.web.security import hash_of, is_loopback, person_of

if TYPE_CHECKING:
    from linkwright.sheets.tables import Value

HERE: Final = Path(__file__).parent


STATIC: Final = HERE / "static"


@functools.cache
def static_version() -> str:
    """One name for all our files as they are: with another content of any they have another address.

    One for all, since modules import each other by relative addresses: under two addresses one would run twice.
    """
    return hash_of(b"".join(path.read_bytes() for path in sorted(STATIC.iterdir()) if path.is_file()))


def static_url(name: str) -> str:
    """Where a file of ours is found; it may be kept there for good."""
    return f"/static/{static_version()}/{name}"


def render(request: Request, template: str, status: int = 200, **values: Any) -> Response:
    """A page or a part of one."""
    job: Job = request.app.state.job
    templates: Jinja2Templates = request.app.state.templates
    document = values.setdefault("document", job.document())
    header = document.draft.document.get("shoot")
    title = header.get("title") if isinstance(header, dict) else None
    context = {
        "person": person_of(request),
        "loopback": is_loopback(request),
        "planned": job.planned,
        "job_title": title if isinstance(title, str) and title else "A new shoot",
        "here": request.url.path.strip("/").partition("/")[0],
        **values,
    }
    return templates.TemplateResponse(request, template, context, status)


def csv_response(name: str, head: Sequence[str], rows: Iterable[Sequence[Value]]) -> Response:
    """A table for a spreadsheet, to be kept under a name."""
    from linkwright.sheets.tables import csv_text

    return csv_file(name, csv_text(head, rows))


def csv_file(name: str, text: str) -> Response:
    """A table that is text already, to be kept under a name."""
    return PlainTextResponse(
        text,
        media_type="text/csv",
        headers={"content-disposition": f'attachment; filename="{name}"', "cache-control": "no-store"},
    )


def job_of(request: Request) -> Job:
    """The job."""
    job: Job = request.app.state.job
    return job
