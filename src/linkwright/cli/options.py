"""What people give commands as options: days, times of day, positions; each refused with one sentence."""

from __future__ import annotations

import datetime

from linkwright.shoot.errors import InputError


def day_of(text: str | None, option: str) -> datetime.date:
    """A day from the text of an option, today for None. Raises InputError."""
    if text is None:
        return datetime.date.today()
    try:
        return datetime.date.fromisoformat(text)
    except ValueError:
        raise InputError(f'{option} is "{text}"; expected a day such as 2027-05-14') from None


def clock_of(text: str | None, option: str) -> datetime.time | None:
    """A time of day. Raises InputError."""
    if text is None:
        return None
    try:
        return datetime.time.fromisoformat(text)
    except ValueError:
        raise InputError(f'{option} is "{text}"; expected a time of day such as 14:00') from None


def position_of(text: str | None, option: str) -> tuple[float, float] | None:
    """A position from "LAT,LON" [degrees]. Raises InputError."""
    if text is None:
        return None
    try:
        latitude, longitude = (float(part) for part in text.split(","))
    except ValueError:
        raise InputError(f'{option} is "{text}"; expected LAT,LON in degrees such as 50.155,-5.045') from None
    if not (-90.0 <= latitude <= 90.0 and -180.0 <= longitude <= 180.0):
        raise InputError(f'{option} is "{text}"; expected latitude -90..90 and longitude -180..180')
    return latitude, longitude
