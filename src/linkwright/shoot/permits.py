"""Permits as data: what a licence that the crew holds lists, so that it can be obeyed and printed."""

from __future__ import annotations

import datetime
from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from linkwright.shoot.fields import Day, Frozen, Mhz, Milliwatt, Moment, Name

Text = Annotated[str, Field(min_length=1, max_length=200)]


class PermitHeld(Frozen):
    """A licence that the crew holds: the carriers or ranges that it lists, its power, place, time and users."""

    name: Name = Field(description="what it is called")
    region: Annotated[str, Field(pattern="^[A-Z]{2}$")] | None = Field(
        default=None, description="whose rules it is given under, such as GB; default: the shoot's region"
    )
    number: Text | None = Field(default=None, description="its number, as it is printed on it")
    holder: Text | None = Field(default=None, description="to whom it was given")
    carriers_mhz: tuple[Mhz, ...] = Field(default=(), max_length=2_000, description="the carriers on it [MHz]")
    ranges_mhz: tuple[tuple[Mhz, Mhz], ...] = Field(
        default=(), max_length=500, description="ranges on it, into which a whole signal must fit [MHz]"
    )
    max_mw: Milliwatt | None = Field(
        default=None, description="most power on it [mW]; default: the strictest known limit there"
    )
    power_reference: Literal["conducted", "erp", "eirp"] | None = Field(
        default=None, description="which power max_mw is: conducted, ERP or EIRP"
    )
    place: tuple[Annotated[float, Field(ge=-90, le=90)], Annotated[float, Field(ge=-180, le=180)]] | None = Field(
        default=None, description="where it holds: degrees north and east, WGS 84; default: everywhere"
    )
    radius_m: Annotated[float, Field(gt=0, le=1_000_000)] | None = Field(
        default=None, description="how far around that place it holds [m]"
    )
    starts: Day | Moment | None = Field(default=None, alias="from", description="first day or moment")
    ends: Day | Moment | None = Field(default=None, alias="to", description="last day, or the moment it ends")
    links: tuple[Name, ...] = Field(
        default=(), alias="for", max_length=10_000, description="the links that it covers; default: all"
    )
    document: Text | None = Field(default=None, description="file name of the document itself")
    document_sha256: Annotated[str, Field(pattern="^[0-9a-f]{64}$")] | None = Field(
        default=None, description="SHA-256 of that file, in hexadecimal"
    )
    outranks: tuple[Name, ...] = Field(
        default=(), max_length=200, description="ids of built-in rows, closed ranges or warnings that it outranks"
    )
    only: bool = Field(
        default=False,
        description="where and while it holds, its links use nothing but what it lists",
    )

    @model_validator(mode="after")
    def _whole(self) -> Self:
        if not self.carriers_mhz and not self.ranges_mhz:
            raise ValueError("the permit lists nothing; expected carriers_mhz or ranges_mhz")
        for low, high in self.ranges_mhz:
            if low >= high:
                raise ValueError(f"ranges_mhz holds {low:g} to {high:g} MHz, which is no range upwards")
        if (self.max_mw is None) != (self.power_reference is None):
            raise ValueError("max_mw and power_reference stand together or not at all")
        if (self.place is None) != (self.radius_m is None):
            raise ValueError("place and radius_m stand together or not at all")
        if self.document_sha256 is not None and self.document is None:
            raise ValueError("document_sha256 stands without document")
        if self.starts is not None and self.ends is not None and _bounds(self.ends)[1] <= _bounds(self.starts)[0]:
            raise ValueError(f"the permit ends at {self.ends} and begins at {self.starts}")
        return self


def _bounds(when: datetime.date) -> tuple[datetime.datetime, datetime.datetime]:
    """First and last moment of a day, in UTC; of a moment, itself twice."""
    if isinstance(when, datetime.datetime):
        return when, when
    day = datetime.datetime.combine(when, datetime.time(), datetime.UTC)
    return day, day + datetime.timedelta(days=1)
