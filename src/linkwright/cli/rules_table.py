"""A territory's rules as tables that people can read."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from typing import TYPE_CHECKING

from linkwright.cli.output import print_table
from linkwright.rules import Permit, Row, RulesReport, Territory, age_days, range_text, tv_channels
from linkwright.units import counted

if TYPE_CHECKING:
    from rich.console import Console

    from linkwright.desk.tv import TvReport

#: A reference of power, in the trade's words.
REFERENCE_TEXT = {"conducted": "conducted", "erp": "ERP", "eirp": "EIRP"}
#: What a channel is, by a word and a shape.
STATES = {"closed": "⊘ closed", "doubtful": "◐ doubtful", "free": "● free"}
#: How a fact was come by, in words.
BASES = {"memory": "from memory", "seen_secondary": "a page about it", "computed": "computed", "seen": "read"}
#: What stands under every prediction.
LIMITS = (
    "modelled over land without the hills between (ITU-R P.1546-6): the level is the middle of such places, give "
    "or take its spread; over water it can be far higher",
    "directional stations count with their strongest direction",
    "stations that the list lacks are not seen: sweep the place",
)


def print_rules(report: RulesReport, tv: TvReport | None, console: Console) -> None:
    """The rules of a territory, with TV where it was predicted."""
    territory = report.territory
    console.print(_answer(report), style="bold", markup=False, highlight=False)
    _line(console, f"{territory.about} Regulator: {territory.regulator}.")
    _print_rows(report, console)
    _print_closed(report, console)
    if tv is not None:
        print_tv(tv, console)
    _print_warnings(report, console)
    _print_sources(report.rows, console)
    _print_list(console, "Permits", [_permit(permit) for permit in territory.permits])
    notes = [
        f"{range_text(note.from_khz, note.to_khz)}: {note.says} ({note.source}; {note.evidence})"
        for note in territory.notes
    ]
    _print_list(console, "Also known", notes)
    _print_list(console, "TV channels", _raster(territory))
    _print_list(console, "Always", territory.cautions)


def print_stale(rows: Sequence[Row], on: datetime.date, console: Console) -> None:
    """The rows that `linkwright.rules.stale_rows` put in order, as they are on a day."""
    read = sum(row.basis == "seen" for row in rows)
    says = f"{counted(len(rows), 'row')}, {read} read in the document itself; the least sure and oldest first."
    console.print(says, style="bold", markup=False, highlight=False)
    lines = []
    for row in rows:
        known = f"read by you, {row.read_on}" if row.read_on else BASES[row.basis]
        ended = f", ended {row.until}" if row.ended(on) else ""
        age = f"{row.as_of}, {age_days(row, on) / 365.25:.1f} years ago"
        lines.append(f"{row.id}: {known}, {age}{ended}. Read: {row.source}")
    _print_list(console, "How old what is known is", lines)
    _line(console, "A row that you read is corrected in a file of your own: docs/rules.md says how.")


def print_tv(tv: TvReport, console: Console) -> None:
    """Predicted TV: every channel with its state, and how the list was understood."""
    channels = tv.predicted.channels
    latitude, longitude = tv.position
    _line(console, f"TV at {latitude:g}, {longitude:g}, predicted from {tv.path}:")
    for state in STATES:
        _line(
            console, f"  {state}: {', '.join(each.channel for each in channels if each.state == state) or 'none'}"
        )
    rows = [
        (
            channel.channel,
            range_text(channel.from_khz, channel.to_khz).removesuffix(" MHz"),
            STATES[channel.state],
            "" if channel.level_dbm is None else f"{channel.level_dbm:.0f} ± {channel.spread_db:.0f}",
            channel.evidence,
            channel.why,
        )
        for channel in channels
    ]
    columns = ("channel", "MHz", "state", "dBm in it", "evidence", "why")
    print_table(console, columns, rows, right=("channel", "dBm in it"), title="TV, predicted")
    console.print()
    notes = [*tv.predicted.notes, *LIMITS]
    _print_list(console, "How the list was read, and what the prediction leaves out", notes)


def _line(console: Console, text: str) -> None:
    console.print(text, markup=False, highlight=False)


def _answer(report: RulesReport) -> str:
    """The page's one sentence: what may be used without asking, and what with a permit."""
    decides = [
        row for row in report.rows if not row.ended(report.on) and not row.listed_only and row.kind == "microphone"
    ]
    exempt = _ranges([row for row in decides if row.permit is None])
    asked = _ranges([row for row in decides if row.permit is not None])
    parts = [f"{exempt} MHz without a permit" if exempt else "nothing without a permit"]
    if asked:
        parts.append(f"{asked} MHz with one")
    return f"{report.territory.name} on {report.on}, wireless microphones: {'; '.join(parts)}."


def _ranges(rows: Sequence[Row]) -> str:
    spans = dict.fromkeys(range_text(row.from_khz, row.to_khz).removesuffix(" MHz") for row in rows)
    return ", ".join(spans)


def _power(row: Row) -> str:
    if row.max_mw is None or row.power_reference is None:
        return "strictest known"
    worn = row.max_body_worn_mw
    body = f", {worn:g} body-worn" if worn is not None else ""
    return f"{row.max_mw:g} mW {REFERENCE_TEXT[row.power_reference]}{body}"


def _opens(row: Row, on: datetime.date) -> str:
    if row.ended(on):
        return f"ended {row.until}"
    if row.listed_only:
        return "never decides"
    only = [*(["indoors only"] if row.indoor else []), *([f"{row.service} first"] if row.service else [])]
    return ", ".join([row.permit or "exempt", *only])


def _print_rows(report: RulesReport, console: Console) -> None:
    rows = [
        (
            range_text(row.from_khz, row.to_khz).removesuffix(" MHz"),
            _power(row),
            "any" if row.bandwidth_khz is None else str(row.bandwidth_khz),
            _opens(row, report.on) + ("" if row.kind == "microphone" else f" ({row.kind} only)"),
            f"read by you, {row.read_on}" if row.read_on else row.evidence,
            row.id,
        )
        for row in report.rows
    ]
    columns = ("MHz", "at most", "kHz wide", "opened by", "evidence", "row")
    print_table(console, columns, rows, title="What may be used")
    console.print()


def _print_closed(report: RulesReport, console: Console) -> None:
    rows = [
        (
            range_text(closed.from_khz, closed.to_khz).removesuffix(" MHz"),
            closed.why,
            "always" if closed.since is None else closed.since.isoformat(),
            closed.source,
            closed.evidence,
        )
        for closed in report.closed
    ]
    if rows:
        print_table(console, ("MHz", "why", "since", "source", "evidence"), rows, title="Closed")
        console.print()


def _print_warnings(report: RulesReport, console: Console) -> None:
    warnings = [
        f"{warning.severity}: {warning.says}. {warning.do}. ({warning.source}; {warning.evidence})"
        for warning in report.warnings
    ]
    _print_list(console, "Hard warnings", warnings)


def _print_sources(rows: Sequence[Row], console: Console) -> None:
    """Sources and conditions, told once for the rows that share them."""
    rows_by_text: dict[tuple[str, ...], list[str]] = {}
    for row in rows:
        doubt = [f"in doubt: {row.doubt}"] if row.doubt else []
        read = f", read by you, {row.read_on}" if row.read_on else ""
        told = (f"{row.source} (as of {row.as_of}, {row.evidence}{read})", *row.conditions, *doubt)
        rows_by_text.setdefault(told, []).append(row.id)
    lines = [f"{', '.join(ids)}: {'; '.join(told)}" for told, ids in rows_by_text.items()]
    _print_list(console, "Sources and conditions", lines)


def _print_list(console: Console, title: str, lines: Sequence[str]) -> None:
    from rich.padding import Padding
    from rich.text import Text

    if not lines:
        return
    console.print(Text(title, style="italic"))
    for line in lines:
        console.print(Padding(Text(f"- {line}"), (0, 0, 0, 2)))
    console.print()


def _permit(permit: Permit) -> str:
    also = f" (also {', '.join(permit.also)})" if permit.also else ""
    return f"{permit.id}{also}: {permit.name}. {permit.note}"


def _raster(territory: Territory) -> list[str]:
    raster, channels = territory.tv_raster, tv_channels(territory)
    if raster is None:
        return ["the raster is not known: name multiplexes by their edges"]
    first, last = channels[0], channels[-1]
    edges = range_text(first.from_khz, last.to_khz)
    return [
        f"{raster.title}: {len(channels)} channels, {first.number} to {last.number}, "
        f"within {edges}; {raster.note} ({raster.source}; {raster.evidence})"
    ]
