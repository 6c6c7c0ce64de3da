"""Write the table of docs/roles.md: every route, and which roles it answers."""

from __future__ import annotations

import inspect
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Final

from fastapi import FastAPI
from starlette.routing import Route

from linkwright.door.may import why_not
from linkwright.store import Role, Store
from linkwright.web.app import create_app

PAGE: Final = Path(__file__).resolve().parents[1] / "docs" / "roles.md"
BEGIN, END = "<!-- roles: made by `make table` -->", "<!-- roles: end -->"
#: The columns: their heads, the role, and whether it is asked on the laptop itself.
COLUMNS: Final[tuple[tuple[str, Role | None, bool], ...]] = (
    ("laptop", "edit", True),
    ("edit", "edit", False),
    ("log", "log", False),
    ("look", "look", False),
    ("crew", "crew", False),
    ("list", "list", False),
    ("not paired", None, False),
)
#: What routes without a docstring do.
TOLD: Final = {
    "/": "Leads to the first page, a crew to its own.",
    "/events": "The stream of events.",
    "/static/{version}/{name:path}": "Style, scripts, faces.",
    "/openapi.json": "The description of all addresses.",
}


def routes(app: FastAPI) -> Iterator[tuple[str, str, str]]:
    """Method, address and what it does, of every route."""
    for route in app.routes:
        assert isinstance(route, Route), f"{route} is no route of its own, and would not be told"
        says = TOLD.get(route.path) or (inspect.getdoc(route.endpoint) or "").partition("\n\n")[0]
        assert says, f"{route.path} says nothing of what it does"
        for method in sorted((route.methods or set()) - {"HEAD"}):
            yield method, route.path, " ".join(says.split())


def table(app: FastAPI) -> str:
    """The table as Markdown."""
    heads = " | ".join(head for head, _, _ in COLUMNS)
    lines = [f"| address | {heads} | |", f"| --- |{' --- |' * len(COLUMNS)} --- |"]
    for method, path, says in sorted(routes(app), key=lambda row: (row[1], row[0])):
        cells = ("–" if why_not(role, method, path, on_laptop=home) else "yes" for _, role, home in COLUMNS)
        lines.append(f"| {method} {path} | {' | '.join(cells)} | {says.replace('|', ', ')} |")
    return "\n".join(lines)


def page() -> str:
    """The page with its table as it is now."""
    text = PAGE.read_text("utf-8")
    with tempfile.TemporaryDirectory() as folder, Store.open(Path(folder) / "job.lwjob", create=True) as store:
        made = table(create_app(store))
    before, after = text.partition(BEGIN)[0], text.partition(END)[2]
    return f"{before}{BEGIN}\n{made}\n{END}{after}"


def main() -> None:
    """Write it, or with --check say whether it is as it would be."""
    if "--check" in sys.argv[1:]:
        if PAGE.read_text("utf-8") != page():
            sys.exit("docs/roles.md is not as its routes are: run `make table`")
        return
    PAGE.write_text(page(), "utf-8")


if __name__ == "__main__":
    main()
