"""Where a value stands in a shoot, as text that sorts parents before their children.

A path is a tuple of keys; an entry of a list of tables (a link, a spot) goes by its lasting id, not by its number.
Stored, it is a JSON Pointer (RFC 6901) whose keys are written in ASCII as JSON would, so that every database
sorts it alike and no character is beyond it.
"""

from __future__ import annotations

import json
import re
import unicodedata
from collections.abc import Sequence

from linkwright.shoot.errors import InputError

Path = tuple[str, ...]

#: No shoot nests deeper than 6; more than this is some other file.
MOST_DEPTH = 16
#: A name in a shoot has up to 80 characters.
MOST_KEY = 200
#: Half a character of UTF-16, and what turns the direction of text (Unicode Annex 9, 2.1, 2.2 and 2.4).
TURNING = "\ud800-\udfff\u202a-\u202e\u2066-\u2069"
#: These, and control characters but the tab and the ends of lines.
UNFIT = re.compile(f"[{TURNING}\0-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f]")


def fit(text: str, what: str) -> str:
    """The text, where people and databases can bear all of it. Raises InputError."""
    match = UNFIT.search(text)
    if match is None:
        return text
    kind = unicodedata.category(match[0])
    means = {"Cs": "half a character", "Cf": "a character that turns the direction of text"}
    raise InputError(
        f"{what} holds {means.get(kind, 'a control character')} (U+{ord(match[0]):04X}); type it without that"
    )


def checked(path: Sequence[str | int]) -> Path:
    """The path as text keys. Raises InputError where no shoot could hold it."""
    if len(path) > MOST_DEPTH:
        raise InputError(f"the value stands {len(path)} tables deep; expected at most {MOST_DEPTH}")
    for key in path:
        if len(str(key)) > MOST_KEY:
            raise InputError(f"a key has {len(str(key))} characters; expected at most {MOST_KEY}")
        fit(str(key), "a key")
    return tuple(str(key) for key in path)


def pointer(path: Path) -> str:
    """The path as it is stored; "" is the whole document."""
    return "".join("/" + json.dumps(key)[1:-1].replace("~", "~0").replace("/", "~1") for key in path)


def path_of(stored: str) -> Path:
    """The path that `pointer` wrote."""
    return tuple(
        json.loads(f'"{key.replace("~1", "/").replace("~0", "~")}"', strict=False) for key in stored.split("/")[1:]
    )


def beneath(stored: str) -> tuple[str, str]:
    """First and first-not of all paths below this one, in ASCII order."""
    return stored + "/", stored + "0"  # "0" follows "/"


def spoken(path: Path) -> str:
    """The path for a sentence."""
    return ", ".join(path) if path else "the shoot"


#: Places are decimal fractions without the point: eight digits, and more where needed between two.
FIRST_PLACE = 50_000_000


def places(count: int) -> list[str]:
    """Places for a new list of so many entries."""
    return [f"{FIRST_PLACE + n:08d}" for n in range(count)]


def place_between(low: str | None, high: str | None) -> str:
    """The shortest place after `low`, before `high`; None is an open end. Raises ValueError where low >= high."""
    if low is None and high is None:
        return f"{FIRST_PLACE:08d}"
    if low is None:
        assert high is not None
        return f"{int(high[:8]) - 1:08d}"
    if high is None:
        return f"{int(low[:8]) + 1:08d}"
    if low >= high:
        raise ValueError(f"no place between {low} and {high}")
    for digits in range(8, max(len(low), len(high)) + 2):
        place = f"{int(low[:digits].ljust(digits, '0')) + 1:0{digits}d}"
        if low < place < high:
            return place
    raise ValueError(f"no place between {low} and {high}")
