"""Latitudes and longitudes in the notations that lists use.

- decimal degrees: 50.155, -5.045, 5.045 W
- degrees, minutes and seconds apart: 50 09 18 N, 50-09-18, 50° 9.3' N, W005:02:42
- packed: 500918, 0050242 W, and 005W0242 with the letter between degrees and minutes (ITU)

Whether a column is packed is told from all of it: some number in it is too large for degrees.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

from linkwright.air.stations.quoting import quoted

Axis = Literal["latitude", "longitude"]

#: The largest number of degrees, and the letters of the positive and the negative half.
MOST_DEG: Final[dict[Axis, float]] = {"latitude": 90.0, "longitude": 180.0}
LETTERS: Final[dict[Axis, str]] = {"latitude": "NS", "longitude": "EW"}
#: No angle is written longer [characters]; more would only cost time.
LONGEST: Final = 60
_NUMBER = re.compile(r"\d+(?:\.\d*)?|\.\d+")
_FILLING = re.compile(r"[\s:,;'\"°º˚′″’”_\-]*")
#: A letter for a half of the globe stands alone beside numbers.
_LETTER = re.compile(r"(?<![A-Za-z])[NSEWO](?![A-Za-z])", re.IGNORECASE)
#: 50d 9m 18s: there an s is seconds, not south.
_WORDED = re.compile(
    r"(\d+(?:\.\d*)?)\s*(?:deg|d)\s*(\d+(?:\.\d*)?)\s*(?:min|m)(?:\s*(\d+(?:\.\d*)?)\s*(?:sec|s)(?![A-Za-z]))?",
    re.IGNORECASE,
)


@dataclass(frozen=True, slots=True)
class Angle:
    """Degrees, and whether a letter or a minus sign told the half."""

    degrees: float
    lettered: bool


def angles(texts: Sequence[str], axis: Axis) -> list[Angle | str]:
    """The angles in a column; for a text that is none, what is wrong with it."""
    packed = any(_is_packed(text[:LONGEST], axis) for text in texts)
    return [_angle(text, axis, packed) for text in texts]


def _is_packed(text: str, axis: Axis) -> bool:
    numbers = _NUMBER.findall(text)
    return len(numbers) == 1 and float(numbers[0]) > 2.0 * MOST_DEG[axis]


def _angle(text: str, axis: Axis, packed: bool) -> Angle | str:
    bare = text.strip().replace("\N{MINUS SIGN}", "-")
    if len(bare) > LONGEST:
        return f"{quoted(bare)} is no {axis}"
    plain = _WORDED.sub(lambda parts: " ".join(part for part in parts.groups() if part), bare)
    letters = [letter.upper() for letter in _LETTER.findall(plain)]
    if "O" in letters:
        return f"{quoted(bare)}: O is east in some languages and west in others; write E or W"
    if len(letters) > 1 or any(letter not in LETTERS[axis] for letter in letters):
        return f"{quoted(bare)} is no {axis}"
    filling = _NUMBER.sub("", _LETTER.sub("", plain).lstrip("+-"))
    numbers = _NUMBER.findall(plain)
    if not numbers or not _FILLING.fullmatch(filling):
        return f"{quoted(bare)} is no {axis}"
    degrees = _degrees(numbers, packed)
    if degrees is None or degrees > (90.0 if axis == "latitude" else 360.0):
        return f"{quoted(bare)} is no {axis}"
    negative = bare.startswith("-") or letters == [LETTERS[axis][1]]
    if axis == "longitude" and degrees > MOST_DEG[axis]:
        degrees -= 360.0
    return Angle(-degrees if negative else degrees, bool(letters))


def _degrees(numbers: list[str], packed: bool) -> float | None:
    """Degrees from their parts; None where minutes or seconds are over 60 (60 itself is how some lists round)."""
    if len(numbers) == 1 and packed:
        whole, _, fraction = numbers[0].partition(".")
        whole = whole.rjust(5, "0")
        parts = [float(whole[:-4]), float(whole[-4:-2]), float(f"{whole[-2:]}.{fraction or 0}")]
    elif len(numbers) == 2 and len(numbers[1].partition(".")[0]) == 4:
        parts = [float(numbers[0]), float(numbers[1][:2]), float(numbers[1][2:])]
    elif len(numbers) <= 3:
        parts = [float(number) for number in numbers]
    else:
        return None
    if any(part > 60.0 for part in parts[1:]):
        return None
    return sum(part / 60.0**n for n, part in enumerate(parts))
