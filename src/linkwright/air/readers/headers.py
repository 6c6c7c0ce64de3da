"""What a header of free text says about the columns under it: units, resolution, detector."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from linkwright.air.readers.options import ReadOptions
from linkwright.air.sweep import Detector, Unit

_FREQUENCY = re.compile(r"(?:freq|axis unit)[^\n;]{0,20}?(?<![a-z])(g|m|k)?hz(?![a-z])", re.IGNORECASE)
_TITLE_UNIT = re.compile(r"^\W*(g|m|k)?hz\b", re.IGNORECASE)
_RESOLUTION = re.compile(
    r"(?:\brbw\b|resolution bandwidth)\W{0,4}([+]?\d+(?:\.\d+)?(?:e[+-]?\d+)?)[\s,;]*(?:(g|m|k)?hz)?",
    re.IGNORECASE,
)
_PEAK = re.compile(r"max\s*hold|(?:pos|auto)\w*\s*peak|detector\W+peak", re.IGNORECASE)
_RMS = re.compile(r"detector\W+(?:rms|average)", re.IGNORECASE)
_LOG = re.compile(r"(?:average|avg)\s*type\W+log|log\s*(?:pwr|power)?\s*average", re.IGNORECASE)
_VOLTAGE = re.compile(r"(?:average|avg)\s*type\W+volt", re.IGNORECASE)
_POWER = re.compile(r"(?:average|avg)\s*type\W+(?:rms|pwr|power|lin)", re.IGNORECASE)
_NUMBER = r"[\s,;:=]*([+-]?\d+(?:\.\d+)?(?:e[+-]?\d+)?)[\s,;]*"
_AVERAGES = re.compile(r"(?:number of averages|averages|average count|avg count)[\s,;:=]+(\d+)", re.IGNORECASE)
_REFERENCE = re.compile(r"ref(?:erence)?\s*level(?!\s*off)" + _NUMBER + r"(db[\w\u00b5\u03bc/]*)?", re.IGNORECASE)
_BAND = {
    "from": re.compile(r"\bstart(?:\s*freq\w*)?" + _NUMBER + r"(?:(g|m|k)?hz)?", re.IGNORECASE),
    "to": re.compile(r"\b(?:stop|end)(?:\s*freq\w*)?" + _NUMBER + r"(?:(g|m|k)?hz)?", re.IGNORECASE),
    "step": re.compile(r"\b(?:f\s*step|step(?:\s*freq\w*)?)" + _NUMBER + r"(?:(g|m|k)?hz)?", re.IGNORECASE),
}
_STARTED = re.compile(r"\bstarted\W{0,3}(\d{4}-\d\d-\d\d[T ]\d\d:\d\d(?::\d\d)?)", re.IGNORECASE)
_LASTED = re.compile(r"\blasted\W{0,3}(\d{1,7}(?:\.\d{1,3})?)\s?s\b", re.IGNORECASE)
_POINTS = re.compile(r"\bpoints[\s,;:=]*(\d+)", re.IGNORECASE)
_COLUMNS_ARE_SWEEPS = re.compile(r"each[_\s]*column\W{0,3}(?:is\W+)?(?:one|a)[_\s]*(?:sweep|scan)", re.IGNORECASE)
#: A resolution without a unit is believed to be in hertz from here on [Hz]; less may well be kilohertz.
_LEAST_BARE_HZ = 1000.0
_LOWER = re.compile(r"freq[^\n,;\t]*(?:low|start)", re.IGNORECASE)
#: Lines that only mark where a table begins or ends.
_MARK = re.compile(r"^\s*(?:BEGIN|END)\s*$")
_PREFIX_KHZ = {"": 1e-3, "k": 1.0, "m": 1e3, "g": 1e6}
_PREFIX_UNIT = {"": "Hz", "k": "kHz", "m": "MHz", "g": "GHz"}
_LEVELS: tuple[tuple[re.Pattern[str], Unit | None], ...] = (
    (re.compile(r"(?<![a-z])dbm\s*/\s*hz", re.IGNORECASE), None),
    (re.compile(r"(?<![a-z])db\(?[u\u00b5\u03bc]v\s*/\s*m\)?", re.IGNORECASE), "dBuV/m"),
    (re.compile(r"(?<![a-z])db\(?[u\u00b5\u03bc]v", re.IGNORECASE), "dBuV"),
    (re.compile(r"(?<![a-z])dbm(?![a-z])", re.IGNORECASE), "dBm"),
)


@dataclass(frozen=True)
class TraceHeader:
    """What the header told, or a person states instead; None where nobody did.

    `average_type` is the detector of an averaged trace. `from_khz`, `to_khz`, `step_khz`, `points` are the
    band of a table without frequencies. `started` is the first pass, `lasted_s` the time from it to the last.
    `notes` are for showing.
    """

    frequency_unit: str | None
    level_unit: Unit | None
    resolution_khz: float | None
    detector: Detector
    average_type: Detector
    averages: int | None
    lower_edges: bool
    from_khz: float | None
    to_khz: float | None
    step_khz: float | None
    points: int | None
    columns_are_sweeps: bool
    started: datetime | None
    lasted_s: float | None
    notes: tuple[str, ...]
    warnings: tuple[str, ...]


def understood(header: bytes, options: ReadOptions) -> TraceHeader:
    """The header's words, as far as they are understood, with what was stated instead; never raises."""
    text = header.decode("utf-8", "replace")
    lines = [line for line in text.split("\n") if line.strip() and not _MARK.match(line)]
    titles = lines[-1] if lines else ""
    unit, warnings = _level_unit(text, titles)
    resolution_khz, doubt = _resolution(text)
    if doubt and options.resolution_khz is None:
        warnings = (*warnings, doubt)
    average_type = _average_type(text)
    averages = _AVERAGES.search(text)
    band = {what: _band_khz(pattern, text) for what, pattern in _BAND.items()}
    points = _POINTS.search(text)
    reference = _REFERENCE.search(text)
    return TraceHeader(
        frequency_unit=options.frequency_unit or _frequency_unit(text, titles),
        level_unit=options.unit or unit,
        resolution_khz=options.resolution_khz or resolution_khz,
        detector=options.detector or detector_in(text),
        average_type=options.detector or average_type,
        averages=options.averages or (int(averages[1][:9]) or None if averages else None),
        lower_edges=_LOWER.search(titles) is not None,
        from_khz=band["from"],
        to_khz=band["to"],
        step_khz=band["step"],
        points=int(points[1][:9]) if points else None,
        columns_are_sweeps=_COLUMNS_ARE_SWEEPS.search(text) is not None,
        started=_started(text),
        lasted_s=_lasted_s(text) if options.lasted_s is None else options.lasted_s,
        notes=(f"reference level {float(reference[1]):g} {reference[2] or ''}".strip(),) if reference else (),
        warnings=warnings,
    )


def _started(text: str) -> datetime | None:
    stated = _STARTED.search(text)
    try:
        return None if stated is None else datetime.fromisoformat(stated[1])
    except ValueError:
        return None


def _lasted_s(text: str) -> float | None:
    stated = _LASTED.search(text)
    return None if stated is None else float(stated[1])


def detector_in(text: str) -> Detector:
    """The detector that a text names; "unknown" where it names none."""
    if _PEAK.search(text):
        return "peak"
    return "rms" if _RMS.search(text) else _average_type(text)


def _average_type(text: str) -> Detector:
    if _LOG.search(text):
        return "log-average"
    if _VOLTAGE.search(text):
        return "voltage-average"
    return "rms" if _POWER.search(text) or _RMS.search(text) else "unknown"


def _resolution(text: str) -> tuple[float | None, str | None]:
    """The resolution [kHz], or why the one that stands there is not believed."""
    match = _RESOLUTION.search(text)
    if match is None:
        return None, None
    value = float(match[1])
    if match[2] is None and not match[0].lower().rstrip(" ,;").endswith("hz") and value < _LEAST_BARE_HZ:
        return None, f"the header names a resolution of {match[1]} without a unit, which was not used; state it"
    stated = value * _PREFIX_KHZ[(match[2] or "").lower()]
    return (stated if 1e-3 <= stated <= 1e6 else None), None


def _band_khz(pattern: re.Pattern[str], text: str) -> float | None:
    """A frequency of the header [kHz]; without a unit it is taken as hertz from a million on."""
    match = pattern.search(text)
    if match is None:
        return None
    value = float(match[1])
    khz = value * _PREFIX_KHZ[(match[2] or "").lower()]
    return khz if np.isfinite(khz) and 0.0 < khz <= 1e9 else None


def _frequency_unit(text: str, titles: str) -> str | None:
    match = _FREQUENCY.search(titles) or _TITLE_UNIT.search(titles) or _FREQUENCY.search(text)
    return None if match is None else _PREFIX_UNIT[(match[1] or "").lower()]


def level_unit_of(text: str) -> Unit | None:
    """The unit of levels that a text names; None for none."""
    return next((unit for pattern, unit in _LEVELS if pattern.search(text)), None)


def _level_unit(text: str, titles: str) -> tuple[Unit | None, tuple[str, ...]]:
    """The unit of the levels: the column titles count before the rest of the header."""
    for where in (titles, text):
        for pattern, unit in _LEVELS:
            if pattern.search(where):
                if unit is None:
                    return None, ("levels are densities (dBm/Hz) and are used as relative ones",)
                return unit, ()
    return None, ()
