"""The page History: who changed what, when, from what to what; each change can be taken back."""

from __future__ import annotations

from typing import Annotated, Any, Final

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response

from linkwright.desk.history import lines
from linkwright.web.answers import desk_of, render, snapshot_of

router = APIRouter()

#: So many changes are shown at once.
SHOWN: Final = 100


@router.get("/marks")
def marks(request: Request) -> Response:
    """What of all pages is not as the job was typed: an older plan, entries that are set aside."""
    return render(request, "marks.html")


@router.get("/history")
def page(request: Request, before: Annotated[int, Query(ge=0, le=2**53)] = 0) -> Response:
    """The page."""
    return render(request, "history.html", **_context(request, before))


@router.get("/history/body")
def body(request: Request, before: Annotated[int, Query(ge=0, le=2**53)] = 0) -> Response:
    """What of the page follows the changes."""
    return render(request, "history_body.html", **_context(request, before))


def _context(request: Request, before: int) -> dict[str, Any]:
    snapshot = snapshot_of(request)
    changes = desk_of(request).store.newest_changes(SHOWN + 1, before or None)
    told = lines(changes, snapshot.names)[:SHOWN]
    older = told[-1].revision if len(changes) > SHOWN else 0
    of_crews = "" if all(line.back for line in told) else ", what crews asked on the page Crews"
    count = "One change" if len(told) == 1 else f"The last {len(told)} changes"
    answer = f"{count}, the newest first; each can be taken back{of_crews}." if told else "Nothing was changed yet."
    return {"answer": answer, "lines": told, "zone": snapshot.zone, "older": older, "before": before}
