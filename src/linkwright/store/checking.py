"""A checksum a row: a disk that changes a byte without a word is found out when it is read, not believed."""

from __future__ import annotations

import json
import zlib
from collections.abc import Sequence
from typing import Any

from linkwright.shoot.errors import InputError
from linkwright.store.faults import DAMAGED

#: What is checked of a table, in this order.
FIELD = ("path", "kind", "place", "value")
CHANGE = ("revision", "at_ms", "who", "area", "what", "path", "before", "after", "made", "way", "of")


def crc_of(values: Sequence[Any]) -> int:
    """The checksum of a row's columns (CRC-32 of them as JSON)."""
    return zlib.crc32(json.dumps(list(values)).encode())


def checked(values: Sequence[Any], crc: int | None) -> Sequence[Any]:
    """The same columns. Raises InputError where they are not what was written."""
    if crc_of(values) != crc:
        raise InputError(DAMAGED)
    return values
