"""Readings as they are kept and readings as they come: the same, one way and the other."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from linkwright.watch.log.kept import Stretch
from linkwright.watch.log.record import AUDIO, BATTERY, MUTED, QUALITY, RF_A, RF_B, Batch

#: Nanoseconds in a millisecond.
_MS_NS = 1_000_000


def stretch_of(batch: Batch) -> Stretch:
    """A batch as a stretch, in the order of time; times are cut to the millisecond."""
    order = np.argsort(batch.time_ns, kind="stable")
    values = batch.values[order]
    muted = values[:, MUTED]
    said = np.isfinite(muted)
    return Stretch(
        batch.names, batch.time_ns[order] // _MS_NS, batch.link[order].astype(np.int32),
        values[:, RF_A], values[:, RF_B], values[:, AUDIO], values[:, QUALITY], values[:, BATTERY],
        np.where(said, np.where(said, muted, 0.0) >= 0.5, -1).astype(np.int8),
    )  # fmt: skip


def batch_of(stretch: Stretch) -> Batch:
    """A stretch as a batch."""
    muted = np.where(stretch.muted < 0, np.nan, stretch.muted).astype(np.float32)
    columns = [stretch.rf_a_dbm, stretch.rf_b_dbm, stretch.audio_dbfs, stretch.quality, stretch.battery, muted]
    values = np.stack(columns, axis=1).astype(np.float32)
    return Batch(stretch.links, stretch.link.astype(np.int32), stretch.time_ms * _MS_NS, values)


def called(stretch: Stretch, name: Callable[[str], str]) -> Stretch:
    """The same with other names; links that get the same one become one."""
    names = [name(link) for link in stretch.links]
    unique = tuple(dict.fromkeys(names))
    index = np.array([unique.index(link_name) for link_name in names], dtype=np.int32)
    return replace(stretch, links=unique, link=index[stretch.link] if stretch.size else stretch.link)


def between(stretch: Stretch, from_ms: int, to_ms: int) -> Stretch:
    """The readings of a stretch between two times, the latter not included."""
    if stretch.size and from_ms <= int(stretch.time_ms[0]) and int(stretch.time_ms[-1]) < to_ms:
        return stretch
    first, last = np.searchsorted(stretch.time_ms, [from_ms, to_ms]).tolist()
    part = slice(first, last)
    return Stretch(
        stretch.links, stretch.time_ms[part], stretch.link[part], stretch.rf_a_dbm[part], stretch.rf_b_dbm[part],
        stretch.audio_dbfs[part], stretch.quality[part], stretch.battery[part], stretch.muted[part],
    )  # fmt: skip
