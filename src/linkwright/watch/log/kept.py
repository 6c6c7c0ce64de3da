"""Readings as they are kept: columns of a stretch of time, packed into few bytes, with nothing invented.

A level is kept to a tenth of a decibel, a share to half a percent, a time to a millisecond: finer than any receiver
tells. What a reading did not say stays unsaid.
"""

from __future__ import annotations

import json
import zlib
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from linkwright.units import IntArray, SampleArray

#: How a packed stretch begins, by how far apart two times may be: LWR1, which older programs wrote, holds 24 days.
TIMES: Final = {b"LWR2": "<i8", b"LWR1": "<i4"}
MARK: Final = b"LWR2"
#: The columns, their unit in the file (how many steps one is), and the value that stands for nothing said.
LEVELS: Final = ("rf_a_dbm", "rf_b_dbm", "audio_dbfs")
SHARES: Final = ("quality", "battery")
NO_LEVEL: Final = -32768
NO_SHARE: Final = 255
#: A stretch holds at most so many readings, links, and unpacked bytes: more is damaged or hostile.
MOST_READINGS: Final = 5_000_000
MOST_LINKS: Final = 65_535
MOST_BYTES: Final = 128 * 1024 * 1024


@dataclass(frozen=True, eq=False)
class Stretch:
    """Readings in the order of time: names of links, and columns of equal length (n,).

    time_ms : UTC since 1970 [ms], int64. link : index into `links`. The levels and shares are float32, NaN where
    nothing was said. muted : int8, 0, 1, or -1 where nothing was said.
    """

    links: tuple[str, ...]
    time_ms: IntArray
    link: NDArray[np.int32]
    rf_a_dbm: SampleArray
    rf_b_dbm: SampleArray
    audio_dbfs: SampleArray
    quality: SampleArray
    battery: SampleArray
    muted: NDArray[np.int8]

    @property
    def size(self) -> int:
        """How many readings."""
        return int(self.time_ms.size)


def packed(stretch: Stretch) -> bytes:
    """A stretch as bytes. ValueError for more than a stretch holds."""
    if stretch.size > MOST_READINGS or len(stretch.links) > MOST_LINKS:
        raise ValueError(f"{stretch.size} readings of {len(stretch.links)} links are more than one stretch holds")
    begins = int(stretch.time_ms[0]) if stretch.size else 0
    head = json.dumps(
        {"links": stretch.links, "begins_ms": begins, "readings": stretch.size}, ensure_ascii=False
    ).encode()
    columns = [np.diff(stretch.time_ms, prepend=begins).astype(TIMES[MARK]), stretch.link.astype("<u2")]
    columns += [_levels(getattr(stretch, name)) for name in LEVELS]
    columns += [_shares(getattr(stretch, name)) for name in SHARES]
    columns.append(stretch.muted.astype("i1"))
    body = zlib.compress(b"".join(column.tobytes() for column in columns), 6)
    return MARK + len(head).to_bytes(4, "little") + head + body


def unpacked(data: bytes) -> Stretch:
    """What `packed` made. ValueError where it is something else, or damaged."""
    times = TIMES.get(bytes(data[:4]))
    if times is None or len(data) < 8:
        raise ValueError("is no stretch of readings")
    size = int.from_bytes(data[4:8], "little")
    try:
        head = json.loads(data[8 : 8 + size])
        links = tuple(str(name) for name in head["links"])
        count, begins = int(head["readings"]), int(head["begins_ms"])
        unzip = zlib.decompressobj()
        body = unzip.decompress(data[8 + size :], MOST_BYTES)
    except (ValueError, KeyError, TypeError, zlib.error) as error:
        raise ValueError(f"is damaged ({error})") from None
    if not 0 <= count <= MOST_READINGS or len(body) != count * (11 + np.dtype(times).itemsize) or not unzip.eof:
        raise ValueError("is damaged (its length does not fit)")
    at = 0

    def column(kind: str) -> NDArray[Any]:
        nonlocal at
        values = np.frombuffer(body, kind, count, at)
        at += values.nbytes
        return values

    time_ms = begins + np.cumsum(column(times).astype(np.int64))
    link = column("<u2").astype(np.int32)
    if count and (not links or int(link.max()) >= len(links)):
        raise ValueError("is damaged (it names a link that it does not have)")
    rf_a, rf_b, audio = (_from_levels(column("<i2")) for _ in LEVELS)
    quality, battery = (_from_shares(column("u1")) for _ in SHARES)
    return Stretch(links, time_ms, link, rf_a, rf_b, audio, quality, battery, column("i1").astype(np.int8))


def _levels(values: SampleArray) -> NDArray[np.int16]:
    finite = np.isfinite(values)
    tenths = np.clip(np.round(np.where(finite, values, 0.0) * 10.0), -32767, 32767)
    return np.where(finite, tenths, NO_LEVEL).astype("<i2")


def _from_levels(tenths: NDArray[np.int16]) -> SampleArray:
    return np.where(tenths == NO_LEVEL, np.nan, tenths / np.float32(10.0)).astype(np.float32)


def _shares(values: SampleArray) -> NDArray[np.uint8]:
    finite = np.isfinite(values)
    return np.where(finite, np.clip(np.round(np.where(finite, values, 0.0) * 200.0), 0, 200), NO_SHARE).astype("u1")


def _from_shares(steps: NDArray[np.uint8]) -> SampleArray:
    return np.where(steps == NO_SHARE, np.nan, steps / np.float32(200.0)).astype(np.float32)
