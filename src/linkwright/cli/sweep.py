"""`linkwright sweep`: what is on the air in some files."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from linkwright.air.readers import ReadOptions, Readout
    from linkwright.shoot.errors import InputError

#: What may be said of a sweep by hand, and what each word stands for.
UNITS = {"dbm": "dBm", "dbuv": "dBuV", "dbuv/m": "dBuV/m", "db": "dB"}
FREQUENCY_UNITS = {"hz": "Hz", "khz": "kHz", "mhz": "MHz", "ghz": "GHz"}
DETECTORS = ("rms", "peak", "lowest", "log-average", "voltage-average", "unknown")
COLUMNS = ("traces", "sweeps", "bins", "carriers")


# long and wide: an argument or option of the command each
def run(
    file: Annotated[
        list[str] | None,
        typer.Argument(
            help="sweeps, recordings or lists of one place; - is standard input; with --live -, files that grow or "
            "folders, and where to send to: http://HOST:PORT/log/sweeps"
        ),
    ] = None,
    region: Annotated[
        str | None, typer.Option(help="ISO 3166-1 code such as GB: its TV channels and rules")
    ] = None,
    shoot: Annotated[
        str | None, typer.Option(help="shoot file: how long its receivers take to sweep by themselves")
    ] = None,
    picture: Annotated[str | None, typer.Option(help="draw it into this file, .svg or .png")] = None,
    unit: Annotated[str | None, typer.Option(help="unit of the levels: dBm, dBuV, dBuV/m or dB")] = None,
    frequency_unit: Annotated[str | None, typer.Option(help="unit of frequencies: Hz, kHz, MHz or GHz")] = None,
    from_mhz: Annotated[float | None, typer.Option(help="centre of the first bin, where no column says it")] = None,
    to_mhz: Annotated[float | None, typer.Option(help="centre of the last bin")] = None,
    step_khz: Annotated[float | None, typer.Option(help="distance of the bins, instead of --to-mhz")] = None,
    resolution_khz: Annotated[float | None, typer.Option(help="noise bandwidth of one bin")] = None,
    detector: Annotated[
        str | None, typer.Option(help="how looks were put together: " + ", ".join(DETECTORS))
    ] = None,
    averages: Annotated[int | None, typer.Option(help="looks put together in one level")] = None,
    sweeps: Annotated[int | None, typer.Option(help="sweeps in a single column without frequencies")] = None,
    columns: Annotated[str | None, typer.Option(help="what columns of levels are: " + ", ".join(COLUMNS))] = None,
    lasted_s: Annotated[float | None, typer.Option(help="time from the first to the last sweep")] = None,
    live: Annotated[
        bool, typer.Option("--live", help="read on while rows come, tell who is new, or send them to the pages")
    ] = False,
    receiver: Annotated[
        str | None,
        typer.Option(help='with --live: tune this receiver over --from-mhz to --to-mhz (SoapySDR: "driver=...")'),
    ] = None,
    samples: Annotated[
        str | None, typer.Option(help="with --live: the same from a SigMF recording, or a folder of them")
    ] = None,
    rate_hz: Annotated[
        float | None, typer.Option(min=1e4, max=1e9, help="samples a second of the receiver; default: near 2.4e6")
    ] = None,
    gain_db: Annotated[float | None, typer.Option(help="gain of the receiver; default: its driver's")] = None,
    level_offset_db: Annotated[
        float | None,
        typer.Option(min=-300, max=300, help="added to levels over full scale to have dBm at its input"),
    ] = None,
    look_ms: Annotated[
        float | None, typer.Option(min=0.1, max=10_000, help="how long each part of the band is looked at; 20")
    ] = None,
    settle_ms: Annotated[
        float | None, typer.Option(min=0, max=10_000, help="thrown away after each tuning; 20, of recordings 0")
    ] = None,
    all_within_s: Annotated[
        float | None,
        typer.Option(min=0.01, help="all of the band is seen again within this, what is left is for ours"),
    ] = None,
    off_ppm: Annotated[
        float | None,
        typer.Option(min=-1000, max=1000, help="so much too high the receiver tunes, in millionths"),
    ] = None,
    json: Annotated[bool, typer.Option("--json", help="print everything as JSON")] = False,
) -> None:
    """What is on the air in these files: floor, TV, carriers, what is clean, and how sure that is.

    What a file does not say is guessed where that is safe, and told; options override the file.
    """
    options = read_options(
        unit,
        frequency_unit,
        from_mhz,
        to_mhz,
        step_khz,
        resolution_khz,
        detector,
        averages,
        sweeps,
        columns,
        lasted_s,
    )
    from linkwright.cli.sweep_tuned import TunedSweep, asked_of
    from linkwright.shoot.errors import InputError

    asked = asked_of(
        live,
        TunedSweep(receiver, samples, rate_hz, gain_db, level_offset_db, look_ms, settle_ms, all_within_s, off_ppm),
    )
    if not file and asked is None:
        raise InputError("found no file; expected sweeps, recordings or -, or --live with --receiver or --samples")
    if live:
        from linkwright.cli.sweep_live import watch

        if region is not None or picture is not None:
            raise InputError("--live takes neither --region nor --picture; the page Air draws a sweep that goes on")
        raise typer.Exit(watch(file or [], options, shoot, asked, json))
    status = _answered(file or [], region, shoot, picture, options, json)
    if status:
        raise typer.Exit(status)


def _answered(
    files: list[str],
    region: str | None,
    shoot: str | None,
    picture: str | None,
    options: ReadOptions,
    as_json: bool,
) -> int:
    """Read, survey, draw and print; 0: every file counts as evidence, 1: not every, 2: one cannot be read."""
    from linkwright.air.report import EXAMPLES, sweep_document
    from linkwright.air.survey import survey
    from linkwright.cli.output import check_picture, console, print_json, progress, tell_unread
    from linkwright.desk.loading import load_shoot, own_rules
    from linkwright.plan.pipeline import receivers_stepping
    from linkwright.rules import territory_or_group, tv_channels

    own_rules()
    territory = None if region is None else territory_or_group(region)
    if picture is not None:
        check_picture(picture)
    steppings = EXAMPLES if shoot is None else receivers_stepping(load_shoot(shoot))
    readouts, errors = _read(files, options)
    with progress() as tell:
        tell("looking for floor and signals", 0.0)
        surveyed = survey(readouts, () if territory is None else tv_channels(territory))
        if picture is not None:
            from linkwright.cli.sweep_picture import write_picture

            tell("drawing", 0.9)
            write_picture(picture, surveyed, territory)
    if as_json:
        print_json(sweep_document(surveyed, steppings) | {"unread": [str(error) for error in errors]})
    else:
        from linkwright.cli.sweep_table import print_sweep

        print_sweep(surveyed, console(), None if territory is None else territory.name, steppings)
    tell_unread(errors)
    return 2 if errors else 0 if all(reason is None for reason in surveyed.refused) else 1


# wide: an option of the command each
def read_options(
    unit: str | None,
    frequency_unit: str | None,
    from_mhz: float | None,
    to_mhz: float | None,
    step_khz: float | None,
    resolution_khz: float | None,
    detector: str | None,
    averages: int | None,
    sweeps: int | None,
    columns: str | None,
    lasted_s: float | None,
) -> ReadOptions:
    """What was stated on the command line, as options of the readers. Raises InputError for unknown words."""
    from linkwright.air.readers import ReadOptions

    return ReadOptions(
        unit=_one_of("--unit", _plain(unit), UNITS),  # type: ignore[arg-type]
        frequency_unit=_one_of("--frequency-unit", _plain(frequency_unit), FREQUENCY_UNITS),
        from_khz=None if from_mhz is None else from_mhz * 1e3,
        to_khz=None if to_mhz is None else to_mhz * 1e3,
        step_khz=step_khz,
        resolution_khz=resolution_khz,
        detector=_one_of("--detector", _plain(detector), {word: word for word in DETECTORS}),  # type: ignore[arg-type]
        averages=averages,
        sweeps=sweeps,
        columns=_one_of("--columns", _plain(columns), {word: word for word in COLUMNS}),  # type: ignore[arg-type]
        lasted_s=lasted_s,
    )


def _plain(word: str | None) -> str | None:
    return None if word is None else word.strip().lower().replace("\N{MICRO SIGN}", "u").replace("\u03bc", "u")


def _one_of(option: str, word: str | None, known: dict[str, str]) -> str | None:
    from linkwright.shoot.errors import InputError, did_you_mean

    if word is None:
        return None
    if word not in known:
        expected = ", ".join(known.values())
        raise InputError(f'{option} is "{word}"; expected one of {expected}{did_you_mean(word, known)}')
    return known[word]


def _read(files: list[str], options: ReadOptions) -> tuple[list[Readout], list[InputError]]:
    """Every file, and what is wrong with others. Raises InputError(s) where that is all of them."""
    import sys

    from linkwright.air.readers import read_file, read_stream
    from linkwright.cli.output import progress
    from linkwright.shoot.errors import InputError, raise_if_none

    readouts: list[Readout] = []
    errors: list[InputError] = []
    with progress() as tell:
        for name in files:
            try:
                if name == "-":
                    readouts.append(read_stream(sys.stdin.buffer, "standard input", options, None, tell))
                else:
                    readouts.append(read_file(Path(name), name, options, tell))
            except InputError as error:
                errors.append(error)
    raise_if_none(readouts, errors)
    return readouts, errors
