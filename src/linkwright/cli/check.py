"""`linkwright check`: the input, judged."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from collections.abc import Sequence

    from linkwright.plan.model import Finding
    from linkwright.shoot.models import Shoot


def run(
    shoot: Annotated[str, typer.Argument(help="the shoot file; - is standard input")],
    plan: Annotated[
        str | None,
        typer.Option(help="the plan whose carriers are held against the permits; default: the one beside"),
    ] = None,
    json: Annotated[bool, typer.Option("--json", help="print the findings as JSON")] = False,
) -> None:
    """Read a shoot and judge it, without planning; and say which carriers of its plan stand on no permit yet.

    Exit status: 0 nothing stops it, 1 something does, 2 bad input.
    """
    from linkwright.cli.output import print_json
    from linkwright.desk.loading import load_shoot, load_sweeps, load_tv
    from linkwright.desk.planned import standing
    from linkwright.plan.chain import scene_of
    from linkwright.plan.pipeline import check_shoot
    from linkwright.sheets.application import wanted, without_permit

    read = load_shoot(shoot)
    sweeps, tv = load_sweeps(read, shoot), load_tv(read, shoot)
    findings = check_shoot(read, sweeps, tv)
    scene = scene_of(read, sweeps, tv)
    there = standing(scene, shoot, plan)
    lacking = [] if there is None else without_permit(scene.shoot, wanted(scene, there[0]))
    stops = sum(finding.severity == "stop" for finding in findings)
    if json:
        print_json(
            {
                "shoot": read.shoot.title,
                "links": len(read.link),
                "sites": len(read.site) or 1,
                "calls": len(read.call) or 1,
                "findings": [finding.model_dump(mode="json") for finding in findings],
                "without_permit": lacking,
            }
        )
    else:
        _print(read, findings, stops, lacking)
    raise typer.Exit(1 if stops else 0)


def _print(read: Shoot, findings: Sequence[Finding], stops: int, lacking: Sequence[str]) -> None:
    from linkwright.cli.output import console, print_findings
    from linkwright.units import counted

    out = console()
    judged = "nothing stops it" if not stops else f"{counted(stops, 'thing')} to put right first"
    out.print(f"{read.shoot.title}: {counted(len(read.link), 'link')}; {judged}.", style="bold")
    print_findings(out, findings)
    for says in lacking:
        out.print(f"{says} `linkwright apply` writes what an application asks.")
