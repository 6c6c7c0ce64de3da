"""The air of the day kept in the job: the highest of each column in every minute, packed."""

from __future__ import annotations

import contextlib
import datetime
import json
import zlib
from typing import Final

import numpy as np

from linkwright.air.fresh import COLUMNS, MINUTES, FreshAir
from linkwright.shoot.errors import InputError
from linkwright.store import SWEPT, Store

#: How a minute begins, and the most that it may hold [bytes].
MARK: Final = b"LWA1"
MOST_BYTES: Final = 64 * 1024
#: So many of the last minutes are looked at again after a restart.
AGAIN: Final = MINUTES


def packed(source: str, air: FreshAir, minute: tuple[float, np.ndarray]) -> bytes:
    """A minute as bytes: who swept, where the columns lie, half decibels over the floor in each (0: not looked)."""
    head = {
        "source": source, "at_s": minute[0], "from_khz": float(air.frequencies_khz[0]),
        "to_khz": float(air.frequencies_khz[-1]), "bins": int(air.frequencies_khz.size), "columns": minute[1].size,
    }  # fmt: skip
    text = json.dumps(head).encode()
    return MARK + len(text).to_bytes(4, "little") + text + zlib.compress(minute[1].astype(np.uint8).tobytes(), 6)


def unpacked(data: bytes) -> tuple[str, float, np.ndarray]:
    """The source, begin [s] and columns of a minute. ValueError where it is something else, or damaged."""
    if data[:4] != MARK or len(data) > MOST_BYTES:
        raise ValueError("is no minute of the air")
    size = int.from_bytes(data[4:8], "little")
    try:
        head = json.loads(data[8 : 8 + size])
        body = zlib.decompressobj().decompress(data[8 + size :], COLUMNS + 1)
        if len(body) != int(head["columns"]) or not 0 < len(body) <= COLUMNS:
            raise ValueError("its length does not fit")
        return str(head["source"]), float(head["at_s"]), np.frombuffer(body, np.uint8)
    except (ValueError, KeyError, TypeError, zlib.error) as error:
        raise ValueError(f"is damaged ({error})") from None


def keep(store: Store, source: str, air: FreshAir, minute: tuple[float, np.ndarray]) -> None:
    """Keep a minute. Raises InputError where the store refuses it."""
    at = datetime.datetime.fromtimestamp(minute[0], datetime.UTC).isoformat(timespec="milliseconds")
    store.attach(f"{at} {source}"[:120], packed(source, air, minute), "sweep", most_bytes=MOST_BYTES, kind=SWEPT)


def newest(store: Store, source: str) -> list[tuple[float, np.ndarray]]:
    """The minutes of a source that are kept, oldest first, at most twelve hours; a damaged one is left out.

    Raises InputError where the job cannot be read.
    """
    there = sorted(
        (attachment for attachment in store.attachment_list() if attachment.kind == SWEPT),
        key=lambda attachment: attachment.name,
    )
    rows = []
    for attachment in there[-AGAIN:]:
        with contextlib.suppress(ValueError, InputError):
            of, at_s, row = unpacked(store.attachment(attachment.id))
            if of == source:
                rows.append((at_s, row))
    return rows
