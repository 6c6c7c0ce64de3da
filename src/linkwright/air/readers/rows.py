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

from linkwright.air.readers.grid import Segments, assembled
from linkwright.air.readers.text import MOST_KHZ, levels_in_range, numbers, shown
from linkwright.air.sweep import Sweep
from linkwright.shoot.errors import InputError
from linkwright.units import BoolArray, FloatArray, IntArray

Flavour: TypeAlias = Literal["first", "second", "trimmed"]

_ROW = re.compile(rb"^\s*\d{4}-\d\d-\d\d\s*,\s*\d\d:\d\d:\d\d", re.MULTILINE)
_EXPECTED = "expected date, time, low Hz, high Hz, step Hz, samples and levels, separated by commas"
_SLICE_HZ = 5e6
_BATCH_ROWS = 20_000
_HEAD = 4  # low, high, step, samples


@dataclass(frozen=True, eq=False)
class Rows:
    """All rows of a file: `head` (rows, 4), `counts` (rows) levels in each, `levels` flat, `lines` (rows)."""

    head: FloatArray
    counts: IntArray
    levels: FloatArray
    lines: IntArray
    started: datetime
    lasted_s: float


def looks_like_rows(text: bytes) -> bool:
    """Whether the beginning of the text has a row that starts with a date and a time."""
    return _ROW.search(text[:20_000]) is not None


def read(text: bytes, name: str) -> Sweep:
    """The sweep in such rows. Raises `InputError` with the line for a row that is not one."""
    text, warnings = _without_torn_end(text)
    table = _parsed(text, name)
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
    grid = assembled(segments, table.levels, name)
    notes = [f"{grid.levels_db.shape[0]} sweeps: a new one begins where a segment comes again"]
    if grid.overlapping:
        notes.append("hops overlap: the higher level counts")
    infinite = int(np.isinf(table.levels).sum())
    if infinite:
        warnings.append(f"{infinite} levels are infinite and count as not looked at")
    understood, guessed, averages = _words(flavour, table, grid.copied)
    return Sweep(
        path=name,
        frequencies_khz=grid.frequencies_khz,
        levels_db=grid.levels_db,
        unit="dB",
        step_khz=grid.step_khz,
        resolution_khz=grid.step_khz,
        averages=averages,
        detector="rms",
        started=table.started,
        lasted_s=table.lasted_s,
        format=f"rows of the {'second' if flavour == 'second' else 'first'} generic SDR sweep utility",
        copied=grid.copied,
        understood=tuple(notes + understood),
        guessed=tuple(guessed),
        warnings=tuple(warnings),
    )


def _parsed(text: bytes, name: str) -> Rows:
    """Every row, in batches, so that little more than the numbers is held at a time."""
    heads: list[FloatArray] = []
    levels: list[FloatArray] = []
    counts: list[IntArray] = []
    numbered: list[IntArray] = []
    first = last = b""
    lines = text.split(b"\n")
    for start in range(0, len(lines), _BATCH_ROWS):
        batch = [
            (start + number, line)
            for number, line in enumerate(lines[start : start + _BATCH_ROWS], start=1)
            if line.strip() and not line.lstrip().startswith(b"#")
        ]
        if not batch:
            continue
        first, last = first or batch[0][1], batch[-1][1]
        at = np.array([number for number, _ in batch], dtype=np.int64)
        flat, size = _batch_numbers(batch, name)
        begin = np.cumsum(size) - size
        head = begin[:, None] + np.arange(_HEAD)
        heads.append(flat[head])
        keep = np.ones(flat.size, dtype=np.bool_)
        keep[head.ravel()] = False
        levels.append(flat[keep])
        counts.append(size - _HEAD)
        numbered.append(at)
    started, ended = _time(first, int(numbered[0][0]), name), _time(last, int(numbered[-1][-1]), name)
    return Rows(
        head=np.concatenate(heads),
        counts=np.concatenate(counts),
        levels=np.concatenate(levels),
        lines=np.concatenate(numbered),
        started=started,
        lasted_s=(ended - started).total_seconds(),
    )


def _batch_numbers(batch: list[tuple[int, bytes]], name: str) -> tuple[FloatArray, IntArray]:
    """All numbers after date and time (flat), and how many of them each row has."""
    rests = []
    for number, line in batch:
        parts = line.split(b",", 2)
        if len(parts) < 3 or _ROW.match(line) is None:
            raise InputError(f"found {shown(line)}, {_EXPECTED}", path=name, line=number)
        rests.append(parts[2].rstrip(b", \t"))
    size = np.array([rest.count(b",") + 1 for rest in rests], dtype=np.int64)
    short = np.flatnonzero(size < _HEAD + 2)
    if short.size:
        number, line = batch[int(short[0])]
        raise InputError(f"found a row with fewer than two levels, {_EXPECTED}", path=name, line=number)
    flat = numbers(b",".join(rests), ",")
    if flat is None or flat.size != int(size.sum()):
        for (number, line), rest, expected in zip(batch, rests, size, strict=True):
            row = numbers(rest, ",")
            if row is None or row.size != expected:
                raise InputError(
                    f"found {shown(line)} with something in it that is no number, {_EXPECTED}",
                    path=name,
                    line=number,
                )
        raise InputError(f"the rows could not be read as numbers; {_EXPECTED}", path=name)
    return flat, size


def _time(line: bytes, number: int, name: str) -> datetime:
    date, clock = (part.strip().decode("ascii", "replace") for part in line.split(b",", 2)[:2])
    try:
        return datetime.fromisoformat(f"{date}T{clock[:15]}").replace(tzinfo=None)
    except ValueError:
        raise InputError(f'found "{date}, {clock}", expected a date and a time', path=name, line=number) from None


def _without_torn_end(text: bytes) -> tuple[bytes, list[str]]:
    """The text without a last row that was cut short when the recording was stopped."""
    whole, _, last = text.rpartition(b"\n")
    before = whole.rstrip().rpartition(b"\n")[2]
    if not last.strip() or _ROW.match(before) is None or last.count(b",") >= before.count(b","):
        return text, []
    if _extra_levels(last) >= _extra_levels(before) - 0.5:
        return text, []
    return whole, ["the last row is cut short and was left out"]


def _extra_levels(line: bytes) -> float:
    """How many levels a row has over (high - low) / step; -inf for a row that is not even that."""
    fields = line.split(b",")
    head = numbers(b",".join(fields[2 : 2 + _HEAD]), ",")
    if head is None or head.size < _HEAD or not np.isfinite(head).all() or head[2] <= 0.0:
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
    starts = np.cumsum(table.counts) - table.counts
    final = table.levels[starts + table.counts - 1]
    before = table.levels[starts + table.counts - 2]
    twice = (final == before) | (np.isnan(final) & np.isnan(before))
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
    if not levels_in_range(table.levels):
        bad = np.abs(np.where(np.isfinite(table.levels), table.levels, 0.0)) > 400.0
        row = int(np.searchsorted(starts, int(np.argmax(bad)), side="right")) - 1
        raise InputError("found a level that is no level, expected decibels", path=name, line=int(table.lines[row]))
    return flavour


def _refuse_where(wrong: BoolArray, table: Rows, name: str, expected: str) -> None:
    if wrong.any():
        at = int(np.argmax(wrong))
        low, high, step = (f"{value:g}" for value in table.head[at, :3])
        raise InputError(
            f"found low {low}, high {high}, step {step}; {expected}", path=name, line=int(table.lines[at])
        )


def _words(flavour: Flavour, table: Rows, copied: BoolArray) -> tuple[list[str], list[str], int | None]:
    """What was understood, what was guessed, and the averages in a level."""
    understood: list[str] = []
    guessed = ["levels are relative: the utility does not know the receiver's gain"]
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
    if averages is not None:
        guessed.append(f"the samples column ({averages}) taken as the number of looks averaged")
    return understood, guessed, averages
