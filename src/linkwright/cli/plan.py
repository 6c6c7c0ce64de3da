"""`linkwright plan`: the main job."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from rich.console import Console

    from linkwright.plan.model import Plan, PlannedCall, PlannedLink


#: Columns of numbers, and those that are left out first where there is no room.
RIGHT = ("MHz", "power", "in hand", "sure", "margin", "breaks")
DROP = ("breaks", "margin", "sure", "worst at", "spares")


Keep = Annotated[str | None, typer.Option(help="an earlier plan: move as few of its carriers as can be")]
Effort = Annotated[
    float, typer.Option(min=0.0, max=20.0, help="how long to look for something better; 0: the first plan")
]
Dask = Annotated[str | None, typer.Option(help="address of a Dask scheduler that carries the work")]


def run(
    shoot: Annotated[str, typer.Argument(help="the shoot file; - is standard input")],
    out: Annotated[
        str | None, typer.Option("-o", "--out", help="write the plan here; - is standard output")
    ] = None,
    keep: Keep = None,
    json: Annotated[bool, typer.Option("--json", help="print the plan as JSON")] = False,
    effort: Effort = 0.25,
    workers: Annotated[
        int | None, typer.Option(min=1, max=256, help="processes for a large shoot; as many as cores by default")
    ] = None,
    dask: Dask = None,
) -> None:
    """Plan a shoot: carriers, spares and powers, each link proved.

    Exit status: 0 all links hold, 1 some do not or have no place, 2 bad input.
    """
    from linkwright.cli.output import console, progress, write_text
    from linkwright.cli.workers import work_for
    from linkwright.desk.loading import load_kept, load_shoot, load_sweeps, load_tv
    from linkwright.plan.file import write_plan
    from linkwright.plan.pipeline import make_plan

    read = load_shoot(shoot)
    earlier = load_kept(keep) if keep else None
    with progress() as tell, work_for(read, workers, dask) as run_:
        made = make_plan(
            read, load_sweeps(read, shoot), earlier, tell, tv=load_tv(read, shoot), run=run_, effort=effort
        )
    if out is not None:
        write_text(out, write_plan(made))
    if json and out != "-":
        write_text("-", write_plan(made))
    elif out != "-":
        print_plan(console(), made)
    raise typer.Exit(0 if made.all_hold else 1)


def print_plan(out: Console, plan: Plan) -> None:
    """The plan for a tired reader: the answer, a table a call, then what must be known."""
    from linkwright.cli.output import print_findings
    from linkwright.plan.answer import answer_sentence
    from linkwright.plan.products import products_sentence

    out.print(answer_sentence(plan), style="bold")
    for call in plan.calls:
        out.print()
        print_call(out, call)
    out.print()
    for says, calls in _together((products_sentence(call), call.call) for call in plan.calls):
        where = f"{' and '.join(calls)}: " if len(calls) < len(plan.calls) else ""
        out.print(f"{where}{says}")
    for site, missed in dict.fromkeys((call.site, call.missed) for call in plan.calls):
        if missed is not None:
            out.print(
                f"The sweep of {site} misses a user on 5 % of the time with a chance of {100 * missed:.0f} %."
            )
    print_moves(out, plan)
    if plan.findings:
        out.print()
        print_findings(out, plan.findings)


def _together(pairs: Iterable[tuple[str, str]]) -> list[tuple[str, list[str]]]:
    """What is said of several, each sentence once with whom it is said of; empty sentences left out."""
    told: dict[str, list[str]] = {}
    for says, whom in pairs:
        if says:
            told.setdefault(says, []).append(whom)
    return list(told.items())


def print_moves(out: Console, plan: Plan) -> None:
    """How to go over from the earlier plan, in the order in which nobody is broken."""
    if plan.moves:
        out.print()
        out.print("Switch in this order:", style="bold")
    for move in plan.moves:
        before = f"from {move.before} " if move.before else ""
        remark = "" if move.clean else "; until the next step products fall on a carrier"
        out.print(f"{move.step}. {move.who} {before}to {move.after} MHz{remark}")


def print_call(out: Console, call: PlannedCall) -> None:
    """One call as a table."""
    from linkwright.cli.output import DISCS, STYLES, print_table
    from linkwright.plan.answer import heard_says, itself_says
    from linkwright.units import together

    bound = f", of at most {call.bound}" if call.bound is not None else ""
    weighed = ", weighed by power" if call.criterion == "power" else ""
    out.print(f"{call.call}, {call.site}: {len(call.links)} placed{bound}{weighed}")
    rows = [
        (
            link.link,
            link.carrier,
            ", ".join(link.spares) or "none",
            f"{link.power_mw:g} mW",
            f"{link.in_hand_db:.1f} dB",
            link.worst_place,
            sure_says(link),
            f"{link.margin_db:.1f} dB",
            breaks(link.breaks_per_hour),
            f"{DISCS[link.verdict]} {link.verdict}",
        )
        for link in call.links
    ]
    columns = ("link", "MHz", "spares", "power", "in hand", "worst at", "sure", "margin", "breaks", "verdict")
    print_table(out, columns, rows, right=RIGHT, drop=DROP)
    for link in call.links:
        if link.listeners:
            out.print(f"{link.link} {heard_says(link)}.")
    for alone in call.by_themselves or ():
        out.print(f"{alone.link}: {itself_says(alone)}.", style=STYLES[alone.verdict] or None)
    gone = [(gone.because, gone.link) for gone in call.unplaced]
    for because, names in _together(gone):
        out.print(f"{together(names)}: no carrier; {because}.", style="bold red")


def breaks(per_hour: float) -> str:
    """Seconds an hour with a break, as people say them."""
    if per_hour < 0.05:
        return "none"
    return f"{per_hour:.1f} s" if per_hour < 10 else f"{per_hour:.0f} s"


def sure_says(link: PlannedLink) -> str:
    """How sure a link is to keep to what is wanted; never rounded up."""
    return "over 99 % sure" if link.sure > 0.99 else f"{math.floor(100.0 * link.sure)} % sure"
