"""Reading a log file, CSV or Parquet, in batches: a long one is never in memory whole."""

from __future__ import annotations

import codecs
import csv
import os
from collections.abc import Generator, Iterator
from pathlib import Path
from typing import BinaryIO, Final, cast

import numpy as np

from linkwright.progress import Tell
from linkwright.shoot.errors import InputError
from linkwright.shoot.regular import open_regular
from linkwright.watch.log import scan
from linkwright.watch.log.columns import Amiss, NameTable, column_index, scale_and_range, zoned
from linkwright.watch.log.likely import likely
from linkwright.watch.log.mapping import TIDY, Mapping
from linkwright.watch.log.record import (
    FIELDS,
    MOST_LINKS,
    RANGES,
    Batch,
    Log,
)
from linkwright.watch.log.two_columns import joined, joins_of

#: How much is read at once [bytes], and the longest line [bytes].
BLOCK_BYTES: Final = 8 * 1024 * 1024
MOST_LINE: Final = 1024 * 1024
_PLACES: Final = {"s": 9, "ms": 6, "us": 3, "ns": 0}
_ORDERS: Final = {None: scan.YEAR_FIRST, "day-first": scan.DAY_FIRST, "month-first": scan.MONTH_FIRST}
#: So much of a log tells what its columns are likely to be [bytes].
LOOKED_AT: Final = 65_536


def read_batches(
    path: Path, name: str | None = None, mapping: Mapping = TIDY, amiss: Amiss | None = None,
    tell: Tell | None = None,
) -> Generator[Batch, None, None]:  # fmt: skip
    """The readings of a log, batch by batch, in the order of the file; names of links keep their places.

    `amiss` hears what was amiss; `tell` how far it is. Raises InputError for whatever is no log.
    """
    shown = name if name is not None else str(path)
    heard = amiss if amiss is not None else Amiss(shown)
    try:
        with open_regular(path, shown) as file:
            size = os.fstat(file.fileno()).st_size
            is_parquet = file.read(4) == b"PAR1"
            file.seek(0)
            if is_parquet:
                from linkwright.watch.log.parquet import parquet_batches

                yield from parquet_batches(file, shown, mapping, heard, tell)
            else:
                yield from csv_batches(_in_utf_8(file), shown, mapping, heard, size, tell)
    except FileNotFoundError:
        raise InputError("there is no such file; expected a receiver's log", path=shown) from None
    except PermissionError:
        raise InputError("the file may not be read; give yourself the right to read it", path=shown) from None
    except OSError as error:
        raise InputError(f"the file could not be read ({error.strerror or error})", path=shown) from None
    heard.finish()


def _in_utf_8(file: BinaryIO) -> BinaryIO:
    """A stream of text as UTF-8, also where it is the UTF-16 of spreadsheets."""
    begins = file.read(2)
    file.seek(0)
    if begins not in (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE):
        return file
    return cast("BinaryIO", codecs.EncodedFile(file, "utf-8", "utf-16", errors="replace"))


def read_log(path: Path, name: str | None = None, mapping: Mapping = TIDY, tell: Tell | None = None) -> Log:
    """A whole log, sorted. Raises InputError as `read_batches`."""
    amiss = Amiss(name if name is not None else str(path))
    batches = list(read_batches(path, name, mapping, amiss, tell))
    return Log.of(batches, amiss.told)


def csv_batches(
    file: BinaryIO, name: str, mapping: Mapping, amiss: Amiss, size: int | None = None, tell: Tell | None = None
) -> Iterator[Batch]:
    """The readings of a CSV log out of a stream of bytes. Raises InputError."""
    block = file.read(BLOCK_BYTES)
    header, start, line = _header(block, name)
    delimiter, decimal = _marks(header, mapping)
    cells = _cells(header, delimiter, name, line)
    guess = likely(cells, block[start : start + LOOKED_AT].decode("utf-8", "replace"), delimiter, mapping)
    mapping = guess.mapping
    kinds = _kinds(cells, mapping, name, line)
    joins = joins_of(cells, mapping)
    again = cells[int(np.flatnonzero(kinds == scan.TIME)[0])]
    if guess.told:
        amiss.told.append(guess.told)
    places = _ORDERS[mapping.dates] if mapping.time_unit is None else _PLACES[mapping.time_unit]
    marks = np.array([ord(delimiter), ord(decimal), places], dtype=np.int64)
    names, ranges, done = NameTable(mapping), scale_and_range(mapping), len(block)
    block = block[start:]
    while block:
        more = file.read(BLOCK_BYTES)
        done += len(more)
        cut = block.rfind(b"\n") + 1 if more else len(block)
        if more and cut == 0:
            if len(block) > MOST_LINE:
                raise InputError(
                    f"has a line of more than {MOST_LINE} bytes; expected CSV", path=name, line=line + 1
                )
            block += more
            continue
        whole, block = block[:cut], block[cut:] + more
        if not whole.endswith(b"\n"):
            whole += b"\n"
        if joins:
            whole = joined(whole, joins, delimiter)
        batch, lines = _scanned(whole, (kinds, marks, ranges), names, amiss, line, again)
        line += lines
        if len(batch):
            yield batch
        if tell is not None and size:
            tell(f"reading {name}", min(1.0, done / size))


def _header(block: bytes, name: str) -> tuple[str, int, int]:
    """The line of column names, where the rows begin, and its number. Raises InputError."""
    if b"\0" in block[:65_536]:
        raise InputError("is not UTF-8 text; expected a log as CSV or Parquet", path=name)
    at, line = 3 if block.startswith(b"\xef\xbb\xbf") else 0, 0
    while at < len(block):
        end = block.find(b"\n", at)
        stop = len(block) if end < 0 else end
        line += 1
        text = block[at:stop].strip()
        at = stop + 1
        if text and not text.startswith(b"#"):
            if len(text) > MOST_LINE:
                raise InputError(f"has a line of more than {MOST_LINE} bytes; expected CSV", path=name, line=line)
            try:
                return text.decode("utf-8"), at, line
            except UnicodeDecodeError:
                raise InputError("is not UTF-8 text; expected a log as CSV or Parquet", path=name) from None
    raise InputError("is empty; expected a receiver's log with a line of column names", path=name)


def _marks(header: str, mapping: Mapping) -> tuple[str, str]:
    """What stands between two cells, and the decimal mark."""
    delimiter = mapping.delimiter or max(",;\t", key=header.count)
    return delimiter, mapping.decimal or ("," if delimiter == ";" else ".")


def _cells(header: str, delimiter: str, name: str, line: int) -> list[str]:
    """The names of the columns. Raises InputError."""
    try:
        return [cell.strip() for cell in next(csv.reader([header], delimiter=delimiter))]
    except (csv.Error, StopIteration):
        raise InputError("has no line of column names", path=name, line=line) from None


def _kinds(cells: list[str], mapping: Mapping, name: str, line: int) -> np.ndarray:
    """What each column is. Raises InputError where the time, the links or every value is missing."""
    kinds = np.full(len(cells), scan.SKIP, dtype=np.int64)
    for n, key in enumerate(("time", "link", *FIELDS)):
        column = column_index(cells, key, mapping, name, line)
        if column is not None:
            kinds[column] = n
    return kinds


def _scanned(
    whole: bytes,
    how: tuple[np.ndarray, np.ndarray, np.ndarray],
    names: NameTable,
    amiss: Amiss,
    line: int,
    again: str,
) -> tuple[Batch, int]:
    """The readings in whole lines, and how many lines those are; `again` : the name of the column of times."""
    kinds, marks, ranges = how
    data = np.frombuffer(whole, dtype=np.uint8)
    most = whole.count(b"\n") + 1
    times, local = np.empty(most, dtype=np.int64), np.empty(most, dtype=np.uint8)
    links, values = np.empty(most, dtype=np.int32), np.empty((most, len(FIELDS)), dtype=np.float32)
    bad = np.zeros((scan.MOST_BAD, 4), dtype=np.int64)
    rows, lines, faulty, known = scan.scan_lines(
        data, kinds, marks, ranges, names.keys, names.ids, names.places, names.index.size,
        times, local, links, values, bad,
    )  # fmt: skip
    names.met(whole, known, amiss.name, line + 1)
    for number, code, begin, stop in bad[:faulty].tolist():
        text = whole[begin:stop].decode("utf-8", "replace")
        if text.strip('" ').endswith(again):
            faulty -= 1  # the names of the columns once more: logs that were put in turn
        else:
            amiss.refuse(0, f"line {line + number}: {_why(code, text)}")
    amiss.refuse(max(faulty, 0), "")
    amiss.rows += rows
    time_ns, refused = zoned(times[:rows], local[:rows].astype(bool), names.mapping, amiss, line + 1)
    index = links[:rows] if names.mapping.link is not None else names.index[links[:rows]]
    time_ns = time_ns + (names.shift_ns()[index] if rows else 0)
    batch = Batch(tuple(names.ours), index.astype(np.int32), time_ns, values[:rows])
    return _kept(batch, refused), lines


def _kept(batch: Batch, refused: np.ndarray) -> Batch:
    if not refused.any():
        return batch
    keep = ~refused
    return Batch(batch.names, batch.link[keep], batch.time_ns[keep], batch.values[keep])


def _why(code: int, text: str) -> str:
    """What is wrong with a line, in words."""
    kind, shown = code & 255, repr(text[:40])
    key = FIELDS[min(code >> 8, len(FIELDS) - 1)]
    low, high = RANGES[FIELDS.index(key)]
    return {
        scan.BAD_TIME: f"the time is {shown}; expected ISO 8601 with offset, as 2027-05-14T09:00:00.000+01:00",
        scan.BAD_NUMBER: f"{key} is {shown}; expected a number",
        scan.OUT_OF_RANGE: f"{key} is {shown}; expected {low:g} to {high:g}",
        scan.FEW_CELLS: "it has too few cells",
        scan.NO_LINK: "it names no link",
        scan.MANY_LINKS: f"it has one more link than {MOST_LINKS}; is that column the link?",
        scan.BAD_QUOTES: "its quotes do not match",
    }[kind]
