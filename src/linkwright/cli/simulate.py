"""`linkwright simulate`: plays the plan's physics as receiver readings, with seeded faults."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from linkwright.progress import Tell
    from linkwright.watch.log.record import Batch
    from linkwright.watch.play.course import Course
    from linkwright.watch.play.effects import PlayedFault


# long and wide: an argument or option of the command each
def run(
    shoot: Annotated[str, typer.Argument(help="the shoot file; - is standard input")],
    plan: Annotated[str | None, typer.Option(help="play this plan; default: plan anew")] = None,
    seed: Annotated[int, typer.Option(min=0, help="seed of every draw")] = 1,
    hours: Annotated[float | None, typer.Option(min=0.01, max=48.0, help="play each call so long at most")] = None,
    rate: Annotated[float, typer.Option(min=0.1, max=50.0, help="readings a second and link [Hz]")] = 10.0,
    faults: Annotated[str, typer.Option(help="causes with commas between; all or none")] = "all",
    each: Annotated[float, typer.Option(min=0.1, max=30.0, help="faults an hour and link")] = 6.0,
    out: Annotated[
        str | None, typer.Option("-o", "--out", help="write the log here, .csv or .parquet; - is standard output")
    ] = None,
    truth: Annotated[str | None, typer.Option(help="write what was played, as JSON")] = None,
    live: Annotated[str | None, typer.Option(help="send the readings to this address, as they would come")] = None,
    speed: Annotated[float, typer.Option(min=0.01, max=10000.0, help="with --live: so many times as fast")] = 1.0,
    json: Annotated[bool, typer.Option("--json", help="print what was played as JSON")] = False,
) -> None:
    """Play a shoot as a receiver's readings: levels along the routes, fading, and faults of every cause.

    What is played is invented: it is for trying the pages and the diagnosis without equipment.
    """
    from linkwright.cli.output import console, print_json, progress, write_text
    from linkwright.shoot.errors import InputError
    from linkwright.units import counted

    if out is None and live is None and truth is None and not json:
        raise InputError("nowhere to put the readings; expected -o FILE or --live ADDRESS")
    if json and out == "-":
        raise InputError("--json and -o - both write to standard output; expected one of them")
    with progress() as tell:
        courses, played = _played(shoot, plan, seed, hours, _causes(faults), each, tell)
        if out is not None:
            _write(out, courses, played, seed, rate, tell)
    document = {"seed": seed, "rate_hz": rate, "faults": [fault.document() for fault in played]}
    if truth is not None:
        import json as text

        write_text(truth, text.dumps(document, indent=1, ensure_ascii=False) + "\n")
    if json:
        print_json(document)
    elif out != "-":
        links = len({course.expected.link for course in courses})
        said = f"Played {counted(links, 'link')} with {counted(len(played), 'fault')}; all of it is invented."
        console().print(said, style="bold")
    if live is not None:
        from linkwright.cli.sending import send

        send(_batches(courses, played, seed, rate), live, speed)


def _causes(text: str) -> tuple[str, ...]:
    """The causes that were asked for. Raises InputError for one that there is not."""
    from linkwright.shoot.errors import InputError, did_you_mean
    from linkwright.watch.play.effects import CAUSES

    if text in ("all", "none"):
        return CAUSES if text == "all" else ()
    asked = tuple(word.strip() for word in text.split(",") if word.strip())
    for cause in asked:
        if cause not in CAUSES:
            near = did_you_mean(cause, CAUSES) or f"; expected some of {', '.join(CAUSES)}"
            raise InputError(f'--faults names "{cause[:40]}", which is no cause{near}')
    return asked


def _played(
    path: str, plan: str | None, seed: int, hours: float | None, causes: Sequence[str], each: float, tell: Tell
) -> tuple[tuple[Course, ...], tuple[PlayedFault, ...]]:
    """The links as they are played, and the faults drawn for them. Raises InputError."""
    from linkwright.desk.expecting import courses_of
    from linkwright.desk.loading import load_shoot
    from linkwright.desk.planned import planned_scene
    from linkwright.shoot.errors import InputError
    from linkwright.watch.play.faults import draw_faults

    shoot = load_shoot(path)
    planned = planned_scene(shoot, path, plan, tell)
    courses = courses_of(planned.scene, planned.plan, shoot, hours)
    if not courses:
        raise InputError("no link of the plan has a carrier, so there is nothing to play", path=plan or path)
    return courses, draw_faults(courses, causes, seed=seed, each_h=each) if causes else ()


def _batches(courses: Sequence[Course], faults: Sequence[PlayedFault], seed: int, rate: float) -> Iterator[Batch]:
    from linkwright.watch.play.simulate import simulate

    return simulate(courses, faults, seed=seed, rate_hz=rate)


def _write(
    path: str, courses: Sequence[Course], faults: Sequence[PlayedFault], seed: int, rate: float, tell: Tell
) -> None:
    """Write the log, CSV or Parquet by its ending. Raises InputError where it cannot be written."""
    from pathlib import Path

    from linkwright.cli.output import whole, write_lines
    from linkwright.watch.log.record import SECOND_NS
    from linkwright.watch.log.writing import csv_lines

    total = sum((course.to_ns - course.from_ns) / SECOND_NS * rate for course in courses)

    def told() -> Iterator[Batch]:
        done = 0
        for batch in _batches(courses, faults, seed, rate):
            yield batch
            done += len(batch)
            tell("playing", min(1.0, done / total))

    if Path(path).suffix.lower() == ".parquet":
        from linkwright.watch.log.parquet import write_parquet

        with whole(path, b"PAR1") as beside:
            write_parquet(str(beside), told())
    else:
        write_lines(path, csv_lines(told()))
