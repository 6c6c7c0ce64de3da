"""A log whose columns have other names: which they are likely to be, how its dates run; told as guesses."""

from __future__ import annotations

import csv
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from linkwright.watch.log.columns import MOST_REFUSED
from linkwright.watch.log.mapping import COLUMNS, Dates, Mapping
from linkwright.watch.log.record import FIELDS
from linkwright.watch.log.two_columns import DATE, OF_DAY

#: What others call our columns, without units and signs (common practice, no source).
CALLED: Final = {
    "time": ("timestamp", "date time", "datetime", "time stamp", "utc", "local time", "clock", "time of day",
             "hour", "date"),
    "link": ("name", "channel", "channel name", "receiver", "device", "talent", "mic", "transmitter", "ch"),
    "rf_a_dbm": ("rf a", "rssi a", "rf level a", "level a", "antenna a", "ant a", "rf1", "rssi1", "rssi", "rf"),
    "rf_b_dbm": ("rf b", "rssi b", "rf level b", "level b", "antenna b", "ant b", "rf2", "rssi2"),
    "audio_dbfs": ("audio", "audio level", "af", "af level"),
    "quality": ("link quality", "signal quality", "lq", "rf quality"),
    "battery": ("batt", "bat", "battery level", "charge"),
    "muted": ("mute", "audio mute"),
}  # fmt: skip
#: Units that are no part of a name, and those that make hundredths of a share.
UNITS: Final = ("dbm", "dbfs", "db", "percent", "%")
SHARES: Final = ("quality", "battery")
#: What a column of dates beside one of times of the day is called.
DAYS: Final = ("date", "day")
#: So many columns that are not read are told.
MOST_TOLD: Final = 8
#: So many rows tell how dates run.
ROWS: Final = 200


@dataclass(frozen=True, slots=True)
class Likely:
    """The mapping with what is likely, and the guesses in a sentence; "" where nothing had to be guessed."""

    mapping: Mapping
    told: str


def _told(column: dict[str, str], scale: dict[str, float], dates: str | None) -> str:
    """What was guessed, as a mapping file says it; "" for nothing."""
    said = [f'dates = "{dates}"'] if dates is not None else []
    cells = [f'{key} = "{cell}"' for key, cell in column.items()]
    said += [f"[column] {', '.join(cells)}"] if cells else []
    said += [f"[scale] {', '.join(f'{key} = {scaling:g}' for key, scaling in scale.items())}"] if scale else []
    return f"guessed, as a mapping file (--mapping) would say it: {'; '.join(said)}" if said else ""


def likely(cells: Sequence[str], rows: str, delimiter: str, mapping: Mapping) -> Likely:
    """What a log's columns (`cells`) are likely to be, by their names and the first of its `rows`.

    Of a log that has our columns no other is guessed, but those that are not read are told.
    """
    taken = {mapping.column_of(key).lower() for key in (*COLUMNS, "listener")}
    plain = {cell: _plain(cell) for cell in cells if cell.lower() not in taken}
    column: dict[str, str] = {}
    known = [key for key in COLUMNS if key in mapping.column or any(cell.lower() == key for cell in cells)]
    known += ["link"] * (mapping.link is not None)
    tidy = "time" in known and "link" in known and not set(known).isdisjoint(FIELDS)
    for key in COLUMNS:
        names = () if key in known else (key.replace("_", " "), _plain(key), *CALLED[key])
        free = [cell for cell in plain if cell not in column.values()]
        titles = [cell for name in names for cell in free if plain[cell] == name]
        if titles:
            column[key] = titles[0]
    unread, column = (column, {}) if tidy else ({}, column)
    table = list(csv.reader(rows.splitlines()[:ROWS], delimiter=delimiter))
    at = {**{key: key for key in COLUMNS}, **mapping.column, **column}
    if "date" not in mapping.column and _mostly(OF_DAY, at["time"], cells, table):
        days = [cell for cell in cells if _plain(cell) in DAYS and _mostly(DATE, cell, cells, table)]
        if days:
            column["date"] = days[0]
    at |= column
    scale: dict[str, float] = {
        key: 0.01
        for key in SHARES
        if (key in column or (column and key in known))
        and key not in mapping.scale
        and _in_hundredths(at[key], cells, table)
    }
    dates = mapping.dates or _dates(at.get("date", at["time"]), cells, table)
    given = {"column": {**mapping.column, **column}, "scale": {**mapping.scale, **scale}, "dates": dates}
    told = _told(column, scale, dates if dates != mapping.dates else None)
    left = [cell for cell in cells if cell in plain and cell not in column.values()][:MOST_TOLD]
    if tidy and left and not set(COLUMNS) <= set(known):
        likely_ones = [f'{key} = "{cell}"' for key, cell in unread.items()] or [f'OURS = "{left[0][:30]}"']
        quoted = ", ".join(f'"{cell[:30]}"' for cell in left)
        could = f"a mapping file (--mapping) could: [column] {', '.join(likely_ones)}"
        told += f"{'; ' if told else ''}not read: {quoted}; {could}"
    return Likely(mapping.model_copy(update=given), told)


def _plain(name: str) -> str:
    """A column's name without units and signs."""
    words = re.sub(r"[^\w%]+|_", " ", name.lower()).split()
    return " ".join(word for word in words if word not in UNITS)


def _column(cell: str, cells: Sequence[str], table: Sequence[Sequence[str]]) -> list[str]:
    """The first values of a column."""
    place = next((n for n, title in enumerate(cells) if title.lower() == cell.lower()), None)
    return [] if place is None else [row[place].strip() for row in table if len(row) > place]


def _mostly(pattern: re.Pattern[str], cell: str, cells: Sequence[str], table: Sequence[Sequence[str]]) -> bool:
    """Whether a column holds what a pattern says, but for faulty rows."""
    values = _column(cell, cells, table)
    return sum(bool(pattern.fullmatch(value)) for value in values) > (1.0 - MOST_REFUSED) * len(values)


def _in_hundredths(cell: str, cells: Sequence[str], table: Sequence[Sequence[str]]) -> bool:
    """Whether a share is told in percent: by the name, or as it is over 1."""
    if "%" in cell or "percent" in cell.lower():
        return True
    values = [value.replace(",", ".") for value in _column(cell, cells, table)]
    numbers = [float(value) for value in values if re.fullmatch(r"\d{1,6}(?:\.\d{1,9})?", value)]
    return any(number > 1.0 for number in numbers)


def _dates(cell: str, cells: Sequence[str], table: Sequence[Sequence[str]]) -> Dates | None:
    """How the dates of a log run; None for years first, as ISO 8601 has them."""
    dates = [re.match(r"(\d\d?)([./-])(\d\d?)\2\d{4}", value) for value in _column(cell, cells, table)]
    days = [(int(guess[1]), guess[2], int(guess[3])) for guess in dates if guess]
    if not days:
        return None
    return "month-first" if any(second > 12 for _, _, second in days) else "day-first"
