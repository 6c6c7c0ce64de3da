"""`linkwright demo`: the built-in shoot, planned, then with one carrier hit."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

import typer

if TYPE_CHECKING:
    from linkwright.plan.model import Plan
    from linkwright.shoot.models import Shoot

#: The other crew of the second plan: how strong and how far from the receiver (invented).
INTRUDER_MW = 50.0
INTRUDER_AT_M = (18.0, -6.0)


def run(
    json: Annotated[bool, typer.Option("--json", help="print both plans as JSON")] = False,
    no_serve: Annotated[bool, typer.Option("--no-serve", help="stop after the verdicts")] = False,
    port: Annotated[int, typer.Option(min=0, max=65535, help="port of the pages; 0 takes a free one")] = 8037,
) -> None:
    """Plan the built-in shoot, have one carrier hit and plan again around it, then serve its pages.

    The pages are those of a job of its own, which is thrown away at the end.
    """
    from linkwright.cli.output import console, print_json, progress
    from linkwright.cli.plan import print_plan
    from linkwright.plan.pipeline import make_plan

    shoot, sweeps = demo_shoot()
    with progress() as tell:
        first = make_plan(shoot, sweeps, None, tell)
        hit = with_intruder(shoot, first)
        second = make_plan(hit, sweeps, first, tell)
    if json:
        print_json({"plan": first.model_dump(mode="json"), "after_hit": second.model_dump(mode="json")})
        return
    out = console()
    out.print(f"{first.shoot} (invented)")
    print_plan(out, first)
    intruder = hit.other[-1]
    out.print()
    whose = first.calls[0].links[0].link
    out.print(f"Another crew comes up on {intruder.carrier_mhz:.3f} MHz, the carrier of {whose}.")
    out.print("The plan is made again; whoever can stay stays.")
    out.print()
    for finding in second.findings:
        if finding.code in ("moved", "carrier-changes"):
            out.print(f"{finding.says} {finding.do}")
    print_plan(out, second.model_copy(update={"findings": ()}))
    if not no_serve:
        out.print()
        serve_demo(port)


def serve_demo(port: int) -> None:
    """The pages of the built-in shoot, in a job that is thrown away at the end."""
    import importlib.resources
    from pathlib import Path

    from linkwright.cli.serve import serve_store
    from linkwright.desk.files import import_shoot
    from linkwright.halfway import folder
    from linkwright.store import Store

    with (
        folder() as place,
        importlib.resources.as_file(importlib.resources.files("linkwright.demo")) as demo,
        Store.open(Path(place) / "demo.lwjob", create=True) as store,
    ):
        import_shoot(store, demo / "shoot.toml", lambda _what: None)
        serve_store(store, port, lan=False, or_next=True)


def demo_shoot() -> tuple[Shoot, Any]:
    """The built-in shoot and its sweeps."""
    import importlib.resources

    from linkwright.desk.loading import load_sweeps
    from linkwright.shoot.reading import read_shoot

    with importlib.resources.as_file(importlib.resources.files("linkwright.demo")) as folder:
        path = folder / "shoot.toml"
        shoot = read_shoot(path, "demo shoot")
        return shoot, load_sweeps(shoot, str(path))


def with_intruder(shoot: Shoot, plan: Plan) -> Shoot:
    """The shoot with another crew's transmitter on the first link's carrier."""
    from linkwright.shoot.place import Other, Point

    call = plan.calls[0]
    x_m, y_m = INTRUDER_AT_M
    intruder = Other(
        name="Another crew",
        carrier_mhz=call.links[0].carrier_khz / 1000.0,
        radiated_mw=INTRUDER_MW,
        site=call.site,
        at=Point(x_m=x_m, y_m=y_m),
    )
    return shoot.model_copy(update={"other": (*shoot.other, intruder)})
