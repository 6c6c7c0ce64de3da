"""`linkwright reach`: what is in hand spot by spot, best places, least power, and the ground as a picture."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Annotated, Any

import typer

if TYPE_CHECKING:
    from rich.console import Console

    from linkwright.plan.coverage import Reaching
    from linkwright.plan.model import Plan


def run(
    shoot: Annotated[str, typer.Argument(help="the shoot file; - is standard input")],
    link: Annotated[str | None, typer.Option(help="draw this link; default: the weakest")] = None,
    call: Annotated[str | None, typer.Option(help="of this call only; default: all calls")] = None,
    plan: Annotated[
        str | None, typer.Option(help="the plan to go by; default: the one beside the shoot, else a new one")
    ] = None,
    picture: Annotated[str | None, typer.Option(help="draw the ground into this file, .svg or .png")] = None,
    json: Annotated[bool, typer.Option("--json", help="print as JSON")] = False,
) -> None:
    """Will it reach? What each link has in hand at every spot of its route, with the plan's carriers and powers.

    Exit status: 0 all links hold, 1 some do not or have no carrier, 2 bad input.
    """
    from linkwright.cli.output import check_picture, console, print_json, progress
    from linkwright.desk.loading import load_shoot
    from linkwright.desk.planned import planned_scene
    from linkwright.plan.coverage import reaching

    if picture is not None:
        check_picture(picture)
    read = load_shoot(shoot)
    with progress() as tell:
        planned = planned_scene(read, shoot, plan, tell)
        made = planned.plan.model_copy(update={"calls": _calls(planned.plan, call)})
        by_call = [reaching(planned.scene, planned_call) for planned_call in made.calls]
        if picture is not None:
            from linkwright.cli.output import write_drawing
            from linkwright.draw.coverage import drawn_reach

            tell("drawing", 0.9)
            write_drawing(picture, drawn_reach(read, [way for several in by_call for way in several], link))
    if json:
        print_json(document(made, by_call))
    else:
        print_reach(console(), made, by_call)
    raise typer.Exit(0 if made.all_hold else 1)


def _alone(way: Reaching) -> dict[str, Any]:
    """The worst place, as if the talent were there all the time, which the plan tells of the way that decides."""
    of = way.planned
    if not way.decides:
        return {}
    return {"alone": {"spot": of.alone_at, "turn": of.alone_turn, "in_hand_db": of.alone_db}}


def _calls(plan: Plan, name: str | None) -> tuple[Any, ...]:
    """The calls of that name. Raises InputError, naming the nearest."""
    from linkwright.shoot.errors import InputError, did_you_mean

    if name is None:
        return plan.calls
    calls = tuple(call for call in plan.calls if call.call == name)
    if not calls:
        names = [call.call for call in plan.calls]
        near = did_you_mean(name, names) or f"; the calls are {', '.join(names[:20])}"
        raise InputError(f'there is no call "{name}"{near}')
    return calls


def _link(way: Reaching) -> dict[str, Any]:
    least = way.least()
    spots = [
        {
            "spot": spot.spot,
            "wanted_dbm": round(spot.wanted_dbm, 2),
            "margin_db": round(spot.margin_db, 2),
            "in_hand_db": spot.in_hand_db,
            "sure": round(spot.told.sure, 4),
            "availability": round(1.0 - spot.told.breaks_per_hour / 3600.0, 6),
            "breaks_per_hour": round(spot.told.breaks_per_hour, 2),
        }
        for spot in way.spots()
    ]
    return {
        "link": way.planned.link,
        **({"listener": way.listener.listener} if way.listener is not None else {}),
        "call": way.call,
        "site": way.chain.site.name,
        "carrier_khz": way.planned.carrier_khz,
        "power_mw": way.planned.power_mw,
        "verdict": way.told.verdict,
        "spots": spots,
        "in_hand_db": way.told.in_hand_db,
        **_alone(way),
        "least_power_mw": least.power_mw,
        "least_power_holds": least.holds,
        "saves_db": round(least.down_db, 2),
        "saves_drain_mw": None if least.drain_mw is None else round(least.drain_mw, 1),
    }


def document(plan: Plan, by_call: list[list[Reaching]]) -> dict[str, Any]:
    """What --json prints."""
    from linkwright.plan.coverage import answer, places_for

    links = [_link(way) for several in by_call for way in several]
    places = [
        {
            "call": several[0].call,
            "places": [
                {"spot": p.spot, "in_hand_db": round(p.in_hand_db, 2), "link": p.link} for p in places_for(several)
            ],
        }
        for several in by_call
        if several
    ]
    unplaced = [
        {"call": call.call, "link": gone.link, "because": gone.because}
        for call in plan.calls
        for gone in call.unplaced
    ]
    return {"says": answer(plan), "links": links, "best_places": places, "unplaced": unplaced}


def print_reach(out: Console, plan: Plan, by_call: list[list[Reaching]]) -> None:
    """The answer, a table a call, where antennas would stand best, and what less power would save."""
    from linkwright.cli.output import DISCS, print_table
    from linkwright.cli.plan import breaks
    from linkwright.plan.answer import hand_says, worst_says
    from linkwright.plan.coverage import answer, places_for

    out.print(answer(plan), style="bold")
    for call, several in zip(plan.calls, by_call, strict=True):
        out.print()
        out.print(f"{call.call}, {call.site}")
        rows = []
        for way in several:
            for n, spot in enumerate(way.spots()):
                rows.append(
                    (
                        way.name if n == 0 else "",
                        spot.spot,
                        f"{spot.wanted_dbm:.1f} dBm",
                        f"{spot.margin_db:.1f} dB",
                        f"{spot.in_hand_db:.1f} dB",
                        f"{math.floor(100.0 * spot.told.sure)} %",
                        breaks(spot.told.breaks_per_hour),
                        f"{DISCS[spot.verdict]} {spot.verdict}",
                    )
                )
        columns = ("link", "all the time at", "arrives", "margin", "in hand", "sure", "breaks", "verdict")
        print_table(out, columns, rows, right=("arrives", "margin", "in hand", "sure", "breaks"))
        for link in call.links:
            out.print(f"{link.link}: {hand_says(link)}. {worst_says(link)}.")
        for gone in call.unplaced:
            out.print(f"{gone.link}: no carrier; {gone.because}.", style="bold red")
        places = places_for(several)
        if len(places) > 1:
            told = ", ".join(f"{p.spot} {p.in_hand_db:.1f} dB ({p.link})" for p in places[:4])
            out.print(f"Antennas together at one spot, by the least in hand of all: {told}.")
        for way in several:
            if way.decides:
                _print_least(out, way)


def _print_least(out: Console, way: Reaching) -> None:
    """What the least power that holds saves against the highest step, where it saves anything."""
    least = way.least()
    if not least.holds or least.down_db < 0.05:
        return
    cells = ""
    if least.longer is not None and least.drain_mw:
        cells = f", draws {least.drain_mw:.0f} mW less (cells last {least.longer:.2f} times as long)"
    out.print(
        f"{way.planned.link} holds with {least.power_mw:g} mW: {least.down_db:.0f} dB under its most{cells}; "
        f"its products 2A-B fall by {least.products_db:.0f} dB."
    )
