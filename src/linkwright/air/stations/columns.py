"""Which column of a list of stations says what: found by its name, in the many spellings that lists use."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

Role = Literal[
    "name", "channel", "frequency", "latitude", "longitude", "erp", "eirp", "effective", "antenna", "pattern"
]

#: What a column may be called, without units, in small letters; the first that is there is taken.
NAMES: Final[dict[Role, tuple[str, ...]]] = {
    "name": ("call", "call sign", "callsign", "station", "station name", "transmitter", "transmitter name", "name",
             "site name", "service", "programme", "site", "city", "location"),
    "channel": ("ch", "channel", "rf channel", "rf ch", "physical channel", "channel number", "channel no",
                "tv channel", "uhf channel", "chan", "kanal", "canal", "canale", "kanaal"),
    "frequency": ("frequency", "freq", "centre frequency", "center frequency", "centre freq", "center freq"),
    "latitude": ("lat", "latitude", "site lat", "site latitude", "lat north", "latitude north"),
    "longitude": ("lon", "long", "lng", "longitude", "site long", "site lon", "site longitude",
                  "west longitude", "lon west", "longitude west", "long west", "lon east", "longitude east"),
    "erp": ("erp", "effective radiated power", "power erp", "p erp", "erp h", "erp power", "power"),
    "eirp": ("eirp", "power eirp", "p eirp", "effective isotropic radiated power"),
    "effective": ("haat", "heff", "h eff", "effective height", "effective antenna height", "eff height", "eff hgt",
                  "height above average terrain", "antenna haat", "antenna height above average terrain"),
    "antenna": ("agl", "height agl", "antenna height agl", "hagl", "height above ground", "aerial height",
                "antenna height", "mast height", "tx height", "height", "hgt agl",
                "antenna height above ground", "aerial height above ground", "antenna height above ground level"),
    "pattern": ("da", "directional", "pattern", "antenna pattern", "antenna type", "directivity"),
}  # fmt: skip
#: Units that stand in a column's name or behind a number.
UNITS: Final = (
    "kw",
    "w",
    "dbw",
    "dbk",
    "dbm",
    "mhz",
    "khz",
    "m",
    "ft",
    "feet",
    "metres",
    "meters",
    "metre",
    "meter",
)
#: Words of a name that say nothing about the role.
IDLE: Final = ("max", "maximum", "total", "deg", "degrees", "dms", "ddmmss", "dd", "decimal", "wgs84", "wgs", "84",
               "nad83", "nad27", "in", "the", "of", "tx", "n")  # fmt: skip
_UNIT_RUN = re.compile(r"(dBW|dBk|dBm|kW|MHz|kHz)")
_HUMP = re.compile(r"(?<=[a-z])(?=[A-Z])")


@dataclass(frozen=True, slots=True)
class Column:
    """Where a column stands, from 0, its name as the list has it, and the unit in that name ("" without one)."""

    index: int
    title: str
    unit: str


def find_columns(titles: Sequence[str]) -> dict[Role, Column]:
    """The columns of a header line by their role; those that are not there are left out."""
    told = [_told(title) for title in titles]
    columns: dict[Role, Column] = {}
    for role, names in NAMES.items():
        for name in names:
            hits = [index for index, (plain, _) in enumerate(told) if plain == name]
            if hits:
                columns[role] = Column(hits[0], titles[hits[0]].strip(), told[hits[0]][1])
                break
    return columns


def _told(title: str) -> tuple[str, str]:
    """A column's name without its unit and idle words, and the unit."""
    spaced = _HUMP.sub(" ", _UNIT_RUN.sub(lambda run: f" {run[0].lower()} ", title))
    words = re.findall(r"[^\W_]+", spaced.lower())
    units = [word for word in words[1:] if word in UNITS]
    kept = [word for n, word in enumerate(words) if word not in IDLE and (n == 0 or word not in UNITS)]
    return " ".join(kept), units[-1] if units else ""
