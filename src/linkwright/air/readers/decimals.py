"""Decimal numbers out of lines of text: plain for small blocks, compiled for large ones, with the same result.

Loading compiled code takes longer than a small file (docs/decisions/0002); a large one is read several
times faster by it. Tests hold the two to each other, and both to Python's own `float`.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np

from linkwright.units import FloatArray, IntArray

#: From this size on a block is worth loading the compiled loop for [bytes].
COMPILED_FROM_BYTES = 1_500_000
_AFTER = b" \t,;"
_OTHER_NUMBERS = re.compile(rb"[_()jJxX]")


@dataclass(frozen=True, eq=False)
class Numbers:
    """The numbers of a block: `values` (n), `counts` (lines) of each line that is not blank, `lines` (lines).

    `lines` counts from 0, the block's first line. `bad_line` is the first line that holds something that is
    no number, -1 for none; values from there on are not to be used.
    """

    values: FloatArray
    counts: IntArray
    lines: IntArray
    bad_line: int


def numbers_in(block: bytes, separator: bytes, *, decimal_comma: bool = False, skip: int = 0) -> Numbers:
    """The numbers in every line of `block` after the first `skip` fields.

    `separator` is one byte; a blank stands for any run of blanks and tabs. Blanks, tabs, commas and semicolons
    at the end of a line, and blank lines, do not count. "nan", "inf" and "infinity" are numbers.
    """
    if len(block) >= COMPILED_FROM_BYTES:
        numbers = _compiled(block, separator, decimal_comma, skip)
        if numbers is not None:
            return numbers
    return plain(block, separator, decimal_comma, skip)


def plain(block: bytes, separator: bytes, decimal_comma: bool, skip: int) -> Numbers:
    """The same by Python's own means, for any number of digits."""
    values: list[float] = []
    counts: list[int] = []
    lines: list[int] = []
    bad = -1
    odd = _OTHER_NUMBERS.search(block) is not None  # what Python takes for a number and a sweep file does not
    for number, line in enumerate(block.split(b"\n")):
        line = line.strip(b" \t\x0b\x0c")
        if not line.strip(_AFTER):
            continue
        line = line.rstrip(_AFTER)
        if decimal_comma and b"." in line:
            bad = number
            break
        fields = (line.split() if separator == b" " else line.split(separator))[skip:]
        if odd and any(_OTHER_NUMBERS.search(field) for field in fields):
            bad = number
            break
        try:
            values += (
                [float(field.replace(b",", b".")) for field in fields] if decimal_comma else map(float, fields)
            )
        except ValueError:
            bad = number
            break
        counts.append(len(fields))
        lines.append(number)
    return Numbers(np.array(values), np.array(counts, dtype=np.int64), np.array(lines, dtype=np.int64), bad)


def _compiled(block: bytes, separator: bytes, decimal_comma: bool, skip: int) -> Numbers | None:
    """The compiled loop; None where it met a number with more digits than it can round correctly."""
    from linkwright.air.readers.decimal_kernel import scan

    data = np.frombuffer(block if block.endswith(b"\n") else block + b"\n", dtype=np.uint8)
    values = np.empty(data.size // 2 + 1)
    most_lines = int(np.count_nonzero(data == 10)) + 1
    counts, lines = np.empty(most_lines, dtype=np.int64), np.empty(most_lines, dtype=np.int64)
    count, rows, bad = scan(data, separator[0], 44 if decimal_comma else 46, skip, values, counts, lines)
    if bad == -2:
        return None
    return Numbers(values[:count].copy(), counts[:rows].copy(), lines[:rows].copy(), int(bad))
