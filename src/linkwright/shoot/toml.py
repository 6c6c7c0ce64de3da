"""TOML from outside: one sentence for whatever it is not, and no text that takes the parser minutes."""

from __future__ import annotations

import re
import tomllib
from typing import Any, Final

from linkwright.shoot.errors import InputError

#: A key of so many parts takes the parser time by their square, and means nothing here.
MOST_PARTS: Final = 32
#: A line that a person typed is no longer than this.
LONGEST_MEANT: Final = 500
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
        match = re.search(r"at line (\d+)", str(error))
        line = int(match[1]) if match else None
        plain = re.sub(r"\s*\(at .*\)$", "", str(error))
        written = text.split("\n")[line - 1] if line is not None else ""
        says = _meant(written) or f"is not valid TOML: {plain[:1].lower()}{plain[1:]}"
        raise InputError(says, path=name, line=line) from None
    except (RecursionError, ValueError, OverflowError):
        raise InputError("is not TOML that can be read: nested too deep or a number too long", path=name) from None


def _meant(line: str) -> str:
    """What people write and TOML does not have, and how it is written there; "" where it is not seen."""
    if len(line) > LONGEST_MEANT or not line.isprintable():
        return ""
    clock = re.search(r"=\s*(\d{1,2}):(\d\d)(?=\s*(?:[,}\]#]|$))", line)
    if clock:
        return f"{clock[1]}:{clock[2]} is a time without seconds; write {int(clock[1]):02d}:{clock[2]}:00"
    day = re.search(r"=\s*(\d{1,2})[/.](\d{1,2})[/.](\d{4})", line)
    if day:
        first, second = int(day[1]), int(day[2])
        month, of_month = (second, first) if first > 12 else (first, second) if second > 12 else (0, 0)
        written = f"{day[3]}-{month:02d}-{of_month:02d}" if month else f"{day[3]}-, then the month, -, then the day"
        return f"{day[0].lstrip('= ')} is no day that is understood everywhere; write {written}"
    comma = re.search(r"=\s*([+-]?\d+),(\d+)\s*(?:#.*)?$", line)
    if comma:
        return f"{comma[1]},{comma[2]} has a comma; write {comma[1]}.{comma[2]}"
    words = re.search(r"=\s*([^\W\d_][^\"'\[\]{}=#]*)$", line.partition("#")[0].rstrip())
    if words:
        return f'{words[1]} is text, which stands in quotes; write "{words[1]}"'
    return ""


def _too_dotted(text: str) -> int | None:
    """The line, from 1, of a key of too many parts; None where there is none. Takes time by the length."""
    for number, line in enumerate(text.split("\n"), 1):
        if line.count(".") >= MOST_PARTS:
            for piece in re.split(r"[=\[\]{},#]", line):
                if piece.count(".") >= MOST_PARTS and _DOTTED.match(piece.strip()):
                    return number
    return None
