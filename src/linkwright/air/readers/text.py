"""What every reader needs: one encoding, one kind of line end, and numbers read at the speed of C."""

from __future__ import annotations

import re

import numpy as np

from linkwright.shoot.errors import InputError
from linkwright.units import FloatArray

#: A level farther from zero than this [dB] is no level in any of the units.
MOST_DB = 400.0
#: A frequency beyond this [kHz] (3000 GHz, the end of the radio spectrum: ITU Radio Regulations No. 1.5) is
#: no radio frequency.
MOST_KHZ = 3e9
_CONTROLS = re.compile(rb"[\x00-\x08\x0e-\x1a\x1c-\x1f\x7f]")


def decoded(data: bytes, name: str) -> bytes:
    """The text in `data` as UTF-8 without a byte-order mark, with line feeds and plain minus signs.

    Raises `InputError` for no text at all and for binary data.
    """
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        text = _from_utf16(data, "utf-16", name)
    elif len(data) >= 4 and data[1:4:2] == b"\0\0" and data[0:1] != b"\0":
        text = _from_utf16(data, "utf-16-le", name)
    elif len(data) >= 4 and data[0:4:2] == b"\0\0" and data[1:2] != b"\0":
        text = _from_utf16(data, "utf-16-be", name)
    else:
        text = data.removeprefix(b"\xef\xbb\xbf")
        try:
            text.decode("utf-8")
        except UnicodeDecodeError:
            text = text.decode("latin-1").encode("utf-8")
    if not text.strip():
        raise InputError("the file is empty, expected a sweep", path=name)
    controls = _CONTROLS.search(text)
    if controls is not None:
        line = text.count(b"\n", 0, controls.start()) + 1
        raise InputError("found binary data, expected a sweep as text", path=name, line=line)
    text = text.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    return text.replace("\N{MINUS SIGN}".encode(), b"-")


def _from_utf16(data: bytes, encoding: str, name: str) -> bytes:
    try:
        return data.decode(encoding).removeprefix("\ufeff").encode("utf-8")
    except UnicodeError:
        raise InputError("found binary data, expected a sweep as text", path=name) from None


def numbers(text: bytes, separator: str) -> FloatArray | None:
    """The numbers in `text` (n), or None where anything in it is not a number.

    "nan" and "inf" are numbers; a separator at the very end is allowed.
    """
    try:
        return np.fromstring(text, dtype=np.float64, sep=separator)
    except ValueError:
        return None


def shown(line: bytes) -> str:
    """A line of the file as it can be quoted: short, on one line, printable."""
    text = "".join(c if c.isprintable() else " " for c in line.decode("utf-8", "replace")).strip()
    return f'"{text[:40]}..."' if len(text) > 40 else f'"{text}"'


def levels_in_range(levels: FloatArray) -> bool:
    """Whether every finite level (any shape) can be one."""
    finite = levels[np.isfinite(levels)]
    return bool(finite.size == 0 or np.abs(finite).max() <= MOST_DB)
