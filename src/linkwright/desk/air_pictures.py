"""The live sweep as numbers to draw and to list: levels now and at most, share of time, over time, our slots."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from linkwright.air.arrivals import Somebody
from linkwright.air.fresh import FreshAir
from linkwright.air.ours import Mine
from linkwright.desk.airing import Source, age_words
from linkwright.desk.snapshot import Snapshot
from linkwright.desk.watching import clock_of
from linkwright.units import FloatArray

if TYPE_CHECKING:
    from linkwright.desk.desk import Desk

#: So many that are none of ours are listed.
LISTED: Final = 40
#: From so many times a pass on it is told within how long all of the band is looked at.
PARTS: Final = 2.0


def air_now(desk: Desk, snapshot: Snapshot, site: str) -> dict[str, Any] | None:
    """What the live sweep of a site says: how old it is, our carriers and spares, who else is heard; None
    where none comes."""
    airing = desk.airing
    with airing.held(site) as source:
        if source is None or not site:
            return None
        now_s, air = airing.clock(), source.air
        age_s = now_s - air.newest_s

        def clock(at_s: float) -> str:
            return clock_of(round(at_s * 1e9), snapshot.zone)

        return {
            "source": source.name, "age_s": age_s, "age": age_words(age_s), "stale": age_s > source.stale_s,
            "every": age_words(max(1.0, air.every_s)), "passes": air.passes,
            "within": age_words(air.within_s) if air.within_s > PARTS * air.every_s else "",
            "began": clock(air.began_s), "unit": air.unit, "impulses": source.arrivals.impulses,
            "says": airing.says, "slots": _slots(source, clock), "others": _others(source, clock),
        }  # fmt: skip


def _slots(source: Source, clock: Callable[[float], str]) -> list[dict[str, Any]]:
    """Our carriers and spares: now, highest, share of time, and who is there."""
    slots = []
    for mine in sorted(set(source.arrivals.mine), key=lambda each: (each.khz, each.link)):
        slot = source.air.slot(mine.khz, mine.bandwidth_khz)
        if slot is None:
            continue
        there = [
            somebody
            for somebody in source.arrivals.somebodies
            if somebody.on and mine.touches(somebody.centre_khz, somebody.width_khz)
        ]
        who = min(there, key=lambda somebody: abs(somebody.centre_khz - mine.khz), default=None)
        says = _says(who, mine, clock) if who is not None else "on" if slot.busy else "nobody"
        slots.append(
            {"khz": mine.khz, "link": mine.link, "spare": mine.spare, "level": slot.level_db,
             "highest": slot.highest_db, "share": slot.share, "says": says}
        )  # fmt: skip
    return slots


def _says(somebody: Somebody, mine: Mine, clock: Callable[[float], str]) -> str:
    if somebody.kind == "ours":
        return f"taken for {somebody.of}, since {clock(somebody.since_s)}"
    if somebody.kind == "product":
        return f"comes of {somebody.of}, since {clock(somebody.since_s)}"
    where = (
        "there"
        if mine.is_on(somebody.centre_khz, somebody.width_khz)
        else f"beside, on {somebody.centre_khz / 1000:.3f}"
    )
    return f"somebody {where} since {clock(somebody.since_s)}{' or before' if somebody.first else ''}"


def _others(source: Source, clock: Callable[[float], str]) -> list[dict[str, Any]]:
    """Who is heard on none of ours, those that are on now first, the newest first."""
    there = [somebody for somebody in source.arrivals.somebodies if somebody.kind != "ours"]
    there = [
        somebody
        for somebody in there
        if not any(mine.touches(somebody.centre_khz, somebody.width_khz) for mine in source.arrivals.mine)
    ]
    return [
        {"khz": round(somebody.centre_khz), "wide": round(somebody.width_khz), "level": somebody.level_db,
         "since": clock(somebody.since_s) + (" or before" if somebody.first else ""),
         "says": ("on" if somebody.on else f"gone since {clock(somebody.last_s)}")
         + (f", comes of {somebody.of}" if somebody.kind == "product" else "")
         + (f", {somebody.times} times" if somebody.times > 1 else "")}
        for somebody in sorted(there, key=lambda somebody: (not somebody.on, -somebody.since_s))[:LISTED]
    ]  # fmt: skip


def levels_now(air: FreshAir, what: str, low: float, high: float, columns: int) -> FloatArray:
    """(3, columns): lowest, highest and floor of each column: of "now", of the "highest", or the "share" of time
    [%], which has no floor. NaN where nobody looked."""
    edges = np.linspace(low, high, columns + 1)
    floor = air.floor_db + air.shift_db
    top = {"highest": air.highest_db, "share": 100.0 * air.on_looks / np.maximum(air.looks, 1)}.get(
        what, air.now_db
    )
    bottom = np.zeros_like(top) if what == "share" else floor if what == "highest" else air.now_db
    first = np.searchsorted(edges, air.frequencies_khz - air.step_khz / 2.0, side="right") - 1
    last = np.searchsorted(edges, air.frequencies_khz + air.step_khz / 2.0, side="left") - 1
    levels = np.full((3, columns), np.nan)
    for shift in range(int(np.max(last - first, initial=0)) + 1):
        column = first + shift
        inside = (column <= last) & (column >= 0) & (column < columns) & (air.looks > 0)
        for row, values, way in ((0, bottom, np.fmin), (1, top, np.fmax), (2, floor, np.fmin)):
            way.at(levels[row], column[inside], values[inside])
    if what == "share":
        levels[2] = np.nan
    return levels


def over_time(air: FreshAir, low: float, high: float, columns: int, rows: int) -> tuple[np.ndarray, float, float]:
    """Levels over time (rows, columns), newest last: a byte a cell, 0 for not looked at, 1 at the floor, 255 for
    40 dB over it and more; and the times of the first and of the last row [s].

    Single passes as long as they reach back, else minutes. Each row of the picture is one stretch of time.
    """
    kept = (
        list(air.recent) if not air.minutes or air.minutes[0][0] >= air.recent[0][0] - 60.0 else list(air.minutes)
    )
    if kept and kept[-1][0] < air.recent[-1][0]:
        kept.append(air.recent[-1])
    begin, end = kept[0][0], kept[-1][0]
    count = min(rows, len(kept))
    picture = np.zeros((count, kept[-1][1].size), dtype=np.uint8)
    for at, row in kept:
        if row.size == picture.shape[1]:
            place = min(count - 1, int((at - begin) / max(end - begin, 1e-9) * count))
            picture[place] = np.maximum(picture[place], row)
    for n in range(1, count - 1):
        if not picture[n].any() and picture[n + 1].any():
            picture[n] = picture[n - 1]  # two passes fell into one stretch; a silence is longer
    frequency = air.frequencies_khz
    starts = np.arange(picture.shape[1]) * frequency.size // picture.shape[1]
    stops = np.append(starts[1:], frequency.size) - 1
    centres = np.linspace(low, high, columns + 1)
    centres = 0.5 * (centres[1:] + centres[:-1])
    column = np.clip(np.searchsorted(frequency[stops] + air.step_khz / 2.0, centres), 0, picture.shape[1] - 1)
    inside = (centres >= frequency[0] - air.step_khz / 2.0) & (centres <= frequency[-1] + air.step_khz / 2.0)
    shown = picture[:, column].astype(np.float64)
    shade = np.where(shown > 0, 1.0 + np.clip((shown - 1.0) / 80.0, 0.0, 1.0) * 254.0, 0.0)
    return np.where(inside, shade, 0.0).astype(np.uint8), begin, end
