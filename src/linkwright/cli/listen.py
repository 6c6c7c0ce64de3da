"""`linkwright listen`: levels and faults of recordings, the low cut that suits the voice, delay between tracks."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from linkwright.progress import Tell
    from linkwright.shoot.errors import InputError
    from linkwright.sound.listen import Heard
    from linkwright.sound.lowcut import Filter
    from linkwright.sound.pairs import Pair


def run(
    file: Annotated[list[str], typer.Argument(help="recordings: WAV, BWF, FLAC; - is standard input")],
    picture_ms: Annotated[
        float | None,
        typer.Option(min=-10_000, max=10_000, help="how much later the picture comes than the first track's sound"),
    ] = None,
    shoot: Annotated[str | None, typer.Option(help="the shoot file; the low cut is then one of its link's")] = None,
    link: Annotated[str | None, typer.Option(help="the link that was recorded; default: the only one")] = None,
    json: Annotated[bool, typer.Option("--json", help="print everything as JSON")] = False,
) -> None:
    """Levels, faults and low cut of every track of these recordings, and the delay of each track to the others.

    Certain faults are those that no microphone makes: mute, hold, exact repeat, hole, flat tops. Leaves with 1
    where there is one, with 2 where a file could not be read. Suspects are places to listen to. A positive delay
    means that the second track is later.
    """
    from linkwright.cli.output import console, print_json, progress, tell_unread
    from linkwright.sound.report import grave, listen_document
    from linkwright.work.compiling import ready

    low_cut = _low_cut(shoot, link)
    with progress() as tell:
        ready(tell)
        heard, pairs, errors = _listen(file, low_cut, tell)
    document = listen_document(heard, pairs, picture_ms) | {"unread": [str(error) for error in errors]}
    if json:
        print_json(document)
    else:
        from linkwright.cli.listen_table import print_listen

        print_listen(document, console())
    tell_unread(errors)
    if errors or grave(heard):
        raise typer.Exit(2 if errors else 1)


def _low_cut(shoot: str | None, link: str | None) -> Filter:
    """The low cut of the link's transmitter; without a shoot that of the catalogue. Raises InputError."""
    from linkwright.sound.lowcut import Filter

    if shoot is None:
        if link is not None:
            raise _wrong("--link needs the shoot file that has it: --shoot FILE")
        return Filter()
    from linkwright.desk.loading import load_shoot
    from linkwright.plan.why import link_of
    from linkwright.shoot.view import transmitter_of

    read = load_shoot(shoot)
    if link is None and len(read.link) != 1:
        raise _wrong(f"say which of the {len(read.link)} links of {shoot} was recorded with --link")
    name = read.link[0].name if link is None else link_of(read, link)
    transmitter = transmitter_of(read, next(one for one in read.link if one.name == name))
    return Filter(transmitter.low_cut_hz, transmitter.low_cut_order)


def _wrong(says: str) -> Exception:
    from linkwright.shoot.errors import InputError

    return InputError(says)


def _listen(files: list[str], low_cut: Filter, tell: Tell) -> tuple[list[Heard], list[Pair], list[InputError]]:
    """Every file, their tracks against each other, and what is wrong with others.

    Raises InputError(s) where that is all of them.
    """
    from linkwright.shoot.errors import InputError, raise_if_none
    from linkwright.sound.listen import listen
    from linkwright.sound.pairs import compare
    from linkwright.sound.recordings import open_recording
    from linkwright.sound.seconded import seconded

    heard: list[Heard] = []
    errors: list[InputError] = []
    with ExitStack() as stack:
        for name in files:
            try:
                if name == "-":
                    recording = open_recording(stack.enter_context(_standard_input()), "standard input")
                else:
                    recording = open_recording(Path(name), name)
                heard.append(listen(recording, tell, low_cut))
            except InputError as error:
                errors.append(error)
        raise_if_none(heard, errors)
        pairs = compare([one.recording for one in heard], tell)
        return seconded(heard, pairs), pairs, errors


@contextmanager
def _standard_input() -> Iterator[Path]:
    """Standard input, by way of a file that is gone afterwards: recordings are read from more than one place."""
    import shutil
    import sys
    import tempfile

    with tempfile.NamedTemporaryFile(suffix=".wav") as kept:
        shutil.copyfileobj(sys.stdin.buffer, kept)
        kept.flush()
        yield Path(kept.name)
