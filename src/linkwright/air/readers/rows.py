"""Rows of the two generic SDR sweep utilities: date, time, low Hz, high Hz, step Hz, samples, levels [dB].

Both write the same columns and mean different things by them. They are told apart by their structure:

- the *first* prints the last level of each row twice, so a row has (high - low) / step + 1 levels (one more
  or less where it cropped the ends) and the last two are equal in every row; bin i lies at low + i * step;
  the bin in the middle of a row is copied from its upper neighbour; `samples` counts the looks averaged;
- the *second* has exactly (high - low) / step levels in slices of 5 MHz, in no order; bin i lies at
  low + (i + 1/2) * step, and each level is one look (`samples` is the length of its transform);
- rows with exactly (high - low) / step levels that are not 5 MHz wide are taken for the first utility's
  with the second copy of the last level removed: a guess, and told as one.

A new sweep begins where a segment comes again, whatever the clock says.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import datetime
from typing import Literal, TypeAlias

import numpy as np

from linkwright.air.readers.decimals import Numbers, numbers_in
from linkwright.air.readers.grid import Segments, assembled
from linkwright.air.readers.options import ReadOptions
from linkwright.air.readers.text import MOST_DB, MOST_KHZ, Text, levels_in_range, refuse_many, shown
from linkwright.air.sweep import Sweep
from linkwright.shoot.errors import InputError
from linkwright.units import BoolArray, FloatArray, IntArray

Flavour: TypeAlias = Literal["first", "second", "trimmed"]

_ROW = re.compile(rb"^\s*\d{4}-\d\d-\d\d\s*,\s*\d\d:\d\d:\d\d", re.MULTILINE)
_EXPECTED = "expected date, time, low Hz, high Hz, step Hz, samples and levels, separated by commas"
_SLICE_HZ = 5e6
_HEAD = 4  # low, high, step, samples


@dataclass(frozen=True, eq=False)
class Rows:
    """All rows of a file: `head` (rows, 4), `counts` (rows) levels in each, `lines` (rows), and the levels.

    `parts` are the levels of some rows each, row after row: not joined, so that they are not held twice.
    `before`, `final` (rows) are the last two levels of each row; `infinite` how many levels are.
    """

    head: FloatArray
    counts: IntArray
    lines: IntArray
    parts: list[FloatArray]
    before: FloatArray
    final: FloatArray
    infinite: int
    started: datetime
    lasted_s: float | None


def looks_like_rows(head: bytes) -> bool:
    """Whether the beginning of the text has a row that starts with a date and a time."""
    return _ROW.search(head[:20_000]) is not None


def read(text: Text, options: ReadOptions) -> Sweep:
    """The sweep in such rows. Raises `InputError` with the line for a row that is not one."""
    name = text.name
    table, warnings = _parsed(text)
    flavour = _flavour(table, name)
    drop = 1 if flavour == "first" else 0
    segments = Segments(
        low_hz=table.head[:, 0],
        step_hz=table.head[:, 2],
        counts=table.counts,
        used=table.counts - drop,
        offset=0.5 if flavour == "second" else 0.0,
        copied_at=(table.counts - drop) // 2 if flavour == "first" else np.full(table.counts.size, -1),
    )
    grid = assembled(segments, table.parts, name)
    notes = [f"{grid.levels_db.shape[0]} sweeps: a new one begins where a segment comes again"]
    if grid.overlapping:
        notes.append("hops overlap: the higher level counts")
    if table.infinite:
        warnings.append(f"{table.infinite} levels are infinite and count as not looked at")
    understood, guessed, averages = _words(flavour, table, grid.copied, options)
    return Sweep(
        path=name,
        frequencies_khz=grid.frequencies_khz,
        levels_db=grid.levels_db,
        unit=options.unit or "dB",
        step_khz=grid.step_khz,
        resolution_khz=options.resolution_khz or grid.step_khz,
        averages=options.averages or averages,
        detector=options.detector or "rms",
        started=table.started,
        lasted_s=options.lasted_s if options.lasted_s is not None else table.lasted_s,
        format=f"rows of the {'second' if flavour == 'second' else 'first'} generic SDR sweep utility",
        copied=grid.copied,
        understood=tuple(notes + understood + options.stated()),
        guessed=tuple(guessed),
        warnings=tuple(warnings),
    )


def _parsed(text: Text) -> tuple[Rows, list[str]]:
    """Every row, block by block, so that little more than the numbers is held; and what must be warned of."""
    name = text.name
    read: list[tuple[FloatArray, IntArray, IntArray, FloatArray]] = []
    first = last = (0, b"")
    total = 0
    warnings: list[str] = []
    for number, block in text.blocks():
        if not block.endswith(b"\n") and _is_torn(block, last[1]):
            warnings.append("the last row is cut short and was left out")
            break
        lines = _lines(block, number, name)
        numbers = numbers_in(b"\n".join(lines), b",", skip=2)
        _refuse_numbers(numbers, lines, number, name)
        if numbers.counts.size:
            at = numbers.lines
            first = first if first[0] else (number + int(at[0]), lines[int(at[0])])
            last = number + int(at[-1]), lines[int(at[-1])]
            total += numbers.values.size
            refuse_many(total, name)
            head, counts, levels = _head_and_levels(numbers)
            _refuse_levels(levels, counts, at + number, name)
            read.append((head, counts, at + number, levels))
    if not read:
        raise InputError(f"found no row, {_EXPECTED}", path=name)
    started, ended = _time(first[1], first[0], name), _time(last[1], last[0], name)
    lasted_s = (ended - started).total_seconds()
    ends = [np.cumsum(counts) for _, counts, _, _ in read]
    rows = Rows(
        head=np.concatenate([head for head, _, _, _ in read]),
        counts=np.concatenate([counts for _, counts, _, _ in read]),
        lines=np.concatenate([lines for _, _, lines, _ in read]),
        parts=[levels for _, _, _, levels in read],
        before=np.concatenate([part[3][stop - 2] for part, stop in zip(read, ends, strict=True)]),
        final=np.concatenate([part[3][stop - 1] for part, stop in zip(read, ends, strict=True)]),
        infinite=sum(int(np.isinf(levels).sum()) for _, _, _, levels in read),
        started=started,
        lasted_s=lasted_s if lasted_s >= 0.0 else None,
    )
    return rows, warnings


def _lines(block: bytes, number: int, name: str) -> list[bytes]:
    """The lines of a block, comments emptied. Raises InputError for the first that is no row."""
    lines = [b"" if line.lstrip().startswith(b"#") else line for line in block.split(b"\n")]
    for offset, line in enumerate(lines):
        if line and _ROW.match(line) is None and line.strip():
            raise InputError(f"found {shown(line)}, {_EXPECTED}", path=name, line=number + offset)
    return lines


def _refuse_levels(levels: FloatArray, counts: IntArray, lines: IntArray, name: str) -> None:
    """Raise for the first row with a number that is no level."""
    if not levels_in_range(levels):
        bad = np.abs(np.where(np.isfinite(levels), levels, 0.0)) > MOST_DB
        row = int(np.searchsorted(np.cumsum(counts), int(np.argmax(bad)), side="right"))
        raise InputError("found a level that is no level, expected decibels", path=name, line=int(lines[row]))


def _head_and_levels(numbers: Numbers) -> tuple[FloatArray, IntArray, FloatArray]:
    """Head (rows, 4), counts of levels (rows) and levels (flat) of the numbers of some rows."""
    rows, columns = numbers.counts.size, int(numbers.counts[0])
    if np.all(numbers.counts == columns):
        table = numbers.values.reshape(rows, columns)
        return table[:, :_HEAD].copy(), numbers.counts - _HEAD, table[:, _HEAD:].ravel()
    begin = np.cumsum(numbers.counts) - numbers.counts
    head = begin[:, None] + np.arange(_HEAD)
    keep = np.ones(numbers.values.size, dtype=np.bool_)
    keep[head.ravel()] = False
    return numbers.values[head], numbers.counts - _HEAD, numbers.values[keep]


def _refuse_numbers(numbers: Numbers, lines: list[bytes], number: int, name: str) -> None:
    """Raise for the first of some rows that holds too few levels or something else than numbers."""
    short = np.flatnonzero(numbers.counts < _HEAD + 2)
    if short.size:
        at = number + int(numbers.lines[short[0]])
        raise InputError(f"found a row with fewer than two levels, {_EXPECTED}", path=name, line=at)
    if numbers.bad_line >= 0:
        raise InputError(
            f"found {shown(lines[numbers.bad_line])} with something in it that is no number, {_EXPECTED}",
            path=name,
            line=number + numbers.bad_line,
        )


def _time(line: bytes, number: int, name: str) -> datetime:
    date, clock = (part.strip().decode("ascii", "replace") for part in line.split(b",", 2)[:2])
    try:
        return datetime.fromisoformat(f"{date}T{clock[:15]}").replace(tzinfo=None)
    except ValueError:
        raise InputError(f'found "{date}, {clock}", expected a date and a time', path=name, line=number) from None


def _is_torn(last: bytes, before: bytes) -> bool:
    """Whether a last row without a line end was cut short when the recording was stopped."""
    if _ROW.match(before) is None or last.count(b",") >= before.count(b","):
        return False
    return _extra_levels(last) < _extra_levels(before) - 0.5


def _extra_levels(line: bytes) -> float:
    """How many levels a row has over (high - low) / step; -inf for a row that is not even that."""
    fields = line.split(b",")
    head = numbers_in(b",".join(fields[2 : 2 + _HEAD]), b",").values
    if head.size < _HEAD or not np.isfinite(head).all() or head[2] <= 0.0:
        return -np.inf
    return float(len(fields) - 2 - _HEAD - (head[1] - head[0]) / head[2])


def _flavour(table: Rows, name: str) -> Flavour:
    """Which utility wrote the rows; raises `InputError` for rows that neither can have written."""
    low, high, step = table.head[:, 0], table.head[:, 1], table.head[:, 2]
    with np.errstate(invalid="ignore"):
        sane = np.isfinite(table.head[:, :3]).all(axis=1) & (step > 0) & (low >= 0) & (high > low)
        sane &= high <= MOST_KHZ * 1e3
    _refuse_where(~sane, table, name, "expected 0 <= low < high and a positive step, in Hz")
    middle = float(np.median(step))
    _refuse_where(
        np.abs(step - middle) > 0.01 * middle, table, name, f"expected the step of the others, {middle:g} Hz"
    )
    asked = (high - low) / step
    extra = table.counts - asked
    twice = (table.final == table.before) | (np.isnan(table.final) & np.isnan(table.before))
    slices = bool(np.all(np.abs(high - low - _SLICE_HZ) <= 1.0))
    # A bad row must not decide for the others: the half of the rows does, and the bad one is then named.
    if np.mean(twice) > 0.5 and not (slices and np.all(np.abs(extra) <= 0.6)):
        wrong = (extra < -0.6) | (extra > 2.6) | ~twice
        flavour: Flavour = "first"
    else:
        wrong = np.abs(extra) > 0.6
        flavour = "second" if slices else "trimmed"
    at = int(np.argmax(wrong))
    more = " and the last one once more" if flavour == "first" else ""
    _refuse_where(
        wrong,
        table,
        name,
        f"expected (high - low) / step = {asked[at]:.1f} levels{more}, found {table.counts[at]}",
    )
    return flavour


def _refuse_where(wrong: BoolArray, table: Rows, name: str, expected: str) -> None:
    if wrong.any():
        at = int(np.argmax(wrong))
        low, high, step = (f"{value:g}" for value in table.head[at, :3])
        raise InputError(
            f"found low {low}, high {high}, step {step}; {expected}", path=name, line=int(table.lines[at])
        )


def _words(
    flavour: Flavour, table: Rows, copied: BoolArray, options: ReadOptions
) -> tuple[list[str], list[str], int | None]:
    """What was understood, what was guessed, and the averages in a level."""
    understood: list[str] = []
    guessed: list[str] = []
    if options.unit is None:
        guessed.append("levels are relative: the utility does not know the receiver's gain")
    if options.resolution_khz is None:
        guessed.append("noise bandwidth taken as the bin width: the window is not stated")
    if flavour == "second":
        understood.append("each level is one look; bins are centred at low + (i + 1/2) * step")
        return understood, guessed, 1
    samples = table.head[:, 3]
    whole = samples[np.isfinite(samples) & (samples >= 1)]
    averages = int(min(whole.min(), 1e9)) if whole.size == samples.size else None
    understood.append("bins are centred at low + i * step")
    if flavour == "first":
        understood.append("the second copy of the last level was left out")
        understood.append(f"{int(copied.sum())} bins in the middle of a hop are copies of their neighbour")
    else:
        guessed.append("rows of the first utility with the last level printed once; may be half a bin off")
    if averages is not None and options.averages is None:
        guessed.append(f"the samples column ({averages}) taken as the number of looks averaged")
    return understood, guessed, averages
