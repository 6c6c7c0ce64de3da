"""Tables laid out for the width that there is, so that no number is cut in two."""

from __future__ import annotations

import textwrap
from collections.abc import Collection, Sequence
from typing import Final

#: Between two columns, and what a column of sentences is wrapped to at least.
GAP: Final = 2
LEAST_WRAPPED: Final = 20
#: A cell of more words than this is a sentence, which may be wrapped.
WORDS: Final = 4


def laid_out(
    width: int, columns: Sequence[str], rows: Sequence[Sequence[str]], right: Collection[str]
) -> tuple[str, list[list[str]]]:
    """The head of a table and the lines of each row, without blanks at their ends; no head where rows are lines."""
    wide = [max(map(len, cells)) for cells in zip(columns, *rows, strict=True)]
    over = sum(wide) + GAP * (len(wide) - 1) - width
    if over > 0:
        for n in sorted(_sentences(columns, rows, right), key=lambda n: -wide[n]):
            taken = min(over, max(0, wide[n] - LEAST_WRAPPED))
            wide[n], over = wide[n] - taken, over - taken
    if over > 0:
        return "", [_as_lines(width, columns, row) for row in rows]
    flush = [column in right for column in columns]
    return _line(columns, wide, flush), [_wrapped(row, wide, flush) for row in rows]


def fitting(
    width: int, columns: Sequence[str], rows: Sequence[Sequence[str]], right: Collection[str], drop: Sequence[str]
) -> tuple[str, ...]:
    """The fewest columns, the first of `drop`, without which there is room; none where that does not do."""
    for count in range(len(drop) + 1):
        kept = [n for n, column in enumerate(columns) if column not in drop[:count]]
        shown = [[row[n] for n in kept] for row in rows]
        if laid_out(width, [columns[n] for n in kept], shown, right)[0]:
            return tuple(drop[:count])
    return ()


def _sentences(columns: Sequence[str], rows: Sequence[Sequence[str]], right: Collection[str]) -> list[int]:
    """The columns that hold sentences."""
    return [
        n
        for n, column in enumerate(columns)
        if column not in right and any(len(row[n].split()) > WORDS for row in rows)
    ]


def _wrapped(row: Sequence[str], wide: Sequence[int], flush: Sequence[bool]) -> list[str]:
    cells = [
        textwrap.wrap(cell, room, break_on_hyphens=False) if len(cell) > room else [cell]
        for cell, room in zip(row, wide, strict=True)
    ]
    lines = max(map(len, cells))
    return [_line([cell[n] if n < len(cell) else "" for cell in cells], wide, flush) for n in range(lines)]


def _line(cells: Sequence[str], wide: Sequence[int], flush: Sequence[bool]) -> str:
    placed = (
        cell.rjust(room) if right else cell.ljust(room)
        for cell, room, right in zip(cells, wide, flush, strict=True)
    )
    return (" " * GAP).join(placed).rstrip()


def _as_lines(width: int, columns: Sequence[str], row: Sequence[str]) -> list[str]:
    """A row as its first cell, and beneath it every other with its column's name."""
    lines, line = [row[0]], ""
    for column, cell in zip(columns[1:], row[1:], strict=True):
        if not cell:
            continue
        said = f"{column} {cell}".strip()
        if line and len(line) + 2 + len(said) > width:
            lines.append(f"{line};")
            line = ""
        line = f"{line}; {said}" if line else f"  {said}"
        if len(line) > width:
            *whole, line = textwrap.wrap(line.strip(), width - 2, break_on_hyphens=False, break_long_words=False)
            lines += [f"  {part}" for part in whole]
            line = f"  {line}"
    return [*lines, line] if line else lines
