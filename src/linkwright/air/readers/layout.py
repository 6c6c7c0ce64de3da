"""How columns of numbers are written: what stands between them, and which mark the decimals have."""

from __future__ import annotations

import re
from dataclasses import dataclass

from linkwright.air.readers.text import shown
from linkwright.shoot.errors import InputError

_POINT = rb"[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?"
_COMMA = rb"[+-]?(?:\d+(?:,\d*)?|,\d+)(?:[eE][+-]?\d+)?"
_NOTHING = rb"[+-]?(?:[nN][aA][nN]|[iI][nN][fF](?:inity)?)"
_THOUSANDS = re.compile(rb"^\s*\"?\d{1,3}(?:([.,' _]|\xc2\xa0|\xe2\x80\xaf)\d{3})(?:\1\d{3})+(?!\d)")
_COMMENT_MARKS = (b"#", b"!", b"%", b"*", b"/", b"BEGIN", b"END")
#: Whole lines that are remarks, or the marks that some exports put around their table.
_COMMENT = re.compile(rb"(?m)^[ \t]*(?:[#!%*/][^\n]*|BEGIN[ \t,;]*|END[ \t,;]*)$")
_SEPARATORS = ((b"\t", "tabs"), (b";", "semicolons"), (b",", "commas"), (b" ", "spaces"))


@dataclass(frozen=True)
class Layout:
    """How the columns are written: `separator`, whether decimals have a comma, and the pattern of a line."""

    separator: bytes
    word: str
    decimal_comma: bool
    line: re.Pattern[bytes]

    def fields(self, line: bytes) -> list[bytes]:
        """The fields of a line without what ends it."""
        line = line.strip().rstrip(b" \t,;")
        parts = line.split() if self.separator == b" " else line.split(self.separator)
        return [part.strip() for part in parts]

    @property
    def says(self) -> str:
        """The layout in words."""
        return f"separated by {self.word}{', decimal comma' if self.decimal_comma else ''}"


def _layouts() -> tuple[Layout, ...]:
    """Every layout, the least ambiguous first."""
    layouts = []
    for separator, word in _SEPARATORS:
        between = rb"[ \t]+" if separator == b" " else rb"[ ]*" + re.escape(separator) + rb"[ ]*"
        for decimal_comma in (False, True):
            if decimal_comma and separator == b",":
                continue
            number = _COMMA if decimal_comma else _POINT
            cell = rb"(?:" + number + rb"|" + _NOTHING + rb")"
            line = re.compile(rb"[ \t]*" + cell + rb"(?:" + between + cell + rb")+[ \t,;]*\Z")
            layouts.append(Layout(separator, word, decimal_comma, line))
    return tuple(layouts)


LAYOUTS = _layouts()
_ALONE = tuple(
    Layout(b";", "nothing", comma, re.compile(rb"[ \t]*" + number + rb"[ \t,;]*\Z"))
    for comma, number in ((False, _POINT), (True, _COMMA))
)


def layout_of(line: bytes) -> Layout | None:
    """The layout of a line with at least two numbers; None for any other line."""
    return next((layout for layout in LAYOUTS if layout.line.match(line)), None)


def layout_of_one(line: bytes) -> Layout | None:
    """The layout of a line with one number only."""
    return next((layout for layout in _ALONE if layout.line.match(line)), None)


def is_comment(line: bytes) -> bool:
    """Whether a line is a remark."""
    return _COMMENT.match(line) is not None


def without_comments(text: bytes) -> bytes:
    """The text with remarks emptied, so that lines keep their numbers."""
    if any(mark in text for mark in _COMMENT_MARKS):
        return _COMMENT.sub(b"", text)
    return text


def without_quotes_and_units(text: bytes) -> bytes:
    """Quoted fields bare (with a tab between, so that a decimal comma inside stays one), units cut off."""
    if b'"' in text:
        text = re.sub(rb'"[ ]*[,;\t][ ]*"', b"\t", text).replace(b'"', b"")
    if b"Hz" in text:
        text = re.sub(rb"(?m)^([ \t]*[+-]?[\d.,]+)[ ]*(?:[kMG]?Hz)(?=[ \t]*[,; \t])", rb"\1", text)
    return text


def refuse_ambiguous(lines: list[bytes], layout: Layout, number: int, name: str) -> None:
    """Raise for numbers that may mean several things: thousands separators, commas for two purposes.

    lines : some of the first lines of the body; number : the line of the first.
    """
    for offset, line in enumerate(lines):
        if _THOUSANDS.match(line):
            raise InputError(
                f"found {shown(line)} with thousands separators, expected plain numbers such as 470500.25; "
                "write them without the separators",
                path=name,
                line=number + offset,
            )
    rows = [layout.fields(line) for line in lines if line.strip()]
    if layout.separator == b"," and rows and all(len(row) >= 4 and len(row) % 2 == 0 for row in rows):
        halves = all(part.isdigit() for row in rows for part in row[1::2])
        if halves and not any(b"." in part for row in rows for part in row):
            raise InputError(
                f"found {shown(lines[0])}, where a comma may stand between columns or before decimals; "
                "separate the columns by semicolons or tabs",
                path=name,
                line=number,
            )
