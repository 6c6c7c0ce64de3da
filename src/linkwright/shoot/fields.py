"""The kinds of value that a shoot file holds, with their units and the ranges in which they make sense.

The ranges refuse slips of the pen (a power in watts, a frequency in kHz), not unusual equipment.
"""

from __future__ import annotations

import datetime
from typing import Annotated

from pydantic import AfterValidator, BaseModel, ConfigDict, Field

from linkwright.units import khz_from_mhz


class Frozen(BaseModel):
    """A checked value that never changes: unknown keys, wrong types, NaN and infinity are errors."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True, allow_inf_nan=False, populate_by_name=True)


def _whole_khz(frequency_mhz: float) -> float:
    khz_from_mhz(frequency_mhz)
    return frequency_mhz


def _with_offset(when: datetime.datetime) -> datetime.datetime:
    if when.tzinfo is None:
        raise ValueError("expected a date and a time with its offset, such as 2027-05-14T08:10:00+01:00")
    return when


Day = Annotated[datetime.date, Field(ge=datetime.date(2000, 1, 1), le=datetime.date(2199, 12, 31))]
Moment = Annotated[datetime.datetime, AfterValidator(_with_offset)]
Name = Annotated[str, Field(min_length=1, max_length=80)]
Mhz = Annotated[float, Field(ge=1.0, le=10_000.0), AfterValidator(_whole_khz)]
Khz = Annotated[int, Field(ge=1, le=1_000_000)]
KhzOrNone = Annotated[int, Field(ge=0, le=1_000_000)]
Milliwatt = Annotated[float, Field(gt=0.0, le=10_000.0)]
RadiatedMw = Annotated[float, Field(gt=0.0, le=1e10)]
Metre = Annotated[float, Field(ge=-100_000.0, le=100_000.0)]
HeightM = Annotated[float, Field(ge=-500.0, le=2_000.0)]
Gain = Annotated[float, Field(ge=-40.0, le=40.0)]
Millisecond = Annotated[float, Field(ge=0.0, le=1_000.0)]
