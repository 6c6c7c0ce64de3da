"""Logs that say a time or a link in two columns, its date and who listens apart: the two are made one."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from linkwright.shoot.end import whose
from linkwright.watch.log.mapping import JOINED, Mapping

#: A time of day that lacks its date, and a date.
OF_DAY: Final = re.compile(r"\d{1,2}:\d\d(:\d\d([.,]\d+)?)?( ?(Z|[+-]\d\d:?\d\d))?")
DATE: Final = re.compile(r"\d{4}[./-]\d{1,2}[./-]\d{1,2}|\d{1,2}[./-]\d{1,2}[./-]\d{4}")


@dataclass(frozen=True, slots=True)
class Join:
    """A column that is put before another: which of ours it is, its place, the place of the other."""

    key: str
    place: int
    into: int


def joins_of(cells: Sequence[str], mapping: Mapping) -> tuple[Join, ...]:
    """The columns of a log that belong to others of it."""
    lower = [cell.lower() for cell in cells]

    def place(key: str) -> int | None:
        wanted = mapping.column_of(key).lower()
        return lower.index(wanted) if wanted in lower else None

    pairs = ((key, place(key), place(into)) for key, into in JOINED.items())
    named = {key for key in JOINED if key != "date" or key in mapping.column}
    return tuple(
        Join(key, at, into) for key, at, into in pairs if key in named and at is not None and into is not None
    )


def joined(whole: bytes, joins: Sequence[Join], delimiter: str) -> bytes:
    """Whole lines with the joined columns in the place of the second; what has too few cells stays as it is."""
    most = max(max(join.place, join.into) for join in joins)
    mark = delimiter.encode()
    lines = []
    for line in whole.split(b"\n"):
        quoted = b'"' in line
        cells = _quoted(line, delimiter) if quoted else line.split(mark)
        if len(cells) > most:
            for join in joins:
                cells[join.into] = _put_together(join.key, cells[join.place].strip(), cells[join.into].strip())
            line = _quoting(cells, delimiter) if quoted else mark.join(cells)
        lines.append(line)
    return b"\n".join(lines)


def _put_together(key: str, first: bytes, second: bytes) -> bytes:
    if key == "listener":
        name = whose(second.decode("utf-8", "surrogateescape"), first.decode("utf-8", "surrogateescape"))
        return name.encode("utf-8", "surrogateescape")
    year_first = len(re.split(rb"[./-]", first)[0]) == 4
    date = re.sub(rb"[./]", b"-", first) if year_first else first
    date = re.sub(rb"(?<!\d)(\d)(?!\d)", rb"0\1", date)
    return date + b" " + (b"0" + second if second[1:2] == b":" else second)


def _quoted(line: bytes, delimiter: str) -> list[bytes]:
    text = line.decode("utf-8", "surrogateescape")
    rows = list(csv.reader([text], delimiter=delimiter))
    return [cell.encode("utf-8", "surrogateescape") for cell in rows[0]] if rows else []


def _quoting(cells: Sequence[bytes], delimiter: str) -> bytes:
    out = io.StringIO()
    csv.writer(out, delimiter=delimiter, lineterminator="").writerow(
        cell.decode("utf-8", "surrogateescape") for cell in cells
    )
    return out.getvalue().encode("utf-8", "surrogateescape")
