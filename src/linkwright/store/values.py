"""What a field may hold: what JSON and TOML share, with dates and times as their ISO text."""

from __future__ import annotations

import datetime
import json
import math
import re
from typing import Any

from linkwright.shoot.errors import InputError
from linkwright.store.paths import MOST_DEPTH, MOST_KEY, TURNING, fit

#: One value of one field; a paragraph of notes has some 2 kB.
MOST_VALUE_BYTES = 1024 * 1024
#: No table of a shoot has so many keys.
MOST_KEYS = 1000


def plain(value: Any, depth: int = 0) -> Any:
    """The value as the store keeps it. A table's None is a key that is not there. Raises InputError.

    Dates and times become ISO text, tuples lists, NaN and infinity (which JSON lacks) their words, so that what
    a person gave stays there to be corrected.
    """
    if depth > MOST_DEPTH:
        raise InputError(f"the value nests more than {MOST_DEPTH} deep; expected a value of a shoot")
    if isinstance(value, dict):
        if len(value) > MOST_KEYS:
            raise InputError(f"a table has {len(value)} keys; expected at most {MOST_KEYS}")
        for key in value:
            fit(str(key), "a key")
            if len(str(key)) > MOST_KEY:
                raise InputError(f"a key has {len(str(key))} characters; expected at most {MOST_KEY}")
        return {str(key): plain(inner, depth + 1) for key, inner in value.items() if inner is not None}
    if isinstance(value, list | tuple):
        return [plain(inner, depth + 1) for inner in value]
    if isinstance(value, float) and not math.isfinite(value):
        return str(value)
    if isinstance(value, datetime.date | datetime.time):
        return value.isoformat()
    if isinstance(value, str):
        return fit(value, "the text")
    if value is None or isinstance(value, bool | int | float):
        return value
    raise InputError(f"the value is of the kind {type(value).__name__}; expected text, a number, a list or a table")


def written(value: Any) -> str:
    """One field's plain value as JSON text, ASCII only. Raises InputError where it is too long."""
    try:
        text = json.dumps(value, allow_nan=False, separators=(",", ":"))
    except ValueError:  # Python refuses to write out the longest numbers
        raise InputError("the value is a number of thousands of digits; expected one of a shoot") from None
    if len(text) > MOST_VALUE_BYTES:
        raise InputError(f"the value has {len(text)} bytes; expected at most {MOST_VALUE_BYTES}")
    return text


def same(value: Any, other: Any) -> bool:
    """Whether two plain values are one: 1 and 1.0 are (a browser writes both alike), 1 and true are not."""
    if isinstance(value, dict) and isinstance(other, dict):
        return value.keys() == other.keys() and all(same(value[key], other[key]) for key in value)
    if isinstance(value, list) and isinstance(other, list):
        return len(value) == len(other) and all(map(same, value, other))
    if isinstance(value, bool) or isinstance(other, bool):
        return value is other
    return bool(value == other)


def clean_text(text: str, what: str, most: int) -> str:
    """Text of a file's or a receiver's, with a mark for what is unfit. Raises InputError where it is too long."""
    if len(text) > most:
        raise InputError(f"{what} has {len(text)} characters; expected at most {most}")
    return re.sub(f"[\0{TURNING}]", "�", text)
