"""Reading a log file, CSV or Parquet, in batches: a long one is never in memory whole."""

from __future__ import annotations

import csv
import stat
from collections.abc import Callable, Generator, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import BinaryIO, Final

import numpy as np

from linkwright.shoot.errors import InputError, did_you_mean
from linkwright.units import IntArray
from linkwright.watch import scan
from linkwright.watch.mapping import TIDY, Mapping
from linkwright.watch.record import FIELDS, FIRST_NS, LAST_NS, MOST_LINKS, MOST_NAME, RANGES, SECOND_NS, Batch, Log

#: How much is read at once [bytes], and the longest line [bytes].
BLOCK_BYTES: Final = 8 * 1024 * 1024
MOST_LINE: Final = 1024 * 1024
#: Rows that cannot be read are left out and told; from this share on it is no log.
MOST_REFUSED: Final = 0.1
_PLACES: Final = {"s": 9, "ms": 6, "us": 3, "ns": 0}
_HOUR_NS: Final = 3600 * SECOND_NS

Tell = Callable[[str, float], None]


@dataclass
class Intake:
    """What was found amiss in a log while it was read; `told` says it in sentences."""

    name: str
    rows: int = 0
    refused: int = 0
    first_refused: str = ""
    told: list[str] = field(default_factory=list)

    def refuse(self, many: int, first: str) -> None:
        """Count rows that cannot be read; the first is told."""
        self.refused += many
        self.first_refused = self.first_refused or first

    def finish(self) -> None:
        """Say what was left out. Raises InputError where that is too much, or nothing is left."""
        if self.refused and self.refused > MOST_REFUSED * (self.rows + self.refused):
            raise InputError(f"{self.first_refused} ({self.refused} of {self.rows + self.refused} rows are faulty)",
                             path=self.name)  # fmt: skip
        if not self.rows:
            raise InputError("has no readings; expected a receiver's log", path=self.name)
        if self.refused:
            was = "row was" if self.refused == 1 else "rows were"
            self.told.append(f"{self.refused} {was} left out, the first because {self.first_refused}")


def read_batches(
    path: Path, name: str | None = None, mapping: Mapping = TIDY, intake: Intake | None = None,
    tell: Tell | None = None,
) -> Generator[Batch, None, None]:  # fmt: skip
    """The readings of a log, batch by batch, in the order of the file; names of links keep their places.

    `intake` hears what was amiss; `tell` how far it is. Raises InputError for whatever is no log.
    """
    shown = name if name is not None else str(path)
    heard = intake if intake is not None else Intake(shown)
    try:
        found = path.stat()
        if not stat.S_ISREG(found.st_mode):
            what = "a folder" if stat.S_ISDIR(found.st_mode) else "a device or a pipe"
            raise InputError(f"found {what}, expected a receiver's log", path=shown)
        with path.open("rb") as file:
            is_parquet = file.read(4) == b"PAR1"
            file.seek(0)
            if is_parquet:
                from linkwright.watch.parquet import parquet_batches

                yield from parquet_batches(file, shown, mapping, heard, tell)
            else:
                yield from csv_batches(file, shown, mapping, heard, found.st_size, tell)
    except FileNotFoundError:
        raise InputError("there is no such file; expected a receiver's log", path=shown) from None
    except PermissionError:
        raise InputError("the file may not be read; give yourself the right to read it", path=shown) from None
    except OSError as error:
        raise InputError(f"the file could not be read ({error.strerror or error})", path=shown) from None
    heard.finish()


def read_log(path: Path, name: str | None = None, mapping: Mapping = TIDY, tell: Tell | None = None) -> Log:
    """A whole log, sorted. Raises InputError as `read_batches`."""
    intake = Intake(name if name is not None else str(path))
    batches = list(read_batches(path, name, mapping, intake, tell))
    return Log.of(batches, intake.told)


class Names:
    """The links' names as they are met: a table for the compiled loop, and what they are called with us."""

    def __init__(self, mapping: Mapping) -> None:
        size = 4 * MOST_LINKS
        self.keys = np.zeros(1 << (size - 1).bit_length(), dtype=np.int64)
        self.ids = np.full(self.keys.size, -1, dtype=np.int32)
        self.places = np.zeros((MOST_LINKS, 2), dtype=np.int64)
        self.mapping = mapping
        self.ours: list[str] = [] if mapping.link is None else [mapping.link]
        self.index = np.zeros(0, dtype=np.int32)

    def met(self, data: bytes, known: int, name: str, line: int) -> None:
        """Take in the names that are new in a block. Raises InputError for one that is none."""
        for n in range(self.index.size, known):
            raw = data[self.places[n, 0] : self.places[n, 1]]
            try:
                text = raw.decode("utf-8")
            except UnicodeDecodeError:
                raise InputError("has a link's name that is not UTF-8 text", path=name, line=line) from None
            ours = self.mapping.rename.get(text, text)
            if len(ours) > MOST_NAME or not ours.isprintable():
                shown = repr(ours[:30])
                raise InputError(f"has the link {shown}; expected a name of 1 to {MOST_NAME} letters", path=name)
            if ours not in self.ours:
                self.ours.append(ours)
            self.index = np.append(self.index, np.int32(self.ours.index(ours)))

    def shift_ns(self) -> IntArray:
        """What is added to the times of each link [ns]."""
        mapping = self.mapping
        return np.array(
            [round((mapping.clock_s + mapping.clock.get(name, 0.0)) * SECOND_NS) for name in self.ours], np.int64
        )


def csv_batches(
    file: BinaryIO, name: str, mapping: Mapping, intake: Intake, size: int | None = None, tell: Tell | None = None
) -> Iterator[Batch]:
    """The readings of a CSV log out of a stream of bytes. Raises InputError."""
    block = file.read(BLOCK_BYTES)
    header, start, line = _header(block, name)
    delimiter, decimal = _marks(header, mapping)
    kinds = _kinds(header, delimiter, mapping, name, line)
    places = -1 if mapping.time_unit is None else _PLACES[mapping.time_unit]
    marks = np.array([ord(delimiter), ord(decimal), places], dtype=np.int64)
    names, ranges, done = Names(mapping), scale_and_range(mapping), len(block)
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
        batch, lines = _scanned(whole, (kinds, marks, ranges), names, intake, line, header)
        line += lines
        if len(batch):
            yield batch
        if tell is not None and size:
            tell(f"reading {name}", min(1.0, done / size))


def scale_and_range(mapping: Mapping) -> np.ndarray:
    """Scale, offset, least and most of every value, shape (4, 6)."""
    rows = [[mapping.scale.get(key, 1.0), mapping.offset.get(key, 0.0), *RANGES[n]] for n, key in enumerate(FIELDS)]
    return np.array(rows).T.copy()


def _header(block: bytes, name: str) -> tuple[str, int, int]:
    """The line of column names, where the rows begin, and its number. Raises InputError."""
    if block.startswith((b"\xff\xfe", b"\xfe\xff")) or b"\0" in block[:65_536]:
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


def _kinds(header: str, delimiter: str, mapping: Mapping, name: str, line: int) -> np.ndarray:
    """What each column is. Raises InputError where the time, the links or every value is missing."""
    try:
        cells = [cell.strip() for cell in next(csv.reader([header], delimiter=delimiter))]
    except (csv.Error, StopIteration):
        raise InputError("has no line of column names", path=name, line=line) from None
    kinds = np.full(len(cells), scan.SKIP, dtype=np.int64)
    for n, key in enumerate(("time", "link", *FIELDS)):
        column = column_index(cells, key, mapping, name, line)
        if column is not None:
            kinds[column] = n
    return kinds


def column_index(cells: list[str], key: str, mapping: Mapping, name: str, line: int | None = None) -> int | None:
    """Where one of our columns stands; None where the log has none. Raises InputError where it must have it."""
    wanted = mapping.column_of(key)
    found = [n for n, cell in enumerate(cells) if cell == wanted]
    found = found or [n for n, cell in enumerate(cells) if cell.lower() == wanted.lower()]
    if len(found) > 1:
        raise InputError(f'has {len(found)} columns "{wanted}"; expected one', path=name, line=line)
    if found:
        return None if key == "link" and mapping.link is not None else found[0]
    shown = ", ".join(f'"{cell[:30]}"' for cell in cells[:8])
    if key in mapping.column:
        near = did_you_mean(wanted, cells) or f" (its columns are {shown})"
        raise InputError(f'has no column "{wanted}", which the mapping names for {key}{near}', path=name, line=line)
    if key == "time" or (key == "link" and mapping.link is None):
        near = did_you_mean(key, cells)
        hint = "" if key == "time" else ", or say which link it is of in a mapping file (link = ...)"
        raise InputError(
            f'has no column "{key}"{near}; expected a receiver\'s log{hint} (its columns are {shown})',
            path=name, line=line,
        )  # fmt: skip
    if key == FIELDS[-1] and not {mapping.column_of(one).lower() for one in FIELDS} & {c.lower() for c in cells}:
        raise InputError(
            f"has no column of values; expected one of {', '.join(FIELDS)} (its columns are {shown})",
            path=name, line=line,
        )  # fmt: skip
    return None


def _scanned(
    whole: bytes,
    how: tuple[np.ndarray, np.ndarray, np.ndarray],
    names: Names,
    intake: Intake,
    line: int,
    header: str,
) -> tuple[Batch, int]:
    """The readings in whole lines, and how many lines those are."""
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
    names.met(whole, known, intake.name, line + 1)
    for number, code, begin, stop in bad[:faulty].tolist():
        text = whole[begin:stop].decode("utf-8", "replace")
        if text == header.split(chr(marks[0]))[0].strip('" '):
            faulty -= 1  # the names of the columns once more: logs that were put one after another
        else:
            intake.refuse(0, f"line {line + number}: {_why(code, text)}")
    intake.refuse(max(faulty, 0), "")
    intake.rows += rows
    time_ns, refused = zoned(times[:rows], local[:rows].astype(bool), names.mapping, intake, line + 1)
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


def zoned(
    time_ns: IntArray, local: np.ndarray, mapping: Mapping, intake: Intake, line: int | None
) -> tuple[IntArray, np.ndarray]:
    """Times in UTC, local ones by the mapping's zone, and which rows are refused for a time out of all range.

    Raises InputError for a time without offset where the mapping names no zone.
    """
    if local.any():
        zone = mapping.tzinfo
        if zone is None:
            raise InputError(
                "has times without an offset; expected ISO 8601 with one, as 2027-05-14T09:00:00+01:00, or the "
                'zone in a mapping file (zone = "Europe/London")',
                path=intake.name, line=line,
            )  # fmt: skip
        import datetime

        hours, which = np.unique(time_ns // (_HOUR_NS // 4), return_inverse=True)
        away = []
        for quarter in hours.tolist():
            at = datetime.datetime.fromtimestamp(quarter * 900, datetime.UTC).replace(tzinfo=zone)
            offset = at.utcoffset()
            away.append(0 if offset is None else round(offset.total_seconds() * SECOND_NS))
        time_ns = np.where(local, time_ns - np.array(away, dtype=np.int64)[which], time_ns)
    refused = (time_ns < FIRST_NS) | (time_ns > LAST_NS)
    if refused.any():
        many = int(refused.sum())
        intake.rows -= many
        intake.refuse(many, f"a time near line {line} lies before 2000 or after 2200")
    return np.asarray(time_ns, dtype=np.int64), refused
