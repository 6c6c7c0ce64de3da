"""A cell of a list as it can be quoted in a sentence."""

from __future__ import annotations

from typing import Final

#: Longer cells are cut [characters].
MOST: Final = 40


def quoted(cell: str) -> str:
    """The cell in quotation marks: short, on one line, printable."""
    text = "".join(c if c.isprintable() else " " for c in cell.strip()[: MOST + 1])
    return f'"{text[:MOST]}..."' if len(text) > MOST else f'"{text}"'
