"""`linkwright day`: the schedule with setting up, battery changes, what to pack and what would save."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from rich.console import Console

    from linkwright.day.batteries import Day, LinkDay


def run(
    shoot: Annotated[str, typer.Argument(help="the shoot file; - is standard input")],
    plan: Annotated[str | None, typer.Option(help="take the powers of this plan; default: plan anew")] = None,
    picture: Annotated[str | None, typer.Option(help="draw the day into this file, .svg or .png")] = None,
    json: Annotated[bool, typer.Option("--json", help="print as JSON")] = False,
) -> None:
    """Will the batteries and the schedule hold? Calls with setting up, battery changes, what to pack.

    Cells are changed at the last chance that can be reached: in breaks or before a call. Exit status: 0 the day
    holds, 1 a change falls into a take, a chance is reached on the reserve only, or time is missing, 2 bad input.
    """
    from linkwright.cli.output import check_picture, console, print_json, progress, write_drawing
    from linkwright.day.report import document, troubles
    from linkwright.desk.loading import load_shoot
    from linkwright.desk.planned import planned_scene
    from linkwright.plan.batteries import day_with

    if picture is not None:
        check_picture(picture)
    read = load_shoot(shoot)
    with progress() as tell:
        day = day_with(read, planned_scene(read, shoot, plan, tell).plan)
    if picture is not None:
        from linkwright.draw.day import drawn_day

        write_drawing(picture, drawn_day(day))
    if json:
        print_json(document(day))
    else:
        print_day(console(), day)
    raise typer.Exit(1 if troubles(day) else 0)


def print_day(out: Console, day: Day) -> None:
    """The answer, the calls, the transmitters, what to pack, what would save."""
    from linkwright.cli.output import print_table
    from linkwright.day.report import WHEN, answer, clock, troubles
    from linkwright.lengths import hours

    out.print(answer(day), style="bold")
    against = troubles(day)
    if against:
        out.print(f"The day does not hold: {'; '.join(against)}.", style="yellow")
    out.print()
    first = next((call.span[0].date() for call in day.calls if call.span is not None), None)
    rows = []
    for call in day.calls:
        start, end = call.span or (None, None)
        breaks = ", ".join(f"{clock(a)} to {clock(b)}" for a, b in call.breaks) or "none"
        away = clock(call.leaves) if call.live.travel_min else ""
        up = f"{clock(call.sets_up)} ({call.set_up_min:.0f} min)" if call.span else f"{call.set_up_min:.0f} min"
        rows.append((call.live.name, call.live.site.name, away, up, clock(start, first), clock(end, first), breaks))
    print_table(out, ("call", "site", "leave", "set up", "from", "to", "breaks"), rows)
    for call in day.calls:
        if call.short_min >= 1.0:
            says = f"{call.live.name}: {call.short_min:.0f} min are missing after {call.after}."
            out.print(says, style="yellow")
    out.print()
    columns = ("link", "cells", "power", "draws", "lasts", "changes", "left at the end", "evidence")
    print_table(
        out,
        columns,
        [_row(link) for link in day.links],
        right=("power", "draws", "lasts", "left at the end"),
        drop=("evidence", "draws"),
    )
    if day.changes:
        out.print()
        changes = [(clock(c.at, first), c.who, f"{WHEN[c.when]} {c.call}", hours(c.left_h)) for c in day.changes]
        print_table(out, ("change at", "link", "where", "left then"), changes, right=("left then",))
    _print_rest(out, day)


def _row(link: LinkDay) -> tuple[str, ...]:
    from linkwright.day.report import clock
    from linkwright.lengths import hours

    return (
        link.who, f"{link.kit.cells.count} {link.kit.kind}", f"{link.power_mw:g} mW" if link.power_mw else "",
        f"{link.kit.drain_mw(link.power_mw):.0f} mW", f"{hours(link.run_h)} ± {100 * link.spread:.0f} %",
        ", ".join(clock(change.at) for change in link.changes) or "none",
        "" if link.end_h is None else hours(link.end_h), link.kit.evidence,
    )  # fmt: skip


def _print_rest(out: Console, day: Day) -> None:
    """What to pack, what would save, what is not known."""
    from linkwright.day.batteries import packing
    from linkwright.day.report import savings

    out.print()
    for pack in packing(day):
        kind = "charged " if pack.rechargeable else ""
        out.print(
            f"Pack {pack.used + pack.spare} {kind}{pack.kind} cells: {pack.used} in use and {pack.spare} spare."
        )
    for line in savings(day):
        out.print(line)
    for name in day.unknown:
        out.print(f"{name}: how long its cells last is not known; give its cells and what it draws.")
    out.print("Never mix cells, never charge primary cells; spare lithium cells travel in the cabin.")
