"""`linkwright mend`: what of a damaged job is whole, in a new one."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer


def run(
    job: Annotated[str, typer.Argument(help="the damaged job file; it is only read")],
    out: Annotated[str | None, typer.Option("-o", "--out", help="the new job; default: JOB-mended.lwjob")] = None,
) -> None:
    """Save what is whole of a damaged job into a new one, and list what is not.

    Exit status 0: all of it is whole. 1: something was lost, and is listed.
    """
    from linkwright.store.mend import mend

    path = Path(job)
    target = Path(out) if out else path.with_name(f"{path.stem}-mended.lwjob")
    said = mend(path, target)
    for line in said:
        typer.echo(line)
    typer.echo(f"What is whole is in {target}; {job} is as it was." if said else f"All is whole; {target} has it.")
    raise typer.Exit(1 if said else 0)
