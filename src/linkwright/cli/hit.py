"""`linkwright hit`: somebody is on a carrier; who moves where, in which order."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from rich.console import Console

    from linkwright.plan.model import Plan
    from linkwright.shoot.place import Other


# long and wide: an argument or option of the command each
def run(
    shoot: Annotated[str, typer.Argument(help="the shoot file, into which the stranger is written")],
    mhz: Annotated[str, typer.Argument(help="the carrier on which somebody is [MHz]")],
    dbm: Annotated[
        float | None, typer.Option(min=-150, max=20, help="its level at the receivers, as read [dBm]")
    ] = None,
    wide: Annotated[int, typer.Option(min=1, max=20_000, help="how wide it is [kHz]")] = 200,
    until: Annotated[str | None, typer.Option(help="until when it is on, such as 14:00; default: all day")] = None,
    on: Annotated[
        str | None, typer.Option(help="the day on which it is there, such as 2027-07-03; default: all")
    ] = None,
    site: Annotated[str | None, typer.Option(help="the site on which it is; default: the first")] = None,
    plan: Annotated[
        str | None, typer.Option(help="the plan that stands; default: the one beside the shoot, else a new one")
    ] = None,
    out: Annotated[
        str | None, typer.Option("-o", "--out", help="write the new plan here; default: beside the shoot")
    ] = None,
    json: Annotated[bool, typer.Option("--json", help="print the new plan as JSON")] = False,
) -> None:
    """Somebody is on a carrier: write them into the shoot, plan again with the fewest moves, tell how to switch.

    Without --dbm the least kind is assumed, and said: 50 mW, 10 m from the receivers. Exit status as for `plan`.
    """
    from linkwright.cli.options import clock_of, day_of
    from linkwright.cli.output import console, progress, write_text
    from linkwright.cli.why import whole_khz
    from linkwright.desk.loading import load_shoot
    from linkwright.desk.planned import planned_scene
    from linkwright.plan.file import write_plan
    from linkwright.plan.hit import stranger, with_stranger
    from linkwright.plan.periods import periods
    from linkwright.plan.pipeline import make_plan
    from linkwright.plan.replan import hit_by, pieces_of, replan
    from linkwright.shoot.errors import InputError

    if shoot == "-":
        raise InputError("writes the stranger into the shoot; expected a file, not standard input")
    read = load_shoot(shoot)
    other = stranger(
        read, whole_khz(mhz), heard_dbm=dbm, wide_khz=wide, until=clock_of(until, "--until"),
        on=None if on is None else day_of(on, "--on"), site=site,
    )  # fmt: skip
    with progress() as tell:
        before = planned_scene(read, shoot, plan, tell)
        if len(periods(before.scene)) > 1:  # a long event: only what hears him is planned again
            scene, changed = hit_by(before.scene, other)
            after = replan(pieces_of(before.scene, before.plan), scene, changed, tell).plan
        else:
            after = make_plan(with_stranger(read, other), before.sweeps, before.plan, tell, tv=before.tv)
    where = out or _free_name(Path(shoot))
    write_text(where, write_plan(after))
    write_text(shoot, _grown(Path(shoot).read_text("utf-8-sig"), other), grown=True)
    if where != "-":
        os.utime(where)  # it is of the shoot as it is now, not older
    if json:
        write_text("-", write_plan(after))
    else:
        _print(console(), other, shoot, where, after)
    raise typer.Exit(0 if after.all_hold else 1)


def _print(out: Console, other: Other, shoot: str, where: str, after: Plan) -> None:
    from linkwright.cli.output import print_findings
    from linkwright.cli.plan import print_call, print_moves
    from linkwright.plan.answer import answer_sentence

    told = "nobody has to move" if not after.moves else answer_sentence(after).rstrip(".")
    out.print(f"{other.name}: {told}.", style="bold")
    print_moves(out, after)
    out.print()
    for call in after.calls:
        print_call(out, call)
        out.print()
    about = {"other-assumed", "moved", "unplaced", "spare-missing"}
    print_findings(out, [finding for finding in after.findings if finding.code in about])
    out.print(f"Written into {shoot}; the new plan is {where}.")


def _grown(text: str, other: Other) -> str:
    """The text of a shoot file with one other more at its end; what stands there stays as it is."""
    import tomli_w

    table = tomli_w.dumps(other.model_dump(by_alias=True, exclude_unset=True, exclude_none=True))
    return f"{text.rstrip()}\n\n[[other]]\n{table}"


def _free_name(shoot: Path) -> str:
    """A name for a plan beside the shoot that no file has."""
    number = 1
    while (path := shoot.with_name(f"{shoot.stem}-plan-{number}.json")).exists():
        number += 1
    return str(path)
