"""`linkwright replay`: a receiver's log played again to the page Live."""

from __future__ import annotations

from typing import Annotated

import typer


def run(
    logs: Annotated[list[str], typer.Argument(help="receivers' logs, CSV or Parquet, in the order of time")],
    live: Annotated[str, typer.Option(help="where the readings go")] = "http://127.0.0.1:8037/log/readings",
    speed: Annotated[float, typer.Option(min=0.01, max=10000.0, help="so many times as fast")] = 1.0,
    mapping: Annotated[str | None, typer.Option(help="how other columns, units and clocks are read, TOML")] = None,
) -> None:
    """Play logs again as they were written, for the page Live of `linkwright serve`."""
    from pathlib import Path

    from linkwright.cli.diagnose import mapping_in
    from linkwright.cli.output import console
    from linkwright.cli.sending import send
    from linkwright.units import counted
    from linkwright.watch.log.reading import read_log

    how = mapping_in(mapping)
    for name in logs:
        log = read_log(Path(name), name, how)
        send(log.in_time(), live, speed)
        console().print(f"{name}: {counted(log.readings, 'reading')} played.")
