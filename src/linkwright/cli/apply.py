"""`linkwright apply`: what an application for a permit asks."""

from __future__ import annotations

from typing import Annotated

import typer


def run(
    shoot: Annotated[str, typer.Argument(help="the shoot file; - is standard input")],
    out: Annotated[str, typer.Option("-o", "--out", help="the folder that the files go into")] = ".",
    plan: Annotated[
        str | None, typer.Option(help="the plan applied for; default: the one beside, else a new one")
    ] = None,
    paper: Annotated[str, typer.Option(help="a4 or us-letter")] = "a4",
    json: Annotated[bool, typer.Option("--json", help="print the rows as JSON")] = False,
) -> None:
    """What an application for a permit asks: carriers, powers, heights, places, times; as PDF and CSV.

    Says which carriers stand on no permit yet. The regulator's own form overrides. Exit status: 0 all stand on one,
    1 some do not, 2 bad input.
    """
    from linkwright.cli.output import console, print_json, progress
    from linkwright.cli.sheets import written
    from linkwright.desk.loading import load_shoot
    from linkwright.desk.planned import planned_scene
    from linkwright.sheets.application import wanted, without_permit

    read = load_shoot(shoot)
    with progress() as tell:
        planned = planned_scene(read, shoot, plan, tell)
        files = written(planned, out, paper, None, frozenset({"application.pdf", "application.csv"}), tell)
    rows = wanted(planned.scene, planned.plan)
    lacking = without_permit(planned.scene.shoot, rows)
    if json:
        print_json({"folder": out, "files": files, "rows": rows, "says": lacking})
    else:
        out_console = console()
        for says in lacking or ["Every carrier stands on a permit of the shoot, or is exempt."]:
            out_console.print(says)
        for file in files:
            out_console.print(f"  {file['file']}: {file['about']}")
    raise typer.Exit(1 if lacking else 0)
