"""A header of free text and a table of numbers under it, read block by block."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from linkwright.air.readers import layout as layouts
from linkwright.air.readers.decimals import numbers_in
from linkwright.air.readers.layout import Layout
from linkwright.air.readers.text import Text, refuse_many, shown
from linkwright.shoot.errors import InputError
from linkwright.units import FloatArray

EXPECTED = "expected columns of numbers (frequency and levels), or rows of a generic SDR sweep utility"
_HEADER_LINES = 400
_LINES_LOOKED_AT = 20


@dataclass(frozen=True, eq=False)
class Table:
    """`header` as text, `values` (lines, columns), the file's line of each (lines), and the layout."""

    header: bytes
    values: FloatArray
    lines: NDArray[np.int32]
    layout: Layout


@dataclass(frozen=True)
class Beginning:
    """Where the numbers begin: offset in the head, its line (from 1) and the layout of that line."""

    offset: int
    line: int
    layout: Layout


def beginning(head: bytes) -> Beginning | None:
    """Where the numbers begin, in a head that was freed of quotes and units; None where there are none.

    A line with one number alone counts only where no line has more.
    """
    start = 0
    alone: Beginning | None = None
    for number in range(1, _HEADER_LINES + 1):
        stop = head.find(b"\n", start)
        line = head[start:] if stop < 0 else head[start:stop]
        if line.strip(b" \t") and not layouts.is_comment(line):
            layout = layouts.layout_of(line)
            if layout is not None:
                return Beginning(start, number, layout)
            alone_layout = layouts.layout_of_one(line) if alone is None else None
            alone = Beginning(start, number, alone_layout) if alone_layout is not None else alone
        if stop < 0:
            break
        start = stop + 1
    return alone


def read_table(text: Text) -> Table:
    """The table in a text. Raises `InputError` with the line where something else than the table begins."""
    head = layouts.without_quotes_and_units(text.head)
    start = beginning(head)
    first = layouts.without_quotes_and_units(text.head[:8000]).split(b"\n")
    if start is None:
        number, line = next(((n, row) for n, row in enumerate(first, start=1) if row.strip()), (1, b""))
        layouts.refuse_ambiguous([line], layouts.LAYOUTS[0], number, text.name)
        raise InputError(f"found {shown(line)}, {EXPECTED}", path=text.name, line=number)
    body = layouts.without_comments(head[start.offset : start.offset + 20_000]).split(b"\n")[:_LINES_LOOKED_AT]
    layouts.refuse_ambiguous(body, start.layout, start.line, text.name)
    values, lines = _numbers(text, start)
    return Table(head[: start.offset], values, lines, start.layout)


def _numbers(text: Text, start: Beginning) -> tuple[FloatArray, NDArray[np.int32]]:
    """All numbers (lines, columns) and their lines."""
    parts: list[FloatArray] = []
    numbered: list[NDArray[np.int32]] = []
    columns = total = 0
    for number, block in text.blocks():
        block = layouts.without_quotes_and_units(block)
        if number < start.line:
            block, number = block[start.offset :], start.line
        block = layouts.without_comments(block)
        numbers = numbers_in(block, start.layout.separator, decimal_comma=start.layout.decimal_comma)
        if numbers.counts.size:
            columns = columns or int(numbers.counts[0])
        odd = np.flatnonzero(numbers.counts != columns)
        bad = int(numbers.lines[odd[0]]) if odd.size else numbers.bad_line
        if bad >= 0:
            line = block.split(b"\n", bad + 1)[bad]
            raise _no_such_line(line, columns, start.layout, number + bad, text.name)
        total += numbers.values.size
        refuse_many(total, text.name)
        parts.append(numbers.values)
        numbered.append((numbers.lines + number).astype(np.int32))
    return _joined(parts).reshape(-1, max(1, columns)), np.concatenate(numbered)


def _joined(parts: list[FloatArray]) -> FloatArray:
    """All parts in one array; each goes as soon as it is copied, so that they are not held twice."""
    whole = np.empty(sum(part.size for part in parts))
    start = 0
    parts.reverse()
    while parts:
        part = parts.pop()
        whole[start : start + part.size] = part
        start += part.size
    return whole


def _no_such_line(line: bytes, columns: int, layout: Layout, number: int, name: str) -> InputError:
    layouts.refuse_ambiguous([line], layout, number, name)
    what = {1: "a level", 2: "a frequency and a level"}.get(columns, f"{columns} numbers")
    return InputError(
        f"found {shown(line)}, expected {what} separated by {layout.word}, "
        f"with a decimal {'comma' if layout.decimal_comma else 'point'}, as in the lines before",
        path=name,
        line=number,
    )
