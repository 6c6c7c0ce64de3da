"""The few conversions that everybody uses: decibels, milliwatts, kilohertz.

Frequencies are whole kilohertz (int), levels are dBm outside and milliwatts (float64) where they are added.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Sequence
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

FloatArray: TypeAlias = NDArray[np.float64]
IntArray: TypeAlias = NDArray[np.int64]
CountArray: TypeAlias = NDArray[np.int32]
#: Samples of sound, readings: what comes by the million.
SampleArray: TypeAlias = NDArray[np.float32]
BoolArray: TypeAlias = NDArray[np.bool_]

#: A half-wave dipole over an isotropic radiator [dB]; ITU Radio Regulations No. 1.161-1.162.
DIPOLE_DBI = 2.15

#: Speed of light in vacuum [m/s]; exact, SI Brochure 9th edition, table 1.
SPEED_OF_LIGHT_M_S = 299_792_458.0

#: Counts as people write them.
NUMBERS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve")

#: Where a level stands for "nothing at all" [dBm]: far below kT in one hertz, and still finite.
NOTHING_DBM = -400.0


def dbm_from_mw(power_mw: float) -> float:
    """Level [dBm] of a power [mW]; `NOTHING_DBM` for no power. Raises ValueError below zero."""
    if power_mw < 0.0:
        raise ValueError(f"a power cannot be negative: {power_mw} mW")
    return 10.0 * math.log10(power_mw) if power_mw > 0.0 else NOTHING_DBM


def mw_from_dbm(level_dbm: float) -> float:
    """Power [mW] of a level [dBm]."""
    return float(10.0 ** (level_dbm / 10.0))


def dbm_from_mw_array(power_mw: FloatArray) -> FloatArray:
    """Levels [dBm] of powers [mW], any shape; `NOTHING_DBM` where there is no power."""
    floor_mw = mw_from_dbm(NOTHING_DBM)
    return np.asarray(10.0 * np.log10(np.maximum(power_mw, floor_mw)), dtype=np.float64)


def mw_from_dbm_array(level_dbm: FloatArray) -> FloatArray:
    """Powers [mW] of levels [dBm], any shape."""
    return np.asarray(10.0 ** (np.asarray(level_dbm, dtype=np.float64) / 10.0), dtype=np.float64)


def sum_dbm(levels_dbm: Iterable[float]) -> float:
    """Level [dBm] of several powers together, added in milliwatts."""
    return dbm_from_mw(math.fsum(mw_from_dbm(level) for level in levels_dbm))


def khz_from_mhz(frequency_mhz: float) -> int:
    """Whole kilohertz of a frequency [MHz].

    Raises ValueError where the frequency is no whole number of kilohertz (to a millionth of one, which is
    what a decimal fraction loses on its way through a float).
    """
    khz = frequency_mhz * 1000.0
    if not math.isfinite(khz) or abs(khz - round(khz)) > 1e-6 * max(1.0, abs(khz) * 1e-6):
        raise ValueError(f"{frequency_mhz!r} MHz is not a whole number of kHz")
    return round(khz)


def mhz_text(frequency_khz: int) -> str:
    """A carrier as people read it, in MHz with three decimals: 571125 -> "571.125"."""
    return f"{frequency_khz / 1000:.3f}"


def number_word(count: int) -> str:
    """A count as people write it: a word up to twelve."""
    return NUMBERS[count] if count < len(NUMBERS) else str(count)


def with_capital(text: str) -> str:
    """A sentence with its first letter large, the others as they are."""
    return text[:1].upper() + text[1:]


def with_article(noun: str) -> str:
    """A noun with its article: a site, an other transmitter."""
    return f"{'an' if noun[:1] in 'aeiou' else 'a'} {noun}"


def minus(sentence: str) -> str:
    """A sentence, or a number, with minus signs where it has hyphens before numbers."""
    return re.sub(r"(?<!\S)-(?=\d)", "\N{MINUS SIGN}", sentence)


def counted(count: int, word: str) -> str:
    """How many of what: "1 link", "3 links"."""
    return f"{count} {word}{'' if count == 1 else 's'}"


def together(names: Sequence[str]) -> str:
    """Several names as people say them: "Pilot, Cook and 3 others"."""
    if len(names) <= 3:
        return " and ".join(filter(None, [", ".join(names[:-1]), names[-1]]))
    return f"{', '.join(names[:2])} and {len(names) - 2} others"
