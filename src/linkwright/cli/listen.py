"""`linkwright listen`: levels and faults of recordings, the low cut that suits the voice, delay between tracks."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

if TYPE_CHECKING:
    from linkwright.progress import Tell
    from linkwright.shoot.errors import InputError
    from linkwright.shoot.models import Link, Shoot
    from linkwright.sound.listen import Heard
    from linkwright.sound.lowcut import Filter
    from linkwright.sound.pairs import Pair


# long and wide: an argument or option of the command each
def run(
    file: Annotated[
        list[str] | None, typer.Argument(help="recordings: WAV, BWF, FLAC; - is standard input")
    ] = None,
    input: Annotated[
        str | None,
        typer.Option(help="listen as it comes: an input's name or number, or - for a WAV that streams in"),
    ] = None,
    seconds: Annotated[float | None, typer.Option(min=1, help="with --input: end after so long")] = None,
    picture_ms: Annotated[
        float | None,
        typer.Option(min=-10_000, max=10_000, help="how much later the picture comes than the first track's sound"),
    ] = None,
    shoot: Annotated[str | None, typer.Option(help="the shoot file; the low cut is then one of its link's")] = None,
    link: Annotated[str | None, typer.Option(help="the link that was recorded; default: the only one")] = None,
    recorded_db: Annotated[
        float | None, typer.Option(min=0, max=80, help="attenuation that the link recorded with; default: as set")
    ] = None,
    mouth_m: Annotated[
        float | None, typer.Option(min=0.005, max=20, help="gain for this distance from the lips; default: as said")
    ] = None,
    channel: Annotated[
        int | None, typer.Option(min=1, max=256, help="the first file's track with the link; default: with a voice")
    ] = None,
    out: Annotated[
        str | None, typer.Option("-o", "--out", help="write the shoot with this gain and low cut on the link here")
    ] = None,
    json: Annotated[bool, typer.Option("--json", help="print everything as JSON")] = False,
) -> None:
    """Levels, faults and low cut of every track of these recordings, and the delay of each track to the others.

    With a shoot also the gain: what the loudest minute needs, and which step of the transmitter gives it.

    Certain faults are those that no microphone makes: mute, hold, exact repeat, hole, flat tops. Leaves with 1
    where there is one, with 2 where a file could not be read. Suspects are places to listen to. A positive delay
    means that the second track is later.
    """
    from linkwright.cli.output import console, print_json, progress, tell_unread
    from linkwright.sound.report import grave, listen_document
    from linkwright.work.compiling import ready

    at_work = _at_work(shoot, link)
    if at_work is None and (recorded_db, mouth_m, channel, out) != (None, None, None, None):
        raise _wrong("gain is told for a link of a shoot: --shoot FILE")
    if (input is None) == (not file):
        raise _wrong("expected recordings, or an input with --input NAME")
    low_cut = _low_cut(at_work)
    heard: list[Heard]
    pairs: list[Pair]
    errors: list[InputError]
    with progress() as tell:
        ready(tell)
        if file:
            heard, pairs, errors = _listen(file, low_cut, tell)
    if input is not None:
        from linkwright.cli.listen_input import heard_live

        def tested(heard: Heard) -> str:
            return _tested(at_work, heard, recorded_db, mouth_m, channel)

        heard, pairs, errors = [heard_live(input, low_cut, seconds, tested, as_json=json)], [], []
    document = listen_document(heard, pairs, picture_ms) | {"unread": [str(error) for error in errors]}
    if at_work is not None:
        document["gain"] = _gain(at_work, heard, recorded_db, mouth_m, channel, out)
    if json:
        print_json(document, one_line=input is not None)
    else:
        from linkwright.cli.listen_table import print_listen

        print_listen(document, console())
    tell_unread(errors)
    if errors or grave(heard):
        raise typer.Exit(2 if errors else 1)


def _at_work(shoot: str | None, link: str | None) -> tuple[Shoot, Link] | None:
    """The shoot, and the link that was recorded; None without a shoot. Raises InputError."""
    if shoot is None:
        if link is not None:
            raise _wrong("--link needs the shoot file that has it: --shoot FILE")
        return None
    from linkwright.desk.loading import load_shoot
    from linkwright.plan.why import link_of

    read = load_shoot(shoot)
    if link is None and len(read.link) != 1:
        raise _wrong(f"say which of the {len(read.link)} links of {shoot} was recorded with --link")
    name = read.link[0].name if link is None else link_of(read, link)
    return read, next(shoot_link for shoot_link in read.link if shoot_link.name == name)


def _low_cut(at_work: tuple[Shoot, Link] | None) -> Filter:
    """The low cut of the link's transmitter; without a shoot that of the catalogue."""
    from linkwright.shoot.view import transmitter_of
    from linkwright.sound.lowcut import Filter

    if at_work is None:
        return Filter()
    transmitter = transmitter_of(*at_work)
    return Filter(transmitter.low_cut_hz, transmitter.low_cut_order)


def _gain(
    at_work: tuple[Shoot, Link],
    heard: Sequence[Heard],
    recorded_db: float | None,
    mouth_m: float | None,
    channel: int | None,
    out: str | None,
) -> dict[str, Any] | None:
    """What the talker's recording says of the link's gain; taken over into the shoot `out`. Raises InputError."""
    from linkwright.sound.recording_gain import says
    from linkwright.sound.settings import gain_from, with_sound

    shoot, link = at_work
    tracks = [track for track in heard[0].tracks if channel in (None, track.channel) and track.loudest is not None]
    tracks.sort(key=lambda track: track.low_cut is None or track.low_cut.f0_hz is None)
    if not tracks or tracks[0].loudest is None:
        if channel is None and out is None:
            return None
        raise _wrong(f"{heard[0].recording.name} has no track {channel or 'with sound'} to tell the gain from")
    measured = gain_from(tracks[0].loudest, link, shoot, recorded_db, mouth_m)
    if out is not None:
        from linkwright.cli.output import write_text
        from linkwright.shoot.writing import write_shoot

        taught = {"attenuation_db": measured.chosen.attenuation_db, "mouth_m": mouth_m}
        cut = tracks[0].low_cut
        if cut is not None:
            taught["low_cut_hz"] = cut.corner_hz
            taught["voice_f0_hz"] = None if cut.f0_hz is None else round(cut.f0_low_hz, 1)
        write_text(out, write_shoot(with_sound(shoot, link, taught)), grown=True)
    named = f"{link.name}, {heard[0].recording.name}:{tracks[0].channel}"
    return {"link": link.name, "channel": tracks[0].channel, "says": says(named, measured), **asdict(measured)}


def _tested(
    at_work: tuple[Shoot, Link] | None,
    heard: Heard,
    recorded_db: float | None,
    mouth_m: float | None,
    channel: int | None,
) -> str:
    """What the first minute of a voice says: of its gain where the link is known, and of its low cut."""
    gain = None if at_work is None else _gain(at_work, [heard], recorded_db, mouth_m, channel, None)
    cuts = [
        f"track {track.channel}: low cut {track.low_cut.corner_hz:.0f} Hz"
        for track in heard.tracks
        if track.low_cut is not None
    ]
    return " ".join([*([gain["says"]] if gain else []), *([f"{'; '.join(cuts)}."] if cuts else [])])


def _wrong(says: str) -> Exception:
    from linkwright.shoot.errors import InputError

    return InputError(says)


def _listen(files: list[str], low_cut: Filter, tell: Tell) -> tuple[list[Heard], list[Pair], list[InputError]]:
    """Every file, their tracks against each other, and what is wrong with others.

    Raises InputError(s) where that is all of them.
    """
    from linkwright.shoot.errors import InputError, raise_if_none
    from linkwright.sound.cross_check import seconded
    from linkwright.sound.listen import listen
    from linkwright.sound.pairs import compare
    from linkwright.sound.recordings import open_recording

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
        pairs = compare([listened.recording for listened in heard], tell)
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
