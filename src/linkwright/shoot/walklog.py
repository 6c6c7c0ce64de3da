"""The log of a walk test: levels along a known route, as CSV, and what can be wrong with one.

Columns: `time` (ISO 8601, or seconds), one or both of `rf_a_dbm` and `rf_b_dbm` (or `level_dbm`), and optionally
`link`, `spot` (where a spot of the site is passed), `x_m` with `y_m`, `facing` (towards, away, side), `muted`.
Further columns are left alone. The columns of a receiver's log are among these.
"""

from __future__ import annotations

import csv
import datetime
import io
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from linkwright.shoot.errors import InputError, did_you_mean
from linkwright.units import FloatArray

#: A day at ten readings a second has less; more is some other file.
MOST_BYTES: Final = 64 * 1024 * 1024
MOST_ROWS: Final = 1_000_000
#: A receiver's levels lie between these [dBm]; what lies outside is another unit.
LOWEST_DBM: Final = -150.0
HIGHEST_DBM: Final = 30.0
LEVELS: Final = ("rf_a_dbm", "rf_b_dbm", "level_dbm")
WAYS: Final = ("towards", "away", "side")
KNOWN: Final = ("time", "link", *LEVELS, "spot", "x_m", "y_m", "facing", "muted")


@dataclass(frozen=True, eq=False, slots=True)
class WalkLog:
    """Readings in the order of time, each (n,): seconds from the first, levels (n, b) [dBm] with NaN for none,
    places [m] with NaN where none is given, names of spots passed, ways faced ("" for none), and links."""

    time_s: FloatArray
    level_dbm: FloatArray
    x_m: FloatArray
    y_m: FloatArray
    spots: tuple[str, ...]
    facing: tuple[str, ...]
    links: tuple[str, ...]
    day: datetime.date | None

    def of_link(self, name: str) -> WalkLog:
        """The readings of one link; those that name no link are of any."""
        keep = np.array([link in ("", name) for link in self.links])
        some = np.flatnonzero(keep).tolist()
        return WalkLog(
            self.time_s[keep], self.level_dbm[keep], self.x_m[keep], self.y_m[keep],
            tuple(self.spots[n] for n in some), tuple(self.facing[n] for n in some),
            tuple(self.links[n] for n in some), self.day,
        )  # fmt: skip


def parse_walk(text: str, name: str) -> WalkLog:
    """The log in a CSV text; `name` is the file as messages call it. Raises InputError."""
    lines = text.splitlines()
    first = next((n for n, line in enumerate(lines) if line.strip() and not line.startswith("#")), None)
    if first is None:
        raise InputError("is empty; expected a log of levels with a line of column names", path=name)
    delimiter = max(",;\t", key=lines[first].count)
    try:
        rows = list(csv.reader(io.StringIO("\n".join(lines[first:])), delimiter=delimiter))
    except csv.Error as error:
        raise InputError(f"is not CSV: {error}", path=name) from None
    header = [cell.strip().lower() for cell in rows[0]]
    column = _columns(header, name, first + 1)
    body = [(first + 2 + n, row) for n, row in enumerate(rows[1:]) if any(cell.strip() for cell in row)]
    if len(body) > MOST_ROWS:
        raise InputError(f"has {len(body)} readings; expected at most {MOST_ROWS}", path=name)
    body = [(line, row) for line, row in body if not _muted(row, column)]
    if len(body) < 2:
        raise InputError(f"has {len(body)} readings; expected a walk of many", path=name)
    return _log(body, column, name, "," if delimiter != "," else ".")


def _columns(header: Sequence[str], name: str, line: int) -> dict[str, int]:
    """Which column is which. Raises InputError where time or every level is missing."""
    column = {key: header.index(key) for key in KNOWN if key in header}
    if "time" not in column:
        near = did_you_mean("time", header)
        shown = ", ".join(f'"{cell[:30]}"' for cell in header[:8])
        raise InputError(f'has no column "time"{near} (its columns are {shown})', path=name, line=line)
    if not any(key in column for key in LEVELS):
        raise InputError("has no level; expected a column rf_a_dbm, rf_b_dbm or level_dbm", path=name, line=line)
    if ("x_m" in column) != ("y_m" in column):
        raise InputError("has one of x_m and y_m; expected both or neither", path=name, line=line)
    return column


def _cell(row: Sequence[str], column: dict[str, int], key: str) -> str:
    at = column.get(key)
    return row[at].strip() if at is not None and at < len(row) else ""


def _muted(row: Sequence[str], column: dict[str, int]) -> bool:
    return _cell(row, column, "muted") in ("1", "true")


def _log(body: Sequence[tuple[int, list[str]]], column: dict[str, int], name: str, decimal: str) -> WalkLog:
    """The rows as arrays, in the order of time. Raises InputError with the line."""

    def number(line: int, row: Sequence[str], key: str) -> float:
        text = _cell(row, column, key)
        if not text or text.lower() in ("nan", "none", "-"):
            return math.nan
        try:
            value = float(text.replace(decimal, ".") if decimal == "," else text)
        except ValueError:
            value = math.inf
        if not math.isfinite(value):
            raise InputError(f'{key} is "{text[:40]}"; expected a number', path=name, line=line)
        return value

    levels = [key for key in LEVELS if key in column]
    level = np.array([[number(line, row, key) for key in levels] for line, row in body])
    for n, (line, _) in enumerate(body):
        bad = level[n][(level[n] < LOWEST_DBM) | (level[n] > HIGHEST_DBM)]
        if bad.size:
            says = f"a level of {bad[0]:g} dBm is none that a receiver reads; expected dBm, -150 to 30"
            raise InputError(says, path=name, line=line)
    times = [_time(_cell(row, column, "time"), name, line) for line, row in body]
    if len({isinstance(time, datetime.datetime) for time in times}) > 1:
        raise InputError("has times of two kinds; expected ISO 8601 or seconds throughout", path=name)
    seconds, day = _seconds(times, name)
    order = np.argsort(seconds, kind="stable")
    facing = [_cell(row, column, "facing").lower() for _, row in body]
    for (line, _), way in zip(body, facing, strict=True):
        if way and way not in WAYS:
            raise InputError(f'facing is "{way[:30]}"; expected towards, away or side', path=name, line=line)
    x_m, y_m = (np.array([number(line, row, key) for line, row in body])[order] for key in ("x_m", "y_m"))
    spots, links = ([_cell(row, column, key) for _, row in body] for key in ("spot", "link"))
    some = order.tolist()
    return WalkLog(
        seconds[order] - seconds[order[0]], level[order], x_m, y_m, tuple(spots[n] for n in some),
        tuple(facing[n] for n in some), tuple(links[n] for n in some), day,
    )  # fmt: skip


def _time(text: str, name: str, line: int) -> datetime.datetime | float:
    try:
        value = float(text)
        if math.isfinite(value):
            return value
    except ValueError:
        try:
            return datetime.datetime.fromisoformat(text)
        except ValueError:
            pass
    raise InputError(f'time is "{text[:40]}"; expected ISO 8601 or seconds', path=name, line=line)


def _seconds(times: Sequence[datetime.datetime | float], name: str) -> tuple[FloatArray, datetime.date | None]:
    """Seconds, and the day of the first time where times are dated. Raises InputError for mixed time zones."""
    first = times[0]
    if isinstance(first, float):
        return np.array(times, dtype=np.float64), None
    try:
        since = [(time - first).total_seconds() for time in times if isinstance(time, datetime.datetime)]
        return np.array(since), first.date()
    except TypeError:
        raise InputError("has times with and without an offset; expected one kind throughout", path=name) from None
