"""What a survey of the air found, as text that people can read."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from linkwright.air.looks import CERTAINTY
from linkwright.air.report import EXAMPLES, FileReport, Stepping, floor_of, passes, reports_of
from linkwright.air.survey import Survey
from linkwright.cli.output import print_table
from linkwright.lengths import duration
from linkwright.physics.looking import INTERMITTENT_ON_S, INTERMITTENT_SHARE

if TYPE_CHECKING:
    from rich.console import Console

#: So many carriers and clean bands are printed; the rest are counted. --json has them all.
MOST_CARRIERS = 30
MOST_CLEAN = 20


def print_sweep(
    survey: Survey, console: Console, region: str | None, steppings: Sequence[Stepping] = EXAMPLES
) -> None:
    """A survey in words; `region` is what the territory is called whose TV was looked for."""
    _line(console, answer(survey), "bold")
    console.print()
    _files(survey, console)
    _tv(survey, console, region)
    _carriers(survey, console)
    _clean(survey, console)
    _looking(survey, steppings, console)


def answer(survey: Survey) -> str:
    """The page's one sentence: what was found, and what that is worth."""
    sure = [multiplex for multiplex in survey.tv if multiplex.kind == "multiplex"]
    wide = len(survey.tv) - len(sure) + len(survey.wide)
    parts = [
        _count(len(sure), "TV multiplex", "TV multiplexes"),
        _count(wide, "wide signal (TV or packed carriers)", "wide signals (TV or packed carriers)"),
        _count(len(survey.carriers) + len(survey.heard), "carrier", "carriers"),
    ]
    things = " and ".join(filter(None, [", ".join(filter(None, parts[:2])), parts[2]])) or "nothing"
    refused = [readout.path for readout, why in zip(survey.readouts, survey.refused, strict=True) if why]
    if refused:
        things += f"; {' and '.join(refused)} heard nothing and {'is' if len(refused) == 1 else 'are'} refused"
    if not survey.clean:
        uncertain = survey.main is None or survey.uncertain
        reason = "the floor is uncertain or the bins too wide" if uncertain else "nothing is free"
        return f"Found {things}; nothing can be called clean: {reason}."
    total = sum(high - low for low, high in survey.clean)
    return (
        f"Found {things}; {total / 1e3:.1f} MHz had nothing in it while it was swept, "
        f"with a chance of {100 * survey.missed:.0f} % of having missed somebody who is on 5 % of the time."
    )


def _count(number: int, word: str, many: str) -> str:
    return "" if number == 0 else f"{number} {word if number == 1 else many}"


def _line(console: Console, text: str, style: str = "") -> None:
    console.print(text, style=style, markup=False, highlight=False)


def _mhz(khz: float) -> str:
    return f"{round(khz, 1) / 1e3:.3f}".rstrip("0").rstrip(".")


def _files(survey: Survey, console: Console) -> None:
    reports = reports_of(survey)
    rows = [
        (
            main.path,
            main.format,
            main.unit or "",
            str(main.sweeps),
            "" if main.from_khz is None or main.to_khz is None else f"{_mhz(main.from_khz)}-{_mhz(main.to_khz)}",
            "" if main.step_khz is None else f"{main.step_khz:g} / {main.resolution_khz:g}",
            main.detector or "",
            "" if main.averages is None else str(main.averages),
        )
        for main in (report.main for report in reports)
    ]
    columns = ("file", "format", "unit", "sweeps", "MHz", "step / resolution kHz", "detector", "averages")
    print_table(console, columns, rows, right=("sweeps", "averages"), title="What was read")
    for report in reports:
        _file_notes(report, f"{report.main.path}: " if len(reports) > 1 else "", console)
    console.print()
    floor = floor_of(survey)
    if floor is not None:
        doubt = ", uncertain" if floor.uncertain else ""
        density = ""
        if floor.density_dbm_hz is not None:
            density = f" ({floor.density_dbm_hz:.1f} dBm/Hz, {floor.in_200_khz_dbm:.1f} dBm in 200 kHz)"
        _line(console, f"Floor {floor.typical_db:.1f} {floor.unit}{density}{doubt}; {'; '.join(floor.notes)}.")
        console.print()


def _file_notes(report: FileReport, name: str, console: Console) -> None:
    _notes(console, name + "understood", report.understood)
    _notes(console, name + "guessed", report.guessed)
    _notes(console, name + "warning", report.warnings)
    traces = [f'"{trace.trace}" ({trace.detector})' for trace in report.traces]
    _notes(console, name + "traces", [", ".join(traces)] if traces else [])


def _notes(console: Console, what: str, notes: Iterable[str]) -> None:
    from rich.padding import Padding
    from rich.text import Text

    for note in notes:
        console.print(Padding(Text(f"{what}: {note}"), (0, 0, 0, 2)))


def _tv(survey: Survey, console: Console, region: str | None) -> None:
    rows = [
        (
            multiplex.channel,
            f"{_mhz(multiplex.from_khz)}-{_mhz(multiplex.to_khz)}",
            f"{multiplex.excess_db:.1f} dB",
            f"{multiplex.level_db:.1f}",
            multiplex.kind if multiplex.standard is None else f"{multiplex.kind}, {multiplex.standard}",
        )
        for multiplex in survey.tv
    ]
    rows += [
        (
            "",
            f"{_mhz(wide.from_khz)}-{_mhz(wide.to_khz)}",
            f"{wide.excess_db:.1f} dB",
            "",
            "wide, not TV on this raster",
        )
        for wide in survey.wide
    ]
    if rows:
        columns = ("channel", "MHz", "over the floor", "level", "what it is")
        where = f" (channels of {region})" if region else ""
        print_table(console, columns, rows, right=("over the floor", "level"), title=f"TV and wide signals{where}")
        console.print()
    if region is None:
        _line(console, "TV was not looked for: name the region, such as --region GB.")
        console.print()


def _carriers(survey: Survey, console: Console) -> None:
    strongest = sorted(survey.carriers, key=lambda carrier: -round(carrier.excess_db, 1))[:MOST_CARRIERS]
    rows = [
        (
            f"{round(carrier.centre_khz, 1) / 1e3:.3f}",
            f"{round(carrier.bandwidth_khz, 1):.0f} kHz",
            f"{carrier.excess_db:.1f} dB",
            f"{carrier.level_db:.1f}",
            f"{100 * carrier.duty:.0f} %",
        )
        for carrier in sorted(strongest, key=lambda carrier: carrier.centre_khz)
    ]
    columns = ("MHz", "width", "over the floor", "level", "on")
    if rows:
        more = len(survey.carriers) - len(strongest)
        title = "Carriers" + (f", the strongest {len(strongest)}; {more} more in --json" if more else "")
        print_table(console, columns, rows, right=columns, title=title)
        console.print()
    if survey.heard:
        listed = [
            (
                f"{round(carrier.centre_khz, 1) / 1e3:.3f}",
                "" if carrier.level_db is None else f"{carrier.level_db:g} {carrier.unit}",
                carrier.name,
            )
            for carrier in survey.heard
        ]
        print_table(console, ("MHz", "level", "name"), listed, right=("MHz", "level"), title="From lists")
        console.print()


def _clean(survey: Survey, console: Console) -> None:
    bands = survey.clean
    if not bands:
        return
    widest = sorted(bands, key=lambda band: band[0] - band[1])[:MOST_CLEAN]
    text = ", ".join(f"{_mhz(low)}-{_mhz(high)}" for low, high in sorted(widest))
    more = f" and {len(bands) - len(widest)} narrower bands" if len(bands) > len(widest) else ""
    _line(console, "Clean as far as was looked (MHz)", "italic")
    _line(console, f"{text}{more}")
    _line(console, f"Chance of having missed somebody who is on 5 % of the time: {100 * survey.missed:.0f} %.")
    console.print()


def _looking(survey: Survey, steppings: Sequence[Stepping], console: Console) -> None:
    from rich.padding import Padding
    from rich.text import Text

    sure = f"{100 * CERTAINTY:.0f} %"
    _line(console, "How long to look", "italic")
    lines = []
    for judged, look in zip(survey.judged, survey.looks, strict=True):
        needed = f"; look {duration(look.needed_s)} in this way to be {sure} sure" if look.needed_s else ""
        lines.append(f"{judged.sweep.path}: {look.says}, {100 * look.missed:.0f} % missed{needed}.")
    for stepping in steppings:
        once, looks = passes(stepping)
        lines.append(
            f"{stepping.receiver} that steps by itself, {stepping.look_s:g} s on each of {stepping.slots} slots: "
            f"one pass of {duration(looks.every_s)} misses {100 * once:.0f} %; {sure} sure "
            f"after {looks.count} passes, {duration(looks.count * looks.every_s)}."
        )
    for line in lines:
        console.print(Padding(Text(f"- {line}"), (0, 0, 0, 2)))
    _line(
        console,
        f"Asked about: somebody on {100 * INTERMITTENT_SHARE:g} % of the time, {INTERMITTENT_ON_S:g} s at a "
        "time (assumed), strong enough to be seen in one look.",
    )
