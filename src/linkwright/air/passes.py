"""Sweeps as they come: text from any program that writes them, cut into passes, each a sweep of its own.

A pass ends where the frequency starts over: where a hop of rows comes again, or the first column of a table jumps
back; and at once where it has as many as the last had, so that nobody waits for the next. The readers of files
read each pass, so that whatever they understand comes in here too. Memory is bounded: one pass of text.
"""

from __future__ import annotations

import io
import math
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Final

from linkwright.air.readers import read_stream
from linkwright.air.readers.options import AS_IT_SAYS, ReadOptions
from linkwright.air.readers.rows import looks_like_rows
from linkwright.air.readers.text import LINE_BYTES, shown
from linkwright.air.sweep import Sweep
from linkwright.shoot.errors import InputError

#: The most text of one pass [bytes]: two million levels.
MOST_PASS: Final = 16 * 1024 * 1024
#: Lines of a header that are kept for every pass of a table.
MOST_HEADER: Final = 40
#: So many bad lines are taken out of one pass before all of it is left out.
MOST_BAD: Final = 8
_NOTHING = re.compile(rb"\s*[+-]?nan\b", re.IGNORECASE)
_FIRST = re.compile(rb"\s*([+-]?\d+(?:[.,]\d+)?(?:[eE][+-]?\d+)?)")


@dataclass(eq=False)
class Passes:
    """One source of text. `refused` lines were left out, for reasons of which `says` is the first; `passes` came.

    name : what the source is called in what is said of it. options : what is stated where the text does not say.
    """

    name: str
    options: ReadOptions = AS_IT_SAYS
    refused: int = 0
    passes: int = 0
    says: str = ""
    _rest: bytes = b""
    _number: int = 0
    _header: list[bytes] = field(default_factory=list)
    _lines: list[tuple[int, bytes]] = field(default_factory=list)
    _bytes: int = 0
    _skips: bool = False
    _rows: bool = False
    _seen: set[float] = field(default_factory=set)
    _full: set[float] = field(default_factory=set)
    _last: float | None = None
    _way: int = 0

    def feed(self, data: bytes) -> Iterator[Sweep]:
        """The passes that more text completes."""
        if not self._number and not self._rest:
            data = data.removeprefix(b"\xef\xbb\xbf")
        *lines, self._rest = (self._rest + data).replace(b"\r\n", b"\n").split(b"\n")
        if len(self._rest) > LINE_BYTES:
            self._rest, self._skips = b"", True
            self._refuse(self._number + 1, "found a line that does not end, expected rows of a sweep")
        for line in lines:
            self._number += 1
            if self._skips:
                self._skips = False  # the end of a line that was too long
                continue
            yield from self._line(line)

    def end(self) -> Iterator[Sweep]:
        """What is left when nothing more comes: a last pass that has all that the others had."""
        if self._rest.strip():
            yield from self.feed(b"\n")
        if self._lines and len(self._seen) >= len(self._full):
            yield from self._pass()

    def _line(self, line: bytes) -> Iterator[Sweep]:
        if not line.strip():
            return
        key = self._key(line)
        if key is None:
            if self._rows:
                if not line.lstrip().startswith(b"#"):
                    self._refuse(
                        self._number, f"found {shown(line)}, expected a row that begins with date and time"
                    )
                return
            if self._lines:
                yield from self._pass()  # a header between two passes
                self._header.clear()
            if len(self._header) < MOST_HEADER:
                self._header.append(line)
            else:
                self._refuse(self._number, f"found {shown(line)}, expected rows of a sweep")
            return
        if self._lines and self._starts_over(key):
            yield from self._pass()
        self._lines.append((self._number, line))
        self._bytes += len(line)
        self._seen.add(key)
        if self._last is not None and not self._way:
            self._way = (key > self._last) - (key < self._last)
        self._last = key
        if self._bytes > MOST_PASS:
            self._refuse(self._number, "found no frequency that starts over, expected a sweep that comes again")
            self._clear()
        elif self._seen == self._full or self.options.columns == "bins":
            yield from self._pass()

    def _key(self, line: bytes) -> float | None:
        """By which a line is known to come again: the lowest frequency of a row, the first number of a table."""
        if not self._lines and not self._full:
            self._rows = looks_like_rows(line)  # the first line that counts says which it is
        if self.options.columns == "bins" and _NOTHING.match(line):
            return math.inf  # the first bin was not looked at
        part = line
        if self._rows:
            part = line.split(b",", 3)[2] if looks_like_rows(line) and line.count(b",") > 2 else b""
        match = _FIRST.match(part)
        return None if match is None else float(match[1].replace(b",", b"."))

    def _starts_over(self, key: float) -> bool:
        if self._rows:
            return key in self._seen
        return self._last is not None and self._way != 0 and (key - self._last) * self._way <= 0

    def _pass(self) -> Iterator[Sweep]:
        """The pass that was gathered, without the lines in it that cannot be read."""
        lines, header = self._lines, [] if self._rows else self._header
        self._full = self._seen
        self._clear()
        for _ in range(MOST_BAD):
            text = b"\n".join((*header, *(line for _, line in lines))) + b"\n"
            try:
                sweeps = read_stream(io.BytesIO(text), self.name, self.options).sweeps
            except InputError as error:
                at = -1 if error.line is None else error.line - 1 - len(header)
                if not 0 <= at < len(lines) or len(lines) == 1:
                    self._refuse(lines[0][0], error.says, len(lines))
                    return
                self._refuse(lines[at][0], error.says)
                del lines[at]
                continue
            if sweeps:
                self.passes += 1
                yield next((sweep for sweep in sweeps if sweep.detector != "lowest"), sweeps[0])
            else:
                self._refuse(lines[0][0], "found a list of carriers, expected sweeps", len(lines))
            return
        self._refuse(lines[0][0], "found too many bad rows in one pass, which is left out", len(lines))

    def _clear(self) -> None:
        self._lines, self._seen, self._last, self._bytes = [], set(), None, 0

    def _refuse(self, number: int, says: str, lines: int = 1) -> None:
        self.refused += lines
        self.says = self.says or f"{self.name}, line {number}: {says}"
