"""`linkwright sheets`: what everybody gets in the hand."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

if TYPE_CHECKING:
    from linkwright.desk.planned import Planned
    from linkwright.progress import Tell


def run(
    shoot: Annotated[str, typer.Argument(help="the shoot file; - is standard input")],
    out: Annotated[str, typer.Option("-o", "--out", help="the folder that the files go into")],
    plan: Annotated[str | None, typer.Option(help="the plan to put on paper; default: plan now")] = None,
    paper: Annotated[str, typer.Option(help="a4 or us-letter")] = "a4",
    address: Annotated[
        str | None, typer.Option(help="where the pages are, such as http://192.168.1.20:8080, for the cards' codes")
    ] = None,
    only: Annotated[list[str] | None, typer.Option(help="one file only; may be given several times")] = None,
    json: Annotated[bool, typer.Option("--json", help="print the names of the files as JSON")] = False,
) -> None:
    """PDF, CSV and calendar files for everybody: crew, cards, coordination, contingency, pictures."""
    from linkwright.cli.output import console, print_json, progress
    from linkwright.desk.loading import load_shoot
    from linkwright.desk.planned import planned_scene
    from linkwright.units import counted

    read = load_shoot(shoot)
    with progress() as tell:
        planned = planned_scene(read, shoot, plan, tell)
        files = written(planned, out, paper, address, frozenset(only) if only else None, tell)
    if json:
        print_json({"folder": out, "files": files})
    else:
        out_console = console()
        out_console.print(f"{counted(len(files), 'file')} in {out}:")
        for file in files:
            out_console.print(f"  {file['file']}: {file['about']}")
    raise typer.Exit(0)


def written(
    planned: Planned, out: str, paper: str, address: str | None, only: frozenset[str] | None, tell: Tell
) -> list[dict[str, Any]]:
    """Write sheets into a folder; what each is. Raises InputError."""
    from linkwright.cli.output import write_bytes
    from linkwright.sheets.bundle import Sheets
    from linkwright.shoot.errors import InputError, did_you_mean

    if paper not in ("a4", "us-letter"):
        raise InputError(f'paper is "{paper}"; expected a4 or us-letter{did_you_mean(paper, ["a4", "us-letter"])}')
    folder = Path(out)
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(f"cannot be made a folder ({error.strerror})", path=out) from None
    sheets = Sheets(planned.scene, planned.plan, "a4" if paper == "a4" else "us-letter", address)
    files = []
    for name, data in sheets.made(tell, only):
        write_bytes(str(folder / name), data)
        files.append({"file": name, "about": sheets.about(name), "bytes": len(data)})
    return files
