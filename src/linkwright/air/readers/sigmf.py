"""SigMF recordings: a metadata file and samples become a sweep by Welch's method.

Format: the SigMF specification, version 1 (core namespace): `core:datatype`, `core:sample_rate`, and for each
capture `core:sample_start` and `core:frequency`. Levels are relative to full scale. Averages: the segments of a
Hann window overlap by half, so that their powers are correlated by (1/6)^2 and K of them scatter like
K / (1 + 2/36) (P. D. Welch, IEEE Trans. Audio Electroacoust. 15 (1967) 70, from memory).
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np

from linkwright.air.readers.grid import Segments, assembled
from linkwright.air.readers.options import ReadOptions
from linkwright.air.sweep import Sweep
from linkwright.physics.detection import NOISE_BANDWIDTH_BINS
from linkwright.progress import Tell
from linkwright.shoot.errors import InputError
from linkwright.units import FloatArray, IntArray

#: The step that is aimed at where no resolution is stated [kHz]: half of what a multiplex is told by.
STEP_KHZ = 12.5
#: Most sweeps that one recording is cut into; each holds at least so many segments where it is long enough.
MOST_SWEEPS = 200
SEGMENTS_A_SWEEP = 64
MOST_META_BYTES = 16 * 1024 * 1024
MOST_BINS = 1 << 20
_TYPE = re.compile(r"([cr])([fiu])(8|16|32|64)(?:_(le|be))?")
_OVERLAP_AVERAGES = 1.0 + 2.0 / 36.0


@dataclass(frozen=True)
class Capture:
    """A stretch of samples on one centre frequency: first sample, how many, centre [Hz], when it began."""

    start: int
    count: int
    centre_hz: float
    began: datetime | None


@dataclass(frozen=True)
class SigmfMetadata:
    """What the metadata says; `scale` brings integer samples to full scale 1, `middle` is their zero."""

    data: Path
    kind: np.dtype[Any]
    is_complex: bool
    scale: float
    middle: float
    rate_hz: float
    captures: tuple[Capture, ...]
    warnings: tuple[str, ...]


def is_sigmf(path: Path) -> bool:
    """Whether a file is named as SigMF names its two files."""
    return path.name.endswith((".sigmf-meta", ".sigmf-data"))


def looks_like_metadata(head: bytes) -> bool:
    """Whether the beginning of a text is the metadata of a recording."""
    return head.lstrip().startswith(b"{") and b"core:datatype" in head


def read(path: Path, name: str, options: ReadOptions, tell: Tell | None = None) -> Sweep:
    """The sweep in a recording, by either of its two files. Raises `InputError`."""
    recording = metadata(path, name)
    size = transform_size(recording.rate_hz, options.resolution_khz)
    shortest = min(capture.count for capture in recording.captures)
    if size > min(shortest, MOST_BINS):
        raise InputError(
            f"the shortest capture has {shortest} samples, fewer than one transform of {size} needs "
            f"for bins of {recording.rate_hz / size / 1e3:.3g} kHz; state a coarser resolution",
            path=name,
        )
    levels, low, counts, each = [], [], [], []
    done, total = 0, sum(capture.count for capture in recording.captures)
    for capture in recording.captures:
        for spectrum, segments, used in _spectra(recording, capture, size, len(recording.captures) > 1):
            done += used
            if tell is not None:
                tell(f"transforming {name}", done / total)
            lowest = capture.centre_hz + (0.0 if not recording.is_complex else -recording.rate_hz / 2.0)
            levels.append(spectrum)
            low.append(lowest)
            counts.append(spectrum.size)
            each.append(segments)
    step_hz = recording.rate_hz / size
    grid = assembled(_segments(low, counts, step_hz), levels, name)
    return _sweep(recording, grid, step_hz, min(each), len(recording.captures), name, options)


def transform_size(rate_hz: float, resolution_khz: float | None = None) -> int:
    """Samples of one transform (a power of two) for bins no wider than that resolution asks, or than `STEP_KHZ`."""
    aimed = resolution_khz / NOISE_BANDWIDTH_BINS["hann"] if resolution_khz else STEP_KHZ
    return 1 << max(3, math.ceil(math.log2(rate_hz / (aimed * 1e3))))


def averages_of(segments: int) -> int:
    """By how many independent looks so many segments, that overlap by half, scatter."""
    return max(1, round(segments / _OVERLAP_AVERAGES))


def _segments(low: list[float], counts: list[int], step_hz: float) -> Segments:
    size: IntArray = np.array(counts, dtype=np.int64)
    return Segments(np.array(low), np.full(size.size, step_hz), size, size, 0.0, np.full(size.size, -1))


def _sweep(
    recording: SigmfMetadata,
    grid: Any,
    step_hz: float,
    segments: int,
    captures: int,
    name: str,
    options: ReadOptions,
) -> Sweep:
    """The normal form."""
    averages = options.averages or averages_of(segments)
    resolution = step_hz / 1e3 * NOISE_BANDWIDTH_BINS["hann"]
    lasted = sum(capture.count for capture in recording.captures) / recording.rate_hz
    guessed = [] if options.unit else ["levels are relative to full scale: the recording states no calibration"]
    understood = [
        f"Welch's method: Hann window, overlap one half, {segments} segments in each level",
        f"{recording.rate_hz / 1e3:g} thousand samples a second, {captures} capture{'' if captures == 1 else 's'}",
        "the bin at each centre frequency may hold the receiver's own carrier",
    ]
    return Sweep(
        path=name,
        frequencies_khz=grid.frequencies_khz,
        levels_db=grid.levels_db,
        unit=options.unit or "dB",
        step_khz=grid.step_khz,
        resolution_khz=resolution,
        averages=averages,
        detector=options.detector or "rms",
        started=recording.captures[0].began,
        lasted_s=options.lasted_s if options.lasted_s is not None else lasted,
        format="SigMF recording",
        copied=grid.copied,
        understood=tuple(understood + options.stated()),
        guessed=tuple(guessed),
        warnings=recording.warnings,
    )


def _spectra(
    recording: SigmfMetadata, capture: Capture, size: int, hops: bool
) -> Iterator[tuple[FloatArray, int, int]]:
    """Levels (bins) [dB], segments averaged and samples used, of each sweep that a capture is cut into."""
    from scipy.signal import welch

    least = size * (SEGMENTS_A_SWEEP + 1) // 2
    sweeps = 1 if hops else max(1, min(MOST_SWEEPS, capture.count // least))
    length = capture.count // sweeps
    for number in range(sweeps):
        start = capture.start + number * length
        power = np.zeros(size if recording.is_complex else size // 2 + 1)
        segments = 0
        for first, count in _parts(start, length, size):
            _, density = welch(
                samples(recording, first, count), recording.rate_hz, "hann", size, size // 2, detrend=False,
                scaling="spectrum", return_onesided=not recording.is_complex,
            )  # fmt: skip
            here = (count - size // 2) // (size - size // 2)
            power += density * here
            segments += here
        power = np.fft.fftshift(power / segments) if recording.is_complex else power / segments
        with np.errstate(divide="ignore"):
            yield 10.0 * np.log10(power), segments, length


def _parts(start: int, length: int, size: int) -> Iterator[tuple[int, int]]:
    """First sample and count of parts of bounded size, which overlap by half a transform."""
    most = max(2 * size, (1 << 22) // size * size)
    hop = most - size // 2
    first = start
    while True:
        count = min(most, start + length - first)
        if count >= size:
            yield first, count
        if first + most >= start + length:
            return
        first += hop


def samples(recording: SigmfMetadata, first: int, count: int) -> np.ndarray:
    """Samples with full scale 1, as complex or real numbers."""
    each = 2 if recording.is_complex else 1
    raw = np.fromfile(
        recording.data, recording.kind, count * each, offset=first * each * recording.kind.itemsize
    ).astype(np.float64)
    raw = (raw - recording.middle) * recording.scale
    raw[~np.isfinite(raw)] = 0.0
    return np.asarray(raw.view(np.complex128) if recording.is_complex else raw)


def metadata(path: Path, name: str) -> SigmfMetadata:
    """What the metadata says, by either of the two files, checked against the samples. Raises `InputError`."""
    meta, data = path.with_suffix(".sigmf-meta"), path.with_suffix(".sigmf-data")
    for path, what in ((meta, "metadata"), (data, "samples")):
        if not path.is_file():
            raise InputError(f"there is no {path.name} with the {what} beside it; SigMF has two files", path=name)
    try:
        document = json.loads(meta.read_bytes()[:MOST_META_BYTES].decode("utf-8-sig"))
    except (ValueError, RecursionError):
        raise InputError("the metadata is no JSON, expected a SigMF object", path=name) from None
    told = document.get("global") if isinstance(document, dict) else None
    if not isinstance(told, dict):
        raise InputError('the metadata has no object "global", expected a SigMF recording', path=name)
    kind, is_complex, scale, middle = _datatype(told.get("core:datatype"), name)
    if told.get("core:num_channels", 1) != 1:
        raise InputError("the recording has several channels, expected one", path=name)
    rate = told.get("core:sample_rate")
    if not isinstance(rate, int | float) or isinstance(rate, bool) or not 1e3 <= rate <= 1e11:
        raise InputError(f"core:sample_rate is {json.dumps(rate)}, expected samples per second", path=name)
    size = data.stat().st_size
    whole, rest = divmod(size, kind.itemsize * (2 if is_complex else 1))
    warnings = [f"{rest} bytes at the end are no whole sample and were left out"] if rest else []
    captures, more = _captures(document.get("captures"), whole, name)
    return SigmfMetadata(data, kind, is_complex, scale, middle, float(rate), captures, (*warnings, *more))


def _datatype(text: object, name: str) -> tuple[np.dtype[Any], bool, float, float]:
    """Type of a number, whether samples are complex, and scale and zero of integers."""
    match = _TYPE.fullmatch(text) if isinstance(text, str) else None
    letters = {"f": "f", "i": "i", "u": "u"}
    if match is None or ((match[2] == "f") and match[3] in ("8", "16")):
        raise InputError(f"core:datatype is {json.dumps(text)}, expected one such as cf32_le or ci16_le", path=name)
    bits = int(match[3])
    kind = np.dtype(f"{'>' if match[4] == 'be' else '<'}{letters[match[2]]}{bits // 8}")
    if match[2] == "f":
        return kind, match[1] == "c", 1.0, 0.0
    full = 2.0 ** (bits - 1)
    return kind, match[1] == "c", 1.0 / full, full if match[2] == "u" else 0.0


def _captures(listed: object, samples: int, name: str) -> tuple[tuple[Capture, ...], list[str]]:
    """The captures with a centre frequency and at least one sample, in order; and warnings."""
    if not isinstance(listed, list) or not all(isinstance(entry, dict) for entry in listed):
        raise InputError('the metadata has no list "captures", expected a SigMF recording', path=name)
    rows = []
    for capture in listed:
        start, centre = capture.get("core:sample_start", 0), capture.get("core:frequency")
        if not isinstance(start, int) or start < 0:
            raise InputError(f"core:sample_start is {json.dumps(start)}, expected a whole number", path=name)
        if not isinstance(centre, int | float) or not 0 <= centre <= 1e12:
            raise InputError(f"core:frequency is {json.dumps(centre)}, expected the centre in Hz", path=name)
        rows.append((start, float(centre), _when(capture.get("core:datetime"))))
    rows.sort(key=lambda row: row[0])
    ends = [row[0] for row in rows[1:]] + [samples]
    captures = [
        Capture(start, min(end, samples) - start, centre, began)
        for (start, centre, began), end in zip(rows, ends, strict=False)
        if min(end, samples) > start
    ]
    if not captures:
        raise InputError(f"the file of samples holds {samples}, and no capture begins within", path=name)
    left = len(rows) - len(captures)
    return tuple(captures), [f"{left} captures begin behind the last sample and were left out"] if left else []


def _when(text: object) -> datetime | None:
    try:
        return datetime.fromisoformat(text) if isinstance(text, str) else None
    except ValueError:
        return None
