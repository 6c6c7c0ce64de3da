"""Lists typed by hand: carriers that somebody heard, each with a level or without. No sweep, and no floor.

Such a list says what is there and nothing about the rest: it never makes a frequency clean.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np

from linkwright.air.readers.columns import KHZ
from linkwright.air.readers.headers import level_unit_of
from linkwright.air.readers.layout import is_comment
from linkwright.air.readers.options import ReadOptions
from linkwright.air.sweep import Unit

#: More lines are no list that somebody typed; the project's choice.
MOST_LINES = 400
_LINE = re.compile(
    r"^\s*(\d{2,5}(?:[.,]\d+)?|\d{6,11})\s*([GMk]?Hz)?\b"  # frequency
    r"(?:[\s,;:|=@]+([+-]?\d{1,3}(?:[.,]\d+)?)(?![\d.,])\s*(dB\(?[a-zA-Z\u00b5\u03bc/]*\)?)?)?"  # level
    r"(?:[\s,;:|=-]+(\D.*))?\s*$"  # what it is
)


@dataclass(frozen=True)
class ListedCarrier:
    """A carrier from a list: centre [kHz], level in `unit` (None where none is given), and what it is called."""

    centre_khz: float
    level_db: float | None
    unit: Unit
    name: str


def heard(text: bytes, options: ReadOptions) -> tuple[ListedCarrier, ...] | None:
    """The carriers of a list; None where the text is something else.

    Every line that is no remark begins with a frequency; the frequencies are not evenly spaced, as those of
    a sweep are, unless the text is stated to be a list.
    """
    lines = [line for line in text.split(b"\n") if line.strip() and not is_comment(line)]
    if not lines or len(lines) > MOST_LINES:
        return None
    matches = [_LINE.match(line.decode("utf-8", "replace").replace('"', "")) for line in lines]
    if len(lines) > 1 and matches[0] is None:
        matches = matches[1:]  # titles
    carriers = [_heard(match, options) for match in matches if match is not None]
    if len(carriers) != len(matches) or any(carrier is None for carrier in carriers):
        return None
    known = tuple(carrier for carrier in carriers if carrier is not None)
    if options.columns == "carriers" or _uneven(np.array([carrier.centre_khz for carrier in known])):
        return known
    return None


def _heard(match: re.Match[str], options: ReadOptions) -> ListedCarrier | None:
    value = float(match[1].replace(",", "."))
    unit = match[2] or options.frequency_unit
    if unit is None:
        unit = "MHz" if 10.0 <= value < 1e4 else "kHz" if 1e4 <= value < 1e7 else "Hz"
    khz = value * KHZ.get(unit, 1.0)
    if not 1e3 <= khz <= 1e8:
        return None
    level = None if match[3] is None else float(match[3].replace(",", "."))
    levels = options.unit or level_unit_of(match[4] or "") or "dB"
    return ListedCarrier(khz, level, levels, (match[5] or "").strip())


def _uneven(khz: np.ndarray) -> bool:
    """Whether frequencies are not those of a sweep: fewer than half of their distances are alike."""
    if khz.size < 3:
        return False
    apart = np.diff(np.sort(khz))
    alike = np.abs(apart - np.median(apart)) <= 0.02 * np.median(apart) + 1e-6
    return bool(np.mean(alike) < 0.5)
