"""TOML from outside: one sentence for whatever it is not, and no text that takes the parser minutes."""

from __future__ import annotations

import re
import tomllib
from typing import Any, Final

from linkwright.shoot.errors import InputError

#: A key of so many parts takes the parser time by their square, and means nothing here.
MOST_PARTS: Final = 32
_PART: Final = r"""(?:[\w-]+|"[^"\n]*"|'[^'\n]*')"""
_DOTTED: Final = re.compile(rf"{_PART}(?:[ \t]*\.[ \t]*{_PART}){{{MOST_PARTS}}}", re.ASCII)


def parse_toml(text: str, name: str | None = None) -> dict[str, Any]:
    """The document in a TOML text; `name` is the file as messages call it. Raises InputError."""
    dotted = _too_dotted(text)
    if dotted is not None:
        raise InputError(f"has a key of more than {MOST_PARTS} parts; expected a few", path=name, line=dotted)
    try:
        return tomllib.loads(text.replace("\r\n", "\n"))
    except tomllib.TOMLDecodeError as error:
        line = re.search(r"at line (\d+)", str(error))
        plain = re.sub(r"\s*\(at .*\)$", "", str(error))
        says = f"is not valid TOML: {plain[:1].lower()}{plain[1:]}"
        raise InputError(says, path=name, line=int(line[1]) if line else None) from None
    except (RecursionError, ValueError, OverflowError):
        raise InputError("is not TOML that can be read: nested too deep or a number too long", path=name) from None


def _too_dotted(text: str) -> int | None:
    """The line, from 1, of a key of too many parts; None where there is none. Takes time by the length."""
    for number, line in enumerate(text.split("\n"), 1):
        if line.count(".") >= MOST_PARTS:
            for piece in re.split(r"[=\[\]{},#]", line):
                if piece.count(".") >= MOST_PARTS and _DOTTED.match(piece.strip()):
                    return number
    return None
