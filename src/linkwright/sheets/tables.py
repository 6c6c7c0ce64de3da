"""The same as tables for spreadsheets: CSV after RFC 4180, with text that no spreadsheet takes for a formula."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence

from linkwright.day.schedule import schedule
from linkwright.plan.model import Plan
from linkwright.shoot.models import Shoot
from linkwright.shoot.view import transmitter_of
from linkwright.units import mhz_text

Value = str | float | int | None
#: A cell that begins with one of these is taken for a formula by spreadsheets.
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n")


def csv_text(head: Sequence[str], rows: Iterable[Sequence[Value]]) -> str:
    """Rows as CSV with CRLF ends. Text that begins like a formula gets an apostrophe; numbers stay numbers."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(head)
    for row in rows:
        writer.writerow([_cell(value) for value in row])
    return out.getvalue()


def as_text(text: str) -> str:
    """A text that no spreadsheet takes for a formula: they look past blanks for the sign that begins one."""
    return f"'{text}" if text.lstrip(" \N{NO-BREAK SPACE}").startswith(FORMULA_STARTS) else text


def _cell(value: Value) -> str:
    if value is None:
        return ""
    if isinstance(value, str):
        return as_text(value)
    return f"{value:g}" if isinstance(value, float) else str(value)


LINK_HEAD = (
    "call", "site", "link", "label", "carrier_mhz", "spares_mhz", "power_mw", "bandwidth_khz", "attenuation_db",
    "low_cut_hz", "set_delay_ms", "squelch_dbm", "margin_db", "in_hand_db", "sure", "worst_at", "verdict",
)  # fmt: skip


def links_csv(shoot: Shoot, plan: Plan) -> str:
    """Every link of every call with its settings."""
    by_name = {link.name: link for link in shoot.link}
    rows: list[Sequence[Value]] = []
    for call in plan.calls:
        for planned in call.links:
            bandwidth = transmitter_of(shoot, by_name[planned.link]).bandwidth_khz
            rows.append([
                call.call, call.site, planned.link, dict(planned.labels or ()).get(planned.carrier_khz),
                mhz_text(planned.carrier_khz), " ".join(map(mhz_text, planned.spares_khz)),
                planned.power_mw, bandwidth, planned.attenuation_db, planned.low_cut_hz, planned.set_delay_ms,
                planned.squelch_dbm,
                planned.margin_db, planned.in_hand_db, planned.sure, planned.worst_place, planned.verdict,
            ])  # fmt: skip
        for alone in call.by_themselves or ():
            bandwidth = transmitter_of(shoot, by_name[alone.link]).bandwidth_khz
            rows.append([
                call.call, call.site, alone.link, *[None] * 3, alone.power_mw, bandwidth, *[None] * 4,
                alone.margin_db, alone.in_hand_db, alone.sure, alone.worst_place, alone.verdict,
            ])  # fmt: skip
        rows += [[call.call, call.site, gone.link, *[None] * 12, "no carrier"] for gone in call.unplaced]
    return csv_text(LINK_HEAD, rows)


def day_csv(shoot: Shoot, plan: Plan) -> str:
    """Setting up, calls, breaks and changes of cells in the order of time; times are ISO 8601 with their offset."""
    rows: list[tuple[str, str, str, str, str]] = []
    for timed in schedule(shoot):
        if timed.span is None or timed.sets_up is None:
            continue
        name = timed.live.name
        starts, ends = timed.span
        if timed.set_up_min > 0.0:
            rows.append((timed.sets_up.isoformat(), starts.isoformat(), "set up", name, timed.live.site.name))
        links = " ".join(link.name for link in timed.live.links)
        rows.append((starts.isoformat(), ends.isoformat(), "call", name, links))
        rows += [(a.isoformat(), b.isoformat(), "break", name, "") for a, b in timed.breaks]
    rows += [
        (battery.change_at, "", "cells", battery.who, f"{battery.left_h:.1f} h left") for battery in plan.batteries
    ]
    return csv_text(("from", "to", "what", "about", "with"), sorted(rows))
