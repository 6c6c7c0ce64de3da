"""The mapping file: how a log with other column names, units or clocks is read as the tidy record.

TOML. Everything is optional; without a file the columns are those of the tidy record.

    zone = "Europe/London"          # of times without an offset; IANA name or "+01:00"
    time_unit = "s"                 # times are numbers since 1970: "s", "ms", "us" or "ns"
    dates = "day-first"             # 14.05.2027 or 14/05/2027; "month-first" for 05/14/2027
    delimiter = ";"                 # default: found from the first line
    decimal = ","                   # default: "." (or "," where the delimiter is ";")
    link = "Presenter"              # for a log of one link without such a column
    clock_s = -1.5                  # added to every time of the log [s]

    [column]                        # our field = the log's column
    time = "Timestamp"
    rf_a_dbm = "RSSI A"
    date = "Day"                    # where the time is one of the day alone
    listener = "Pack"               # of a link that several listen to, who it is

    [scale]                         # value = scale * what is written + offset
    battery = 0.01
    [offset]
    rf_a_dbm = -107.0

    [rename]                        # the log's name of a link = ours
    "CH 1" = "Presenter"

    [clock]                         # added to the times of one link [s]
    Presenter = 0.25
"""

from __future__ import annotations

import datetime
import re
import zoneinfo
from typing import Annotated, Final, Literal, TypeVar

from pydantic import Field, ValidationError, field_validator

from linkwright.shoot.errors import InputError, did_you_mean
from linkwright.shoot.fields import Frozen, Name
from linkwright.shoot.toml import parse_toml
from linkwright.watch.log.record import FIELDS

MOST_BYTES: Final = 1024 * 1024
COLUMNS: Final = ("time", "link", *FIELDS)
#: Columns that are put before another of ours: the date of a time of day, who it is that listens to a link.
JOINED: Final = {"date": "time", "listener": "link"}
_OFFSET = re.compile(r"([+-])(\d\d):?(\d\d)")

Dates = Literal["day-first", "month-first"]
Seconds = Annotated[float, Field(ge=-3.2e8, le=3.2e8)]
Factor = Annotated[float, Field(ge=-1e9, le=1e9)]


class Mapping(Frozen):
    """How a log is read; the defaults are the tidy record."""

    zone: str | None = Field(default=None, description="zone of times without an offset")
    else_zone: str | None = Field(default=None, description="that zone where nobody said one; told as a guess")
    time_unit: Literal["s", "ms", "us", "ns"] | None = Field(default=None, description="unit of numbers as times")
    dates: Dates | None = Field(default=None, description="how dates run that do not begin with the year")
    delimiter: Annotated[str, Field(min_length=1, max_length=1)] | None = Field(
        default=None, description="what stands between two cells"
    )
    decimal: Literal[".", ","] | None = Field(default=None, description="decimal mark")
    link: Name | None = Field(default=None, description="the link of a log without such a column")
    clock_s: Seconds = Field(default=0.0, description="added to every time [s]")
    column: dict[str, Name] = Field(default={}, description="our field to the log's column")
    scale: dict[str, Factor] = Field(default={}, description="factor of a column's values")
    offset: dict[str, Factor] = Field(default={}, description="added to a column's values")
    rename: dict[Name, Name] = Field(default={}, description="the log's name of a link to ours")
    clock: dict[Name, Seconds] = Field(default={}, description="added to the times of a link [s]")

    @field_validator("column")
    @classmethod
    def _columns_are_ours(cls, given: dict[str, str]) -> dict[str, str]:
        return _known(given, (*COLUMNS, *JOINED))

    @field_validator("scale", "offset")
    @classmethod
    def _values_are_ours(cls, given: dict[str, float]) -> dict[str, float]:
        return _known(given, FIELDS)

    @field_validator("zone", "else_zone")
    @classmethod
    def _zone_is_known(cls, name: str | None) -> str | None:
        if name is not None:
            zone_of(name)
        return name

    @field_validator("delimiter")
    @classmethod
    def _delimiter_is_one(cls, mark: str | None) -> str | None:
        if mark is not None and (not mark.isascii() or mark.isalnum() or mark in "\"\n\r.+-:'"):
            raise ValueError("expected a comma, a semicolon, a tab or another sign")
        return mark

    def column_of(self, name: str) -> str:
        """What the log calls one of our columns."""
        return self.column.get(name, name)

    @property
    def tzinfo(self) -> datetime.tzinfo | None:
        """The zone of times without an offset."""
        name = self.zone or self.else_zone
        return None if name is None else zone_of(name)


#: A log as the tidy record has it.
TIDY: Final = Mapping()


T = TypeVar("T")


def _known(given: dict[str, T], known: tuple[str, ...]) -> dict[str, T]:
    for key in given:
        if key not in known:
            near = did_you_mean(key, known) or f"; expected one of {', '.join(known)}"
            raise ValueError(f'there is no field "{key}"{near}')
    return given


def zone_of(name: str) -> datetime.tzinfo:
    """A zone by its IANA name or as an offset. Raises ValueError."""
    match = _OFFSET.fullmatch(name)
    if match:
        minutes = 60 * int(match[2]) + int(match[3])
        if minutes >= 24 * 60:
            raise ValueError("expected an offset of less than a day")
        return datetime.timezone(datetime.timedelta(minutes=-minutes if match[1] == "-" else minutes))
    try:
        return zoneinfo.ZoneInfo(name)
    except (zoneinfo.ZoneInfoNotFoundError, ValueError, OSError):
        raise ValueError(
            'expected an IANA time zone such as "Europe/London" or an offset such as "+01:00"'
        ) from None


def parse_mapping(text: str, name: str) -> Mapping:
    """The mapping in a TOML text; `name` is the file as messages call it. Raises InputError."""
    document = parse_toml(text, name)
    try:
        return Mapping.model_validate(document)
    except ValidationError as error:
        detail = next(
            (problem for problem in error.errors() if problem["type"] == "extra_forbidden"), error.errors()[0]
        )
        where = ".".join(str(part) for part in detail["loc"])[:80]
        if detail["type"] == "extra_forbidden":
            near = did_you_mean(where, Mapping.model_fields)
            raise InputError(f'has an unknown key "{where}"{near}', path=name) from None
        says = detail["msg"].removeprefix("Value error, ")
        shown = repr(detail.get("input"))[:60]
        raise InputError(f"{where} is {shown}; {says[:1].lower()}{says[1:]}", path=name) from None
