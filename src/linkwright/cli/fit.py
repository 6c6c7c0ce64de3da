"""`linkwright fit`: room for more."""

from __future__ import annotations

from dataclasses import asdict
from typing import Annotated

import typer


def run(
    shoot: Annotated[str, typer.Argument(help="the shoot file; - is standard input")],
    json: Annotated[bool, typer.Option("--json", help="print as JSON")] = False,
) -> None:
    """How many more links of each type would fit, clean and without spares, with the proven limit."""
    from linkwright.cli.output import console, print_json, print_table, progress
    from linkwright.cli.workers import work_for
    from linkwright.desk.loading import load_shoot, load_sweeps, load_tv
    from linkwright.plan.fit import fit
    from linkwright.shoot.catalogue import called

    read = load_shoot(shoot)
    with progress() as tell, work_for(read, None, None) as work:
        rooms = fit(read, load_sweeps(read, shoot), tell, work, load_tv(read, shoot))
    if json:
        print_json({"types": [asdict(room) for room in rooms]})
        return
    out = console()
    least = min(rooms, key=lambda room: room.more)
    out.print(
        f"Room for at least {least.more} more of each type."
        if least.more
        else f"No room for more {called(least.transmitter)}."
    )
    rows = [
        (called(room.transmitter), room.site, str(room.placed), str(room.more), str(room.bound)) for room in rooms
    ]
    numbers = ("links", "more", "limit in all")
    print_table(out, ("transmitter", "tightest site", *numbers), rows, right=numbers)
