"""Compiled loops that make samples of the bytes of a WAV."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from linkwright.physics.compiled import kernel
from linkwright.units import SampleArray


@kernel
def of_24_bits(raw: NDArray[np.uint8], highest: NDArray[np.int8], out: SampleArray) -> None:
    """Whole numbers of 24 bits, the least byte first, tracks in turn, into `out`, (tracks, n), full scale 1.

    highest : the same bytes as signed ones, of which the last of every three is taken.
    """
    tracks, frames = out.shape
    scale = np.float32(1.0 / 8388608.0)
    for track in range(tracks):
        at = 3 * track
        for i in range(frames):
            low = np.int32(raw[at]) + np.int32(256) * np.int32(raw[at + 1])
            out[track, i] = np.float32(low + np.int32(65536) * np.int32(highest[at + 2])) * scale
            at += 3 * tracks
