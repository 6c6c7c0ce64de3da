"""What every reader of text needs: blocks of whole lines in one encoding, with one kind of line end.

A file is gone through in blocks, so that memory follows the numbers in it and not its text.
"""

from __future__ import annotations

import codecs
import re
from collections.abc import Iterator
from typing import BinaryIO

import numpy as np

from linkwright.progress import Tell
from linkwright.shoot.errors import InputError
from linkwright.units import FloatArray

#: Told what is being done and how much of it is done (0..1).
#: A level farther from zero than this [dB] is no level in any of the units.
MOST_DB = 400.0
#: A frequency beyond this [kHz] (3000 GHz, the end of the radio spectrum: ITU Radio Regulations No. 1.5) is
#: no radio frequency.
MOST_KHZ = 3e9
#: How much is read at a time [bytes], first (for a look at the layout) and later.
HEAD_BYTES = 256 * 1024
BLOCK_BYTES = 4 * 1024 * 1024
#: A longer line is no line of a sweep [bytes]: a row of a million bins has 8 MB.
LINE_BYTES = 32 * 1024 * 1024
#: More numbers are not read: it bounds the memory where they are written short.
MOST_NUMBERS = 40_000_000
_CONTROLS = bytes([*range(9), *range(14, 27), *range(28, 32), 127])
_CONTROL = re.compile(b"[" + re.escape(_CONTROLS) + b"]")
_BYTE_ORDER_MARK = b"\xef\xbb\xbf"


class Text:
    """A file of text as blocks of whole lines: UTF-8, line feeds, plain minus signs.

    `head` is the first block, which may be looked at before the blocks are gone through (once).
    `limit` is the most bytes that are read. Raises `InputError` for no text at all, for binary data and for
    a file over the limit.
    """

    def __init__(self, stream: BinaryIO, name: str, limit: int, size: int | None = None, tell: Tell | None = None):
        self.name = name
        self._stream, self._limit, self._size, self._tell = stream, limit, size, tell
        self._read_bytes = 0
        self._blocks = self._whole_lines()
        self.head = next(self._blocks, b"")
        while not self.head.strip():
            more = next(self._blocks, None)
            if more is None:
                raise InputError("the file is empty, expected a sweep", path=name)
            self.head += more

    def blocks(self) -> Iterator[tuple[int, bytes]]:
        """Every block with the number of its first line (from 1)."""
        number = 1
        block: bytes | None = self.head
        while block is not None:
            controls = len(block) - len(block.translate(None, _CONTROLS))
            if controls:
                control = _CONTROL.search(block)
                assert control is not None
                line = number + block.count(b"\n", 0, control.start())
                raise InputError("found binary data, expected a sweep as text", path=self.name, line=line)
            yield number, block
            number += block.count(b"\n")
            block = next(self._blocks, None)

    def whole(self) -> bytes:
        """All of it at once: for files that are known to be small."""
        return b"".join(block for _, block in self.blocks())

    def _raw(self) -> Iterator[bytes]:
        size = HEAD_BYTES
        while chunk := self._stream.read(size):
            self._read_bytes += len(chunk)
            if self._read_bytes > self._limit:
                raise too_large(self._read_bytes, self._limit, self.name)
            if self._tell is not None and self._size:
                self._tell(f"reading {self.name}", min(1.0, self._read_bytes / self._size))
            yield chunk
            size = BLOCK_BYTES

    def _whole_lines(self) -> Iterator[bytes]:
        rest = b""
        for chunk in _as_utf8(self._raw(), self.name):
            block = rest + chunk
            held = b"\r" if block.endswith(b"\r") else b""  # its line feed may come with the next chunk
            if b"\r" in block:
                block = block[: len(block) - len(held)].replace(b"\r\n", b"\n").replace(b"\r", b"\n")
            cut = block.rfind(b"\n") + 1
            rest = block[cut:] + held
            if len(rest) > LINE_BYTES:
                raise InputError(
                    f"found a line of more than {LINE_BYTES // 2**20} MiB, expected a sweep as text", path=self.name
                )
            if cut:
                yield _tidied(block[:cut])
        if rest:
            yield _tidied(rest.replace(b"\r", b"\n"))


def too_large(size: int, limit: int, name: str) -> InputError:
    """What is said of a file of `size` bytes where at most `limit` are read."""
    return InputError(
        f"the file has {size / 2**20:.0f} MiB, at most {limit // 2**20} MiB are read; "
        "cut it to the band and the time that you need",
        path=name,
    )


def refuse_many(numbers: int, name: str) -> None:
    """Raise where a file holds more than `MOST_NUMBERS` numbers."""
    if numbers > MOST_NUMBERS:
        raise InputError(
            f"found more than {MOST_NUMBERS // 1_000_000} million numbers; cut the file to the band and "
            "the time that you need",
            path=name,
        )


def _as_utf8(chunks: Iterator[bytes], name: str) -> Iterator[bytes]:
    """The chunks without a byte-order mark, from UTF-16 to UTF-8; other encodings as they are."""
    first = next(chunks, b"")
    encoding = _utf16(first)
    if encoding is None:
        yield first.removeprefix(_BYTE_ORDER_MARK)
        yield from chunks
        return
    decoder = codecs.getincrementaldecoder(encoding)()
    try:
        yield decoder.decode(first).removeprefix("\ufeff").encode("utf-8")
        for chunk in chunks:
            yield decoder.decode(chunk).encode("utf-8")
        yield decoder.decode(b"", final=True).encode("utf-8")
    except UnicodeError:
        raise InputError("found binary data, expected a sweep as text", path=name) from None


def _utf16(data: bytes) -> str | None:
    """Which UTF-16 the data is, by its mark or by the zero bytes of plain text; None for another encoding."""
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        return "utf-16"
    if len(data) >= 4 and data[1:4:2] == b"\0\0" and data[0:1] != b"\0":
        return "utf-16-le"
    if len(data) >= 4 and data[0:4:2] == b"\0\0" and data[1:2] != b"\0":
        return "utf-16-be"
    return None


def _tidied(block: bytes) -> bytes:
    """Whole lines as UTF-8 (from Latin-1 where they are not) with plain minus signs."""
    if block.isascii():
        return block
    try:
        block.decode("utf-8")
    except UnicodeDecodeError:
        block = block.decode("latin-1").encode("utf-8")
    return block.replace("\N{MINUS SIGN}".encode(), b"-")


def shown(line: bytes) -> str:
    """A line of the file as it can be quoted: short, on one line, printable."""
    text = "".join(c if c.isprintable() else " " for c in line[:400].decode("utf-8", "replace")).strip()
    return f'"{text[:40]}..."' if len(text) > 40 else f'"{text}"'


def levels_in_range(levels: FloatArray) -> bool:
    """Whether every finite level (any shape) can be one."""
    if levels.size == 0:
        return True
    low, high = float(np.nanmin(levels, initial=0.0)), float(np.nanmax(levels, initial=0.0))
    if np.isfinite(low) and np.isfinite(high):
        return bool(max(-low, high) <= MOST_DB)
    finite = levels[np.isfinite(levels)]
    return bool(finite.size == 0 or np.abs(finite).max() <= MOST_DB)
