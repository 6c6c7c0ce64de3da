"""`linkwright listen`: levels and faults of recordings, and the low cut that suits the voice."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from linkwright.sound.listen import Heard


def run(
    file: Annotated[list[str], typer.Argument(help="recordings: WAV, BWF, FLAC; - is standard input")],
    json: Annotated[bool, typer.Option("--json", help="print everything as JSON")] = False,
) -> None:
    """Levels, faults and low cut of every track of these recordings.

    Certain faults are those that no microphone makes: mute, hold, exact repeat, hole, flat tops. Leaves with 1
    where there is one. Suspects are places to listen to.
    """
    from linkwright.cli.output import console, print_json
    from linkwright.sound.report import grave, listen_document

    heard = _listen(file)
    document = listen_document(heard)
    if json:
        print_json(document)
    else:
        from linkwright.cli.listen_table import print_listen

        print_listen(document, console())
    if grave(heard):
        raise typer.Exit(1)


def _listen(files: list[str]) -> list[Heard]:
    """Every file. Raises InputError(s) with all that is wrong with any of them."""
    from linkwright.cli.output import progress
    from linkwright.shoot.errors import InputError, InputErrors
    from linkwright.sound.listen import listen
    from linkwright.sound.recordings import open_recording

    heard: list[Heard] = []
    errors: list[InputError] = []
    with progress() as tell:
        for name in files:
            try:
                if name == "-":
                    heard.append(_listen_to_input())
                else:
                    heard.append(listen(open_recording(Path(name), name), tell))
            except InputError as error:
                errors.append(error)
    if errors:
        raise errors[0] if len(errors) == 1 else InputErrors(errors)
    return heard


def _listen_to_input() -> Heard:
    """Standard input, by way of a file that is gone afterwards: recordings are read from more than one place."""
    import shutil
    import sys
    import tempfile

    from linkwright.sound.listen import listen
    from linkwright.sound.recordings import open_recording

    with tempfile.NamedTemporaryFile(suffix=".wav") as kept:
        shutil.copyfileobj(sys.stdin.buffer, kept)
        kept.flush()
        return listen(open_recording(Path(kept.name), "standard input"))
