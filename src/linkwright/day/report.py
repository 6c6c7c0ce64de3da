"""The day as sentences and as a document: calls, setting up, batteries, what to pack, what would save."""

from __future__ import annotations

import datetime
import math
from typing import Any

from linkwright.day.batteries import CellChange, Day, LinkDay, packing
from linkwright.day.schedule import TimedCall
from linkwright.lengths import hours

WHEN = {"break": "in the break", "before": "before the call", "take": "in the take"}


def clock(moment: datetime.datetime | None, day: datetime.date | None = None) -> str:
    """A time of day; with its date where that is another day than `day`."""
    if moment is None:
        return ""
    other = day is not None and moment.date() != day
    return f"{moment:%H:%M}" + (f" on {moment:%-d %B}" if other else "")


def answer(day: Day) -> str:
    """One sentence: will the batteries and the schedule hold?"""
    changes = day.changes
    taken = [change for change in changes if change.when == "take"]
    short = [call for call in day.calls if call.short_min > 0.0]
    if not any(call.span is not None for call in day.calls):
        return _run_times(day)
    parts = []
    first = changes[0].at.date() if changes else None
    if taken:
        soonest = taken[0]
        parts.append(f"{soonest.who} runs out in a take: change its cells at {clock(soonest.at)} in {soonest.call}")
    if changes and not taken:
        told = ", ".join(f"{change.who} at {clock(change.at, first)}" for change in changes[:3])
        more = f" and {len(changes) - 3} more" if len(changes) > 3 else ""
        count = "One battery change, not" if len(changes) == 1 else f"{len(changes)} battery changes, none"
        parts.append(f"{count} in a take: {told}{more}")
    if not changes:
        parts.append(_nothing(day))
    if short:
        call = short[0]
        parts.append(f"{call.short_min:.0f} min are missing before {call.live.name}")
    return "; ".join(parts) + "."


def troubles(day: Day) -> list[str]:
    """Why a day does not hold, phrases; none where it does: no change in a take or on the reserve, time for all."""
    return [
        *(f"{change.who} runs out in a take, in {change.call}" for change in day.changes if change.when == "take"),
        *(
            f"{change.who} reaches its change at {clock(change.at)} only on the reserve of its cells"
            for change in day.changes
            if change.on_reserve and change.when != "take"
        ),
        *(
            f"{call.short_min:.0f} min are missing before {call.live.name}"
            for call in day.calls
            if call.short_min >= 1.0
        ),
        *(f"{link} is wanted in {first} and in {second} at once" for link, first, second in day.twice),
    ]


def _nothing(day: Day) -> str:
    least = min(
        (link for link in day.links if link.end_h is not None), key=lambda link: link.end_h or 0.0, default=None
    )
    if least is None or least.end_h is None:
        return "Nothing is known of the cells"
    return f"No battery has to be changed; {least.who} has the least left at its end, {hours(least.end_h)}"


def _run_times(day: Day) -> str:
    least = min(day.links, key=lambda link: link.run_h, default=None)
    if least is None:
        return "The calls have no times and nothing is known of the cells."
    return f"The calls have no times; a fresh set lasts {hours(least.run_h)} at least, in {least.who}."


def savings(day: Day) -> list[str]:
    """What resting in breaks and a lower power step would gain, in sentences; the greatest gains first."""
    told: list[tuple[float, str]] = []
    for link in day.links:
        if link.saved_h >= 0.1:
            fewer = _fewer(len(link.changes) - link.changes_saving)
            told.append((link.saved_h, f"{link.who}: resting in the breaks saves {hours(link.saved_h)}{fewer}."))
        if link.lower_mw is not None and link.lower_h is not None and link.changes_lower is not None:
            gained = link.lower_h - link.run_h
            down_db = 10.0 * math.log10(link.power_mw / link.lower_mw)
            fewer = _fewer(len(link.changes) - link.changes_lower)
            says = f"{link.who}: with {link.lower_mw:g} mW a set lasts {hours(gained)} longer{fewer}, and the link"
            told.append((gained, f"{says} has {down_db:.0f} dB less margin."))
    return [line for _, line in sorted(told, key=lambda pair: -pair[0])]


def _fewer(count: int) -> str:
    return "" if count <= 0 else f" ({count} change{'s' if count > 1 else ''} fewer)"


def battery(change: CellChange) -> dict[str, Any]:
    """One change of cells."""
    return {
        "link": change.link, **({"listener": change.listener} if change.listener else {}),
        "change_at": change.at.isoformat(), "left_h": round(change.left_h, 2),
        "call": change.call, "when": change.when,
    }  # fmt: skip


def document(day: Day) -> dict[str, Any]:
    """Everything that the day says, as plain values."""
    return {
        "says": answer(day),
        "because": troubles(day),
        "calls": [_call(call) for call in day.calls],
        "batteries": [battery(change) for change in day.changes],
        "links": [_link(link) for link in day.links],
        "pack": [
            {"cells": pack.kind, "used": pack.used, "spare": pack.spare, "rechargeable": pack.rechargeable}
            for pack in packing(day)
        ],
        "unknown": list(day.unknown),
        "twice": [{"link": link, "first": first, "second": second} for link, first, second in day.twice],
    }


def _call(call: TimedCall) -> dict[str, Any]:
    return {
        "call": call.live.name,
        "site": call.live.site.name,
        "from": _iso(call.span and call.span[0]),
        "to": _iso(call.span and call.span[1]),
        "breaks": [{"from": _iso(start), "to": _iso(end)} for start, end in call.breaks],
        "links": [link.name for link in call.live.links],
        "leave_at": _iso(call.leaves),
        "set_up_at": _iso(call.sets_up),
        "travel_min": call.live.travel_min,
        "set_up_min": round(call.set_up_min, 1),
        "set_up": [{"what": part.what, "min": round(part.minutes, 1)} for part in call.parts],
        "short_min": round(call.short_min, 1),
    }


def _iso(moment: datetime.datetime | None) -> str | None:
    return None if moment is None else moment.isoformat()


def _link(link: LinkDay) -> dict[str, Any]:
    return {
        "link": link.link,
        **({"listener": link.listener} if link.listener else {}),
        "cells": link.kit.kind,
        "count": link.kit.cells.count,
        "power_mw": link.power_mw,
        "drain_mw": round(link.kit.drain_mw(link.power_mw)),
        "temperature_c": link.temperature_c,
        "run_h": round(link.run_h, 2),
        "spread": round(link.spread, 3),
        "evidence": link.kit.evidence,
        "source": link.kit.source,
        "sets": link.sets,
        "end_left_h": None if link.end_h is None else round(link.end_h, 2),
        "resting": {
            "run_h": _finite(link.save_h),
            "saved_h": round(link.saved_h, 2),
            "changes_fewer": len(link.changes) - link.changes_saving,
        },
        "lower_step": None
        if link.lower_mw is None or link.lower_h is None or link.changes_lower is None
        else {
            "power_mw": link.lower_mw,
            "run_h": round(link.lower_h, 2),
            "changes_fewer": len(link.changes) - link.changes_lower,
            "down_db": round(10.0 * math.log10(link.power_mw / link.lower_mw), 1),
        },
    }


def _finite(value: float) -> float | None:
    return round(value, 2) if math.isfinite(value) else None
