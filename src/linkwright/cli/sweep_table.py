"""What a survey of the air found, as text that people can read."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from linkwright.cli.output import print_table
from linkwright.lengths import duration

if TYPE_CHECKING:
    from rich.console import Console

#: So many carriers and clean bands are printed; the rest are counted. --json has them all.
MOST_CARRIERS = 30
MOST_CLEAN = 20


def print_sweep(document: dict[str, Any], console: Console, region: str | None) -> None:
    """Prints what `linkwright.air.report.sweep_document` returned."""
    _line(console, answer(document), "bold")
    console.print()
    _files(document, console)
    _tv(document, console, region)
    _carriers(document, console)
    _clean(document, console)
    _looking(document, console)


def answer(document: dict[str, Any]) -> str:
    """The page's one sentence: what was found, and what that is worth."""
    tv, carriers = document["tv"], document["carriers"]
    sure = [one for one in tv if one["kind"] == "multiplex"]
    wide = len(tv) - len(sure) + len(document["wide"])
    parts = [
        _count(len(sure), "TV multiplex", "TV multiplexes"),
        _count(wide, "wide signal (TV or packed carriers)", "wide signals (TV or packed carriers)"),
        _count(len(carriers) + len(document["heard"]), "carrier", "carriers"),
    ]
    found = " and ".join(filter(None, [", ".join(filter(None, parts[:2])), parts[2]])) or "nothing"
    refused = [one["path"] for one in document["files"] if one.get("refused")]
    if refused:
        found += f"; {' and '.join(refused)} heard nothing and {'is' if len(refused) == 1 else 'are'} refused"
    if not document["clean"]:
        reason = (
            "the floor is uncertain or the bins too wide" if document["floor"]["uncertain"] else "nothing is free"
        )
        return f"Found {found}; nothing can be called clean: {reason}."
    total = sum(one["to_khz"] - one["from_khz"] for one in document["clean"])
    return (
        f"Found {found}; {total / 1e3:.1f} MHz had nothing in it while it was swept, "
        f"with a chance of {100 * document['missed']:.0f} % of having missed somebody who is on 5 % of the time."
    )


def _count(number: int, one: str, many: str) -> str:
    return "" if number == 0 else f"{number} {one if number == 1 else many}"


def _line(console: Console, text: str, style: str = "") -> None:
    console.print(text, style=style, markup=False, highlight=False)


def _mhz(khz: float) -> str:
    return f"{khz / 1e3:.3f}".rstrip("0").rstrip(".")


def _files(document: dict[str, Any], console: Console) -> None:
    rows = []
    for one in document["files"]:
        band = "" if one["from_khz"] is None else f"{_mhz(one['from_khz'])}-{_mhz(one['to_khz'])}"
        rows.append(
            (
                one["path"],
                one["format"],
                one["unit"] or "",
                str(one["sweeps"]),
                band,
                "" if one["step_khz"] is None else f"{one['step_khz']:g} / {one['resolution_khz']:g}",
                one.get("detector", ""),
                "" if one["averages"] is None else str(one["averages"]),
            )
        )
    columns = ("file", "format", "unit", "sweeps", "MHz", "step / resolution kHz", "detector", "averages")
    print_table(console, columns, rows, right=("sweeps", "averages"), title="What was read")
    for one in document["files"]:
        name = f"{one['path']}: " if len(document["files"]) > 1 else ""
        _notes(console, name + "understood", one.get("understood", []))
        _notes(console, name + "guessed", one.get("guessed", []))
        _notes(console, name + "warning", one["warnings"])
        traces = [f'"{trace["trace"]}" ({trace["detector"]})' for trace in one.get("traces", [])]
        _notes(console, name + "traces", [", ".join(traces)] if traces else [])
    console.print()
    floor = document["floor"]
    if floor["typical_db"] is not None:
        doubt = ", uncertain" if floor["uncertain"] else ""
        density = ""
        if "density_dbm_hz" in floor:
            density = f" ({floor['density_dbm_hz']:.1f} dBm/Hz, {floor['in_200_khz_dbm']:.1f} dBm in 200 kHz)"
        _line(
            console,
            f"Floor {floor['typical_db']:.1f} {floor['unit']}{density}{doubt}; {'; '.join(floor['notes'])}.",
        )
        console.print()


def _notes(console: Console, what: str, notes: list[str]) -> None:
    from rich.padding import Padding
    from rich.text import Text

    for note in notes:
        console.print(Padding(Text(f"{what}: {note}"), (0, 0, 0, 2)))


def _tv(document: dict[str, Any], console: Console, region: str | None) -> None:
    rows = [
        (
            one["channel"],
            f"{_mhz(one['from_khz'])}-{_mhz(one['to_khz'])}",
            f"{one['over_floor_db']:.1f} dB",
            f"{one['level_db']:.1f}",
            one["kind"] if one["standard"] is None else f"{one['kind']}, {one['standard']}",
        )
        for one in document["tv"]
    ]
    rows += [
        (
            "",
            f"{_mhz(one['from_khz'])}-{_mhz(one['to_khz'])}",
            f"{one['over_floor_db']:.1f} dB",
            "",
            "wide, not TV on this raster",
        )
        for one in document["wide"]
    ]
    if rows:
        columns = ("channel", "MHz", "over the floor", "level", "what it is")
        where = f" (channels of {region})" if region else ""
        print_table(console, columns, rows, right=("over the floor", "level"), title=f"TV and wide signals{where}")
        console.print()
    if region is None:
        _line(console, "TV was not looked for: name the region, such as --region GB.")
        console.print()


def _carriers(document: dict[str, Any], console: Console) -> None:
    strongest = sorted(document["carriers"], key=lambda one: -one["over_floor_db"])[:MOST_CARRIERS]
    rows = [
        (
            f"{one['centre_khz'] / 1e3:.3f}",
            f"{one['bandwidth_khz']:.0f} kHz",
            f"{one['over_floor_db']:.1f} dB",
            f"{one['level_db']:.1f}",
            f"{100 * one['duty']:.0f} %",
        )
        for one in sorted(strongest, key=lambda one: one["centre_khz"])
    ]
    columns = ("MHz", "width", "over the floor", "level", "on")
    if rows:
        more = len(document["carriers"]) - len(strongest)
        title = "Carriers" + (f", the strongest {len(strongest)}; {more} more in --json" if more else "")
        print_table(console, columns, rows, right=columns, title=title)
        console.print()
    if document["heard"]:
        listed = [
            (
                f"{one['centre_khz'] / 1e3:.3f}",
                "" if one["level_db"] is None else f"{one['level_db']:g} {one['unit']}",
                one["name"],
            )
            for one in document["heard"]
        ]
        print_table(console, ("MHz", "level", "name"), listed, right=("MHz", "level"), title="From lists")
        console.print()


def _clean(document: dict[str, Any], console: Console) -> None:
    bands = document["clean"]
    if not bands:
        return
    widest = sorted(bands, key=lambda one: one["from_khz"] - one["to_khz"])[:MOST_CLEAN]
    text = ", ".join(
        f"{_mhz(one['from_khz'])}-{_mhz(one['to_khz'])}" for one in sorted(widest, key=lambda o: o["from_khz"])
    )
    more = f" and {len(bands) - len(widest)} narrower bands" if len(bands) > len(widest) else ""
    _line(console, "Clean as far as was looked (MHz)", "italic")
    _line(console, f"{text}{more}")
    _line(console, f"Chance of having missed somebody who is on 5 % of the time: {100 * document['missed']:.0f} %.")
    console.print()


def _looking(document: dict[str, Any], console: Console) -> None:
    from rich.padding import Padding
    from rich.text import Text

    look = document["look"]
    sure = f"{100 * look['certainty']:.0f} %"
    _line(console, "How long to look", "italic")
    lines = []
    for one in look["sweeps"]:
        needed = f"; look {duration(one['needed_s'])} in this way to be {sure} sure" if one["needed_s"] else ""
        lines.append(f"{one['of']}: {one['says']}, {100 * one['missed']:.0f} % missed{needed}.")
    for one in look["stepping"]:
        lines.append(
            f"{one['receiver']} that steps by itself, {one['look_s']:g} s on each of {one['frequencies']} slots: "
            f"one pass of {duration(one['pass_s'])} misses {100 * one['missed_after_one_pass']:.0f} %; {sure} sure "
            f"after {one['passes']} passes, {duration(one['needed_s'])}."
        )
    for line in lines:
        console.print(Padding(Text(f"- {line}"), (0, 0, 0, 2)))
    _line(
        console,
        f"Asked about: somebody on {100 * look['user_on_share']:g} % of the time, {look['user_on_s']:g} s at a "
        "time (assumed), strong enough to be seen in one look.",
    )
