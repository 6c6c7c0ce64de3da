"""A territory's rules as tables that people can read."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from linkwright.cli.output import print_table
from linkwright.rules import range_text
from linkwright.units import counted

if TYPE_CHECKING:
    from rich.console import Console

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


def print_rules(document: dict[str, Any], console: Console) -> None:
    """Prints what `linkwright.rules.rules_document` returned."""
    console.print(_answer(document), style="bold", markup=False, highlight=False)
    _line(console, f"{document['about']} Regulator: {document['regulator']}.")
    _print_rows(document, console)
    _print_closed(document, console)
    if "channels" in document:
        print_tv(document, console)
    _print_warnings(document, console)
    _print_sources(document, console)
    _print_list(console, "Permits", [_permit(one) for one in document["permits"]])
    notes = [
        f"{range_text(one['from_khz'], one['to_khz'])}: {one['says']} ({one['source']}; {one['evidence']})"
        for one in document["notes"]
    ]
    _print_list(console, "Also known", notes)
    _print_list(console, "TV channels", _raster(document))
    _print_list(console, "Always", document["cautions"])


def print_stale(rows: list[dict[str, Any]], console: Console) -> None:
    """Prints what `linkwright.rules.stale_rows` returned."""
    read = sum(row["basis"] == "seen" for row in rows)
    says = f"{counted(len(rows), 'row')}, {read} read in the document itself; the least sure and oldest first."
    console.print(says, style="bold", markup=False, highlight=False)
    lines = []
    for row in rows:
        known = f"read by you, {row['read_on']}" if row["read_on"] else BASES[row["basis"]]
        ended = f", ended {row['until']}" if row["ended"] else ""
        age = f"{row['as_of']}, {row['age_days'] / 365.25:.1f} years ago"
        lines.append(f"{row['id']}: {known}, {age}{ended}. Read: {row['read']}")
    _print_list(console, "How old what is known is", lines)
    _line(console, "A row that you read is corrected in a file of your own: docs/rules.md says how.")


def print_tv(document: dict[str, Any], console: Console) -> None:
    """Predicted TV: every channel with its state, and how the list was understood."""
    named = {state: [one["channel"] for one in document["channels"] if one["state"] == state] for state in STATES}
    place = document["at"]
    _line(
        console,
        f"TV at {place['latitude']:g}, {place['longitude']:g}, predicted from {document['stations']['path']}:",
    )
    for state, channels in named.items():
        _line(console, f"  {state}: {', '.join(channels) or 'none'}")
    rows = [
        (
            one["channel"],
            range_text(one["from_khz"], one["to_khz"]).removesuffix(" MHz"),
            STATES[one["state"]],
            "" if one["level_dbm"] is None else f"{one['level_dbm']:.0f} ± {one['spread_db']:.0f}",
            one["evidence"],
            one["why"],
        )
        for one in document["channels"]
    ]
    columns = ("channel", "MHz", "state", "dBm in it", "evidence", "why")
    print_table(console, columns, rows, right=("channel", "dBm in it"), title="TV, predicted")
    console.print()
    _print_list(
        console,
        "How the list was read, and what the prediction leaves out",
        [*document["stations"]["notes"], *LIMITS],
    )


def _line(console: Console, text: str) -> None:
    console.print(text, markup=False, highlight=False)


def _answer(document: dict[str, Any]) -> str:
    """The page's one sentence: what may be used without asking, and what with a permit."""
    live = [row for row in document["rows"] if _decides(row) and row["kind"] == "microphone"]
    exempt = _ranges([row for row in live if row["permit"] is None])
    asked = _ranges([row for row in live if row["permit"] is not None])
    parts = [f"{exempt} MHz without a permit" if exempt else "nothing without a permit"]
    if asked:
        parts.append(f"{asked} MHz with one")
    return f"{document['name']} on {document['on']}, wireless microphones: {'; '.join(parts)}."


def _decides(row: dict[str, Any]) -> bool:
    return not row["ended"] and not row["listed_only"]


def _ranges(rows: list[dict[str, Any]]) -> str:
    spans = dict.fromkeys(range_text(row["from_khz"], row["to_khz"]).removesuffix(" MHz") for row in rows)
    return ", ".join(spans)


def _power(row: dict[str, Any]) -> str:
    if row["max_mw"] is None:
        return "strictest known"
    worn = row["max_body_worn_mw"]
    body = f", {worn:g} body-worn" if worn is not None else ""
    return f"{row['max_mw']:g} mW {REFERENCE_TEXT[row['power_reference']]}{body}"


def _opens(row: dict[str, Any]) -> str:
    if row["ended"]:
        return f"ended {row['until']}"
    if row["listed_only"]:
        return "never decides"
    only = [*(["indoors only"] if row["indoor"] else []), *([f"{row['service']} first"] if row["service"] else [])]
    return ", ".join([row["permit"] or "exempt", *only])


def _print_rows(document: dict[str, Any], console: Console) -> None:
    rows = []
    for row in document["rows"]:
        kind = "" if row["kind"] == "microphone" else f" ({row['kind']} only)"
        rows.append(
            (
                range_text(row["from_khz"], row["to_khz"]).removesuffix(" MHz"),
                _power(row),
                "any" if row["bandwidth_khz"] is None else str(row["bandwidth_khz"]),
                _opens(row) + kind,
                f"read by you, {row['read_on']}" if row["read_on"] else row["evidence"],
                row["id"],
            )
        )
    columns = ("MHz", "at most", "kHz wide", "opened by", "evidence", "row")
    print_table(console, columns, rows, title="What may be used")
    console.print()


def _print_closed(document: dict[str, Any], console: Console) -> None:
    if not document["closed"]:
        return
    rows = [
        (
            range_text(one["from_khz"], one["to_khz"]).removesuffix(" MHz"),
            one["why"],
            one["since"] or "always",
            one["source"],
            one["evidence"],
        )
        for one in document["closed"]
    ]
    print_table(console, ("MHz", "why", "since", "source", "evidence"), rows, title="Closed")
    console.print()


def _print_warnings(document: dict[str, Any], console: Console) -> None:
    warnings = [
        f"{one['severity']}: {one['says']}. {one['do']}. ({one['source']}; {one['evidence']})"
        for one in document["warnings"]
    ]
    _print_list(console, "Hard warnings", warnings)


def _print_sources(document: dict[str, Any], console: Console) -> None:
    """Sources and conditions, told once for the rows that share them."""
    rows_by_text: dict[tuple[str, ...], list[str]] = {}
    for row in document["rows"]:
        doubt = [f"in doubt: {row['doubt']}"] if row["doubt"] else []
        read = f", read by you, {row['read_on']}" if row["read_on"] else ""
        told = (f"{row['source']} (as of {row['as_of']}, {row['evidence']}{read})", *row["conditions"], *doubt)
        rows_by_text.setdefault(told, []).append(row["id"])
    lines = [f"{', '.join(ids)}: {'; '.join(told)}" for told, ids in rows_by_text.items()]
    _print_list(console, "Sources and conditions", lines)


def _print_list(console: Console, title: str, lines: list[str]) -> None:
    from rich.padding import Padding
    from rich.text import Text

    if not lines:
        return
    console.print(Text(title, style="italic"))
    for line in lines:
        console.print(Padding(Text(f"- {line}"), (0, 0, 0, 2)))
    console.print()


def _permit(permit: dict[str, Any]) -> str:
    also = f" (also {', '.join(permit['also'])})" if permit["also"] else ""
    return f"{permit['id']}{also}: {permit['name']}. {permit['note']}"


def _raster(document: dict[str, Any]) -> list[str]:
    raster = document["raster"]
    if raster is None:
        return ["the raster is not known: name multiplexes by their edges"]
    first, last = raster["channels"][0], raster["channels"][-1]
    edges = range_text(first["from_khz"], last["to_khz"])
    return [
        f"{raster['title']}: {len(raster['channels'])} channels, {first['number']} to {last['number']}, "
        f"within {edges}; {raster['note']} ({raster['source']}; {raster['evidence']})"
    ]
