"""A piece of a recording, from anywhere in it, to be played; and its outline, to be drawn."""

from __future__ import annotations

import io
from typing import Final

import numpy as np

from linkwright.progress import Tell
from linkwright.sound.recordings import Recording, blocks, reading
from linkwright.units import SampleArray

#: The longest piece that is given out, and the most columns of an outline.
LONGEST_S: Final = 600.0
MOST_COLUMNS: Final = 20_000
#: Numbers of a piece, all tracks together: 64 MiB.
MOST_VALUES: Final = 1 << 24


def excerpt(recording: Recording, from_s: float, to_s: float) -> tuple[int, SampleArray]:
    """Rate [Hz] and samples, full scale 1, shape (tracks, n), between two times from the first sample on.

    Only these samples are read; times beyond the recording are cut to it. ValueError for a piece that is empty, or
    longer than `LONGEST_S` or `MOST_VALUES` numbers; InputError where the file can not be read.
    """
    rate = recording.rate_hz
    if not (np.isfinite(from_s) and np.isfinite(to_s)):
        raise ValueError("a piece goes from one time to another")
    first = min(max(0, round(from_s * rate)), recording.frames)
    last = min(max(0, round(to_s * rate)), recording.frames)
    if last <= first:
        raise ValueError(f"no sample lies between {from_s:g} and {to_s:g} s of {recording.length_s:.3f} s")
    if last - first > LONGEST_S * rate or (last - first) * recording.tracks > MOST_VALUES:
        raise ValueError(f"{(last - first) / rate:.1f} s of {recording.tracks} tracks are more than is given out")
    with reading(recording) as reader:
        return rate, reader.read(first, last - first)


def through_low_cut(samples: SampleArray, rate_hz: int, corner_hz: float, order: int) -> SampleArray:
    """Samples, shape (tracks, n), as a Butterworth low cut of this corner and order leaves them; 0 Hz is off."""
    from scipy.signal import butter, sosfilt

    if not corner_hz:
        return samples
    sections = butter(order, corner_hz, "highpass", fs=rate_hz, output="sos")
    return np.asarray(sosfilt(sections, samples, axis=1), np.float32)


def wav(rate_hz: int, samples: SampleArray) -> bytes:
    """SampleArray of full scale 1, shape (tracks, n), as a WAV of 16 bits; what is over full scale is cut off."""
    import soundfile

    whole = np.clip(np.round(samples.T * 32768.0), -32768, 32767).astype(np.int16)
    out = io.BytesIO()
    soundfile.write(out, whole, rate_hz, format="WAV", subtype="PCM_16")
    return out.getvalue()


def overview(recording: Recording, columns: int, tell: Tell | None = None) -> SampleArray:
    """Least and largest value of every track in each column, shape (tracks, 2, columns), full scale 1.

    Reads the recording once in blocks. Columns are as even as whole samples allow; there are at most as many as
    samples. ValueError for no column or more than `MOST_COLUMNS`; InputError where the file can not be read.
    """
    if not 1 <= columns <= MOST_COLUMNS:
        raise ValueError(f"{columns} columns; expected 1 to {MOST_COLUMNS}")
    columns = min(columns, recording.frames)
    edges = (np.arange(columns + 1) * recording.frames) // columns
    out = np.empty((recording.tracks, 2, columns), np.float32)
    out[:, 0], out[:, 1] = np.inf, -np.inf
    at = 0
    for block in blocks(recording, 1):
        end = min(at + block.shape[1], recording.frames)
        first = int(np.searchsorted(edges, at, side="right")) - 1
        last = int(np.searchsorted(edges, end, side="left"))
        if end > at:
            starts = np.maximum(edges[first:last] - at, 0)
            least = np.minimum.reduceat(block[:, : end - at], starts, axis=1)
            largest = np.maximum.reduceat(block[:, : end - at], starts, axis=1)
            out[:, 0, first:last] = np.minimum(out[:, 0, first:last], least)
            out[:, 1, first:last] = np.maximum(out[:, 1, first:last], largest)
        at += block.shape[1]
        if tell is not None:
            tell(f"drawing {recording.name}", min(1.0, at / recording.frames))
    return np.where(np.isfinite(out), out, np.float32(0.0))
