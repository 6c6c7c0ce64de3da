"""On which line of a TOML text does a key stand?

`tomllib` does the parsing but forgets positions; this finds them again, for error messages only, by the
headers and key names that a person sees. It may point at the header of the section where the key itself
cannot be told apart (inside a value that runs over several lines, say), and says None rather than guess.
"""

from __future__ import annotations

import re

Loc = tuple[str | int, ...]

# No two parts of it can match the same character, so that a line of blanks does not take it long.
_HEADER = re.compile(r"^\s*\[(\[)?([^\[\],]+)\]\]?\s*(?:#.*)?$")


def line_of(text: str, loc: Loc) -> int | None:
    """The line, from 1, of the deepest key of `loc` that can be found; None where not even its table can.

    `loc` is a path such as ("link", 2, "route", 0) or ("transmitter", "pocket", "powers_mw").
    """
    lines = text.split("\n")  # as TOML counts them: str.splitlines would also split at U+2028 in a comment
    start, rest = _table(lines, loc)
    if start is None:
        return None
    end = next((n for n in range(start, len(lines)) if _HEADER.match(lines[n])), len(lines))
    line, position, found_key = start, 0, False
    for step, key in enumerate(rest):
        if isinstance(key, int):
            nested = step + 1 < len(rest) and isinstance(rest[step + 1], str)
            place = _nth_inline_table(lines, line, position, end, key) if nested else None
        else:
            place = _key(lines, key, line, position, end)
        if place is None:
            break
        line, position, found_key = *place, True
    return line + 1 if found_key else max(start, 1)


def _table(lines: list[str], loc: Loc) -> tuple[int | None, Loc]:
    """The index of the first line after the header of the deepest table in `loc`, and the keys inside it."""
    at_the_top = bool(loc) and _key(lines, loc[0], 0, 0, _first_header(lines)) is not None
    best: tuple[int | None, Loc] = (0 if at_the_top else None, loc)
    seen: dict[str, int] = {}
    for index, line in enumerate(lines):
        header = _HEADER.match(line)
        if not header:
            continue
        name = tuple(part.strip().strip("\"'") for part in header.group(2).split("."))
        path: Loc = name
        if header.group(1):
            count = seen.get(header.group(2), -1) + 1
            seen[header.group(2)] = count
            path = (*name, count)
        if loc[: len(path)] == path:
            best = (index + 1, loc[len(path) :])
        elif best[0] is None and loc and path[: len(loc)] == loc:
            best = (index + 1, ())  # the first header of what `loc` names as a whole
    return best


def _first_header(lines: list[str]) -> int:
    return next((n for n, line in enumerate(lines) if _HEADER.match(line)), len(lines))


def _key(lines: list[str], key: str | int, line: int, position: int, end: int) -> tuple[int, int] | None:
    """Where `key =` stands at or after (line, position), before line `end`."""
    wanted = re.compile(r"(?:^|[\s,{.])[\"']?" + re.escape(str(key)) + r"[\"']?\s*(?:=|\.)")
    for number in range(line, end):
        match = wanted.search(lines[number], position if number == line else 0)
        if match and not lines[number].lstrip().startswith("#"):
            return number, match.end()
    return None


def _nth_inline_table(lines: list[str], line: int, position: int, end: int, nth: int) -> tuple[int, int] | None:
    """Where the nth `{` at or after (line, position) opens, before line `end`."""
    for number in range(line, end):
        for match in re.finditer(r"\{", lines[number]):
            if number == line and match.start() < position:
                continue
            if nth == 0:
                return number, match.end()
            nth -= 1
    return None
