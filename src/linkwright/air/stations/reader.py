"""Reading a list of stations: CSV or the like, columns found by name, every row checked."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np

from linkwright.air.stations.angles import Angle, angles
from linkwright.air.stations.columns import Column, Role, find_columns
from linkwright.air.stations.model import ASSUMED_HEIGHT_M, Stations
from linkwright.air.stations.powers import erp_kw, metres, split_unit
from linkwright.air.stations.quoting import quoted
from linkwright.shoot.errors import InputError
from linkwright.shoot.regular import open_regular

#: Largest file that is read [bytes]; a list of a whole continent has about 10 MB.
LIMIT_BYTES: Final = 32 * 1024 * 1024
#: The header stands in one of the first lines.
HEADER_WITHIN: Final = 30
#: Of more than this share of unreadable rows, the whole file is refused.
MOST_UNREADABLE: Final = 0.05
#: Countries that lie wholly west of Greenwich: a longitude without a letter or a minus is west there.
WEST_OF_GREENWICH: Final = frozenset({"US", "CA", "IE", "PT", "IS"})
_CHANNEL = re.compile(r"(?:channel|chan|ch|c|e|k)?[\s.]*0*(\d{1,3}[A-Z]?)\s*[+-]?", re.IGNORECASE)

NEEDED: Final = "columns for the position (latitude, longitude), the channel or frequency, and the ERP"


def read_stations(path: Path, name: str, region: str) -> Stations:
    """The stations in a file; `name` is the file as the person named it, `region` the country (ISO 3166-1).

    Raises InputError for whatever is not a list of stations that can be read.
    """
    try:
        with open_regular(path, name) as file:
            data = file.read(LIMIT_BYTES + 1)
    except FileNotFoundError:
        raise InputError("there is no such file; expected a list of stations", path=name) from None
    except (OSError, ValueError) as error:
        why = getattr(error, "strerror", None) or str(error)
        raise InputError(f"cannot be read: {why}", path=name) from None
    return parse_stations(data, name, region)


def parse_stations(data: bytes, name: str, region: str) -> Stations:
    """The stations in `data`. Raises InputError as `read_stations`."""
    if len(data) > LIMIT_BYTES:
        raise InputError(
            f"has more than {LIMIT_BYTES // 2**20} MiB; cut it to the country that you need", path=name
        )
    table = _table(_decoded(data, name), name)
    return _stations(table, name, region)


def _decoded(data: bytes, name: str) -> str:
    encoding = "utf-16" if data.startswith((b"\xff\xfe", b"\xfe\xff")) else "utf-8-sig"
    try:
        text = data.decode(encoding)
    except UnicodeDecodeError:
        text = data.decode("latin-1")
    if "\0" in text:
        raise InputError("found binary data; expected a list of stations as text", path=name)
    if not text.strip():
        raise InputError("is empty; expected a list of stations", path=name)
    return text


@dataclass(frozen=True, slots=True)
class _Table:
    """The rows under the header, their lines in the file, and where each column stands."""

    rows: list[list[str]]
    lines: list[int]
    columns: dict[Role, Column]
    decimal_comma: bool

    def cells(self, role: Role) -> list[str]:
        """The column of a role; empty texts where it is not there."""
        column = self.columns.get(role)
        if column is None:
            return [""] * len(self.rows)
        texts = [row[column.index].strip() if column.index < len(row) else "" for row in self.rows]
        if not self.decimal_comma:
            return texts
        return [text.replace(",", ".") if re.search(r"\d,\d", text) else text for text in texts]

    def unit(self, role: Role) -> str:
        column = self.columns.get(role)
        return "" if column is None else column.unit


def _table(text: str, name: str) -> _Table:
    """The table under the first line that names a position. Raises InputError where no line does."""
    head = text.splitlines()[:HEADER_WITHIN]
    delimiter = max(",;\t|", key=lambda mark: max((line.count(mark) for line in head), default=0))
    try:
        rows = list(csv.reader(io.StringIO(text, newline=""), delimiter=delimiter))
    except csv.Error as error:
        raise InputError(f"is not a table that can be read ({error})", path=name) from None
    nearest: dict[Role, Column] = {}
    for start, titles in enumerate(rows[:HEADER_WITHIN]):
        columns = find_columns(titles)
        if _is_enough(columns):
            kept = [
                (n, row) for n, row in enumerate(rows[start + 1 :], start + 2) if any(cell.strip() for cell in row)
            ]
            return _Table([row for _, row in kept], [n for n, _ in kept], columns, delimiter != ",")
        nearest = max(nearest, columns, key=len)
    raise InputError(f"is no list of stations: {_missing(nearest)}", path=name)


def _is_enough(columns: dict[Role, Column]) -> bool:
    has = columns.keys()
    return {"latitude", "longitude"} <= has and bool({"channel", "frequency"} & has) and bool({"erp", "eirp"} & has)


def _missing(columns: dict[Role, Column]) -> str:
    """What a header lacks, as one phrase."""
    lacks = [
        what
        for what, roles in (
            ("latitude", {"latitude"}),
            ("longitude", {"longitude"}),
            ("channel or frequency", {"channel", "frequency"}),
            ("ERP", {"erp", "eirp"}),
        )
        if not roles & columns.keys()
    ]
    if len(lacks) == 4:
        return f"no line names its columns; expected {NEEDED}"
    return f"its header has no column for {', '.join(lacks)}; expected {NEEDED}"


def _stations(table: _Table, name: str, region: str) -> Stations:
    if not table.rows:
        raise InputError("has a header and no station under it", path=name)
    latitudes, longitudes = (angles(table.cells(axis), axis) for axis in ("latitude", "longitude"))
    channels, frequencies = _channels(table), _frequencies(table)
    powers, isotropic = _powers(table)
    heights, notes = _heights(table)
    antennas = [metres(cell, table.unit("antenna")) if cell else float("nan") for cell in table.cells("antenna")]
    wrong = [
        next((cell for cell in row if isinstance(cell, str)), None)
        for row in zip(latitudes, longitudes, channels[1], frequencies, powers, heights, antennas, strict=True)
    ]
    kept = [n for n, says in enumerate(wrong) if says is None]
    _refuse_if_too_many(table, wrong, name)
    sign, west = _sign(table, [longitudes[n] for n in kept], region)
    notes = [*_unit_note(table, isotropic), *west, *notes, *_left_out(table, wrong)]
    height = np.array([heights[n] for n in kept], dtype=np.float64)
    known = ~np.isnan(height)
    names, patterns = table.cells("name"), table.cells("pattern")
    return Stations(
        tuple(names[n] or f"line {table.lines[n]}" for n in kept),
        tuple(channels[0][n] for n in kept),
        np.array([frequencies[n] for n in kept], dtype=np.float64),
        np.array([_deg(latitudes[n]) for n in kept]),
        sign * np.array([_deg(longitudes[n]) for n in kept]),
        np.array([powers[n] for n in kept], dtype=np.float64),
        np.where(known, height, ASSUMED_HEIGHT_M),
        known,
        np.array([antennas[n] for n in kept], dtype=np.float64),
        np.array([_is_directional(patterns[n]) for n in kept], dtype=np.bool_),
        tuple(notes),
    )


def _deg(angle: Angle | str) -> float:
    assert isinstance(angle, Angle)
    return angle.degrees


def _channels(table: _Table) -> tuple[list[str], list[str | None]]:
    """Channels as they are called, and for each row what is wrong with its channel, None where nothing is."""
    channels, wrong = [], []
    given = "channel" in table.columns
    for cell in table.cells("channel"):
        match = _CHANNEL.fullmatch(cell)
        channels.append(match[1].upper() if match else "")
        by_frequency = not given or (not cell and "frequency" in table.columns)
        wrong.append(None if match or by_frequency else f"{quoted(cell)} is no TV channel")
    return channels, wrong


def _frequencies(table: _Table) -> list[float | str]:
    scale = {"khz": 1e-3}.get(table.unit("frequency"), 1.0)
    frequencies: list[float | str] = []
    for cell in table.cells("frequency"):
        split = split_unit(cell) if cell else (float("nan"), "")
        frequencies.append(f"{quoted(cell)} is no frequency" if split is None else split[0] * scale)
    return frequencies


def _powers(table: _Table) -> tuple[list[float | str], bool]:
    role: Role = "erp" if "erp" in table.columns else "eirp"
    isotropic = role == "eirp"
    return [erp_kw(cell, table.unit(role), isotropic) for cell in table.cells(role)], isotropic


def _heights(table: _Table) -> tuple[list[float | str], list[str]]:
    """Effective heights, nan where none is stated (nought in a list stands for none), and notes about them."""
    nothing = float("nan")
    if "effective" in table.columns:
        stated = [metres(cell, table.unit("effective")) if cell else nothing for cell in table.cells("effective")]
        heights = [nothing if value == 0.0 else value for value in stated]
        without = sum(isinstance(value, float) and np.isnan(value) for value in heights)
        says = f"no height is stated in {without} of {len(heights)} rows: {ASSUMED_HEIGHT_M:g} m is assumed there"
        return heights, [says] if without else []
    if "antenna" in table.columns:
        says = "the list gives heights above ground only: the ground about each station is taken as flat"
        return [metres(cell, table.unit("antenna")) if cell else nothing for cell in table.cells("antenna")], [says]
    says = f"the list gives no heights: {ASSUMED_HEIGHT_M:g} m over the ground about is assumed for every station"
    return [nothing] * len(table.rows), [says]


def _sign(table: _Table, longitudes: Sequence[Angle | str], region: str) -> tuple[float, list[str]]:
    """-1 where the list counts longitudes westwards, with a note that says so."""
    if any(isinstance(longitude, Angle) and longitude.lettered for longitude in longitudes):
        return 1.0, []
    title = table.columns["longitude"].title
    named_west = bool(re.search(r"west|\bw\b", title, re.IGNORECASE))
    eastwards = sum(_deg(longitude) > 0.0 for longitude in longitudes)
    if named_west or (region in WEST_OF_GREENWICH and 2 * eastwards > len(longitudes)):
        return -1.0, [f'longitudes in "{title}" have no letter and are read as west']
    return 1.0, [f'longitudes in "{title}" have no letter and are read as east, negative ones as west']


def _unit_note(table: _Table, isotropic: bool) -> list[str]:
    role: Role = "eirp" if isotropic else "erp"
    column = table.columns[role]
    named = column.unit or all(re.search(r"[A-Za-z]$", cell) for cell in table.cells(role) if cell)
    return [] if named else [f'"{column.title}" names no unit and is read as kW']


def _is_directional(cell: str) -> bool:
    word = cell.strip().lower()
    return word in ("da", "d", "y", "yes", "true", "1") or word.startswith("direct")


def _refuse_if_too_many(table: _Table, wrong: list[str | None], name: str) -> None:
    bad = [(line, says) for line, says in zip(table.lines, wrong, strict=True) if says is not None]
    if len(bad) > MOST_UNREADABLE * len(wrong) or len(bad) == len(wrong):
        line, says = bad[0]
        many = f"; {len(bad)} of {len(wrong)} rows cannot be read" if len(bad) > 1 else ""
        raise InputError(f"found {says}{many}", path=name, line=line)


def _left_out(table: _Table, wrong: list[str | None]) -> list[str]:
    bad = [(line, says) for line, says in zip(table.lines, wrong, strict=True) if says is not None]
    if not bad:
        return []
    first = "; ".join(f"line {line}: {says}" for line, says in bad[:3])
    return [f"{len(bad)} of {len(wrong)} rows cannot be read and are left out ({first})"]
