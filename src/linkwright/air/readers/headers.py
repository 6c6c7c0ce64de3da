"""What a header of free text says about the columns under it: units, resolution, detector."""

from __future__ import annotations

import re
from dataclasses import dataclass

from linkwright.air.sweep import Detector, Unit

_FREQUENCY = re.compile(r"(?:freq|axis unit)[^\n;]{0,20}?(?<![a-z])(g|m|k)?hz(?![a-z])", re.IGNORECASE)
_TITLE_UNIT = re.compile(r"^\W*(g|m|k)?hz\b", re.IGNORECASE)
_RESOLUTION = re.compile(
    r"(?:\brbw\b|resolution bandwidth)\W{0,4}([+]?\d+(?:\.\d+)?(?:e[+-]?\d+)?)[\s,;]*(?:(g|m|k)?hz)?",
    re.IGNORECASE,
)
_PEAK = re.compile(r"max\s*hold|(?:pos|auto)\w*\s*peak|detector\W+peak", re.IGNORECASE)
_RMS = re.compile(r"detector\W+(?:rms|average)", re.IGNORECASE)
_LOWER = re.compile(r"freq[^\n,;\t]*(?:low|start)", re.IGNORECASE)
_PREFIX_KHZ = {"": 1e-3, "k": 1.0, "m": 1e3, "g": 1e6}
_PREFIX_UNIT = {"": "Hz", "k": "kHz", "m": "MHz", "g": "GHz"}
_LEVELS: tuple[tuple[re.Pattern[str], Unit | None], ...] = (
    (re.compile(r"(?<![a-z])dbm\s*/\s*hz", re.IGNORECASE), None),
    (re.compile(r"(?<![a-z])db\(?[u\u00b5\u03bc]v\s*/\s*m\)?", re.IGNORECASE), "dBuV/m"),
    (re.compile(r"(?<![a-z])db\(?[u\u00b5\u03bc]v", re.IGNORECASE), "dBuV"),
    (re.compile(r"(?<![a-z])dbm(?![a-z])", re.IGNORECASE), "dBm"),
)


@dataclass(frozen=True)
class Header:
    """What the header told; None where it did not."""

    frequency_unit: str | None
    level_unit: Unit | None
    resolution_khz: float | None
    detector: Detector
    lower_edges: bool
    warnings: tuple[str, ...]


def understood(header: bytes) -> Header:
    """The header's words, as far as they are understood; never raises."""
    text = header.decode("utf-8", "replace")
    lines = [line for line in text.split("\n") if line.strip()]
    titles = lines[-1] if lines else ""
    unit, warnings = _level_unit(text, titles)
    resolution = _RESOLUTION.search(text)
    resolution_khz = None
    if resolution is not None:
        stated = float(resolution[1]) * _PREFIX_KHZ[(resolution[2] or "").lower()]
        resolution_khz = stated if 1e-3 <= stated <= 1e6 else None
    detector: Detector = "peak" if _PEAK.search(text) else "rms" if _RMS.search(text) else "unknown"
    return Header(
        frequency_unit=_frequency_unit(text, titles),
        level_unit=unit,
        resolution_khz=resolution_khz,
        detector=detector,
        lower_edges=_LOWER.search(titles) is not None,
        warnings=warnings,
    )


def _frequency_unit(text: str, titles: str) -> str | None:
    found = _FREQUENCY.search(titles) or _TITLE_UNIT.search(titles) or _FREQUENCY.search(text)
    return None if found is None else _PREFIX_UNIT[(found[1] or "").lower()]


def _level_unit(text: str, titles: str) -> tuple[Unit | None, tuple[str, ...]]:
    """The unit of the levels: the column titles count before the rest of the header."""
    for where in (titles, text):
        for pattern, unit in _LEVELS:
            if pattern.search(where):
                if unit is None:
                    return None, ("levels are densities (dBm/Hz) and are used as relative ones",)
                return unit, ()
    return None, ()
