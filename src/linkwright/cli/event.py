"""`linkwright event`: many crews' shoots in, one plan out."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from linkwright.cli.plan import Dask, Effort, Keep

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rich.console import Console

    from linkwright.plan.crews import CrewResult
    from linkwright.plan.model import Plan
    from linkwright.shoot.event import CrewFile, Merged


# long and wide: an argument or option of the command each
def run(
    files: Annotated[
        list[str], typer.Argument(help="shoot files: the event's own first, if there is one, then each crew's")
    ],
    out: Annotated[
        str | None, typer.Option("-o", "--out", help="write the plan here; - is standard output")
    ] = None,
    write_shoot: Annotated[
        str | None, typer.Option(help="write the event as one shoot here, for all other commands")
    ] = None,
    keep: Keep = None,
    json: Annotated[
        bool, typer.Option("--json", help="print the plan, the crews and what gave way as JSON")
    ] = False,
    effort: Effort = 0.25,
    workers: Annotated[
        int | None, typer.Option(min=1, max=256, help="processes for a large event; as many as cores by default")
    ] = None,
    dask: Dask = None,
) -> None:
    """Many crews, one plan: who has which carrier, who does not fit, and what would help.

    Exit status: 0 all links hold, 1 some do not or have no place, 2 bad input.
    """
    from linkwright.cli.output import console, progress, write_text
    from linkwright.cli.workers import work_for
    from linkwright.desk.loading import load_kept, load_sweeps, load_tv
    from linkwright.plan.crews import crews_of
    from linkwright.plan.file import write_plan
    from linkwright.plan.pipeline import make_plan
    from linkwright.shoot.event import merged
    from linkwright.shoot.writing import write_shoot as text_of

    whole = merged(_read(files))
    _check(whole)
    earlier = load_kept(keep) if keep else None
    with progress() as tell, work_for(whole.shoot, workers, dask) as run_:
        sweeps, tv = load_sweeps(whole.shoot, "-"), load_tv(whole.shoot, "-")
        made = make_plan(whole.shoot, sweeps, earlier, tell, tv=tv, run=run_, effort=effort)
    if write_shoot is not None:
        write_text(write_shoot, text_of(whole.shoot))
    if out is not None:
        write_text(out, write_plan(made))
    crews = crews_of(whole.shoot, made)
    if json and out != "-":
        _print_json(made, crews, whole.told)
    elif out != "-":
        _print(console(), made, crews, whole.told)
    raise typer.Exit(0 if made.all_hold else 1)


def _read(names: Sequence[str]) -> list[CrewFile]:
    """The files; the first may have no links. Raises InputError(s): everything that is wrong with any of them."""
    from linkwright.desk.loading import own_rules
    from linkwright.shoot.errors import InputError, raise_all
    from linkwright.shoot.event import CrewFile
    from linkwright.shoot.reading import MOST_BYTES, parse_part, read_text

    own_rules()
    crew_files: list[CrewFile] = []
    errors: list[InputError] = []
    twice = {name for n, name in enumerate(names) if name in names[:n]}
    for n, name in enumerate(dict.fromkeys(names)):
        try:
            if name == "-" or name in twice:
                says = "standard input" if name == "-" else "a file that is named twice"
                raise InputError(f"is {says}; expected a shoot file of each crew, each once", path=name)
            text = read_text(Path(name), name, MOST_BYTES)
            crew_files.append(CrewFile(name, str(Path(name).parent), parse_part(text, name, without_links=n == 0)))
        except InputError as error:
            errors.append(error)
    raise_all(errors)
    return crew_files


def _check(whole: Merged) -> None:
    """Whether the event fits together as one shoot. Raises InputError(s)."""
    from linkwright.shoot.checks import problems_of
    from linkwright.shoot.reading import errors_of

    problems = list(problems_of(whole.shoot))
    if problems:
        raise errors_of(problems, "", "the event")


def _print_json(plan: Plan, crews: Sequence[CrewResult], told: Sequence[str]) -> None:
    from dataclasses import asdict
    from json import loads

    from linkwright.cli.output import print_json
    from linkwright.plan.file import write_plan

    each = [{**asdict(crew), "unplaced": [_missing(*missing) for missing in crew.unplaced]} for crew in crews]
    print_json({"plan": loads(write_plan(plan)), "crews": each, "told": list(told)})


def _missing(call: str, link: str, because: str) -> dict[str, str]:
    return {"call": call, "link": link, "because": because}


def _print(out: Console, plan: Plan, crews: Sequence[CrewResult], told: Sequence[str]) -> None:
    """The answer, what gave way, a row a crew, and for each crew that does not fit what would help."""
    from rich.padding import Padding

    from linkwright.cli.output import print_table
    from linkwright.cli.plan import print_moves
    from linkwright.plan.answer import answer_sentence
    from linkwright.units import counted

    out.print(answer_sentence(plan), style="bold")
    for says in told:
        out.print(f"{says}.")
    out.print()
    columns = ("crew", "on the air", "hold", "thin", "fail", "no carrier")
    rows = [
        (crew.crew, *map(str, (crew.assignments, crew.holds, crew.thin, crew.fails, len(crew.unplaced))))
        for crew in crews
    ]
    print_table(out, columns, rows, right=columns[1:])
    for crew in crews:
        if crew.fits:
            continue
        out.print()
        out.print(
            f"{crew.crew}: {crew.assignments - crew.holds} of {counted(crew.assignments, 'assignment')}",
            style="bold",
        )
        for call, link, because in crew.unplaced:
            out.print(Padding(f"{link} has no carrier in {call}: {because}.", (0, 0, 0, 2)))
        for says in crew.helps:
            out.print(Padding(says, (0, 0, 0, 2)))
    print_moves(out, plan)
