"""Somebody is on it: the shoot with a stranger, of whom only what was heard is known."""

from __future__ import annotations

import datetime
from typing import Final

from linkwright.shoot.errors import InputError
from linkwright.shoot.models import Shoot
from linkwright.shoot.place import Other
from linkwright.units import mhz_text

#: What a transmitter that nobody knows is called, before its carrier.
STRANGER: Final = "Stranger on"


def stranger(
    shoot: Shoot,
    carrier_khz: int,
    *,
    heard_dbm: float | None = None,
    wide_khz: int = 200,
    until: datetime.time | None = None,
    on: datetime.date | None = None,
    site: str | None = None,
) -> Other:
    """A transmitter on `carrier_khz` that nobody knows, named so that no other has its name.

    `heard_dbm` is its level at the receivers [dBm]; without it the least kind is assumed (`Other`); `on` is the day
    on which it is there, every day unless said. Raises
    InputError for a site that the shoot lacks.
    """
    names = [known.name for known in shoot.site]
    if site is not None and site not in names:
        raise InputError(f'there is no site "{site}"; the sites are {", ".join(names) or "none"}')
    taken = {other.name for other in shoot.other}
    first = f"{STRANGER} {mhz_text(carrier_khz)}"
    name = next(n for n in (first, *(f"{first} ({k})" for k in range(2, len(taken) + 3))) if n not in taken)
    given = {
        "name": name,
        "carrier_mhz": carrier_khz / 1000.0,
        "bandwidth_khz": wide_khz,
        "heard_dbm": heard_dbm,
        "site": site,
        "date": on,
        "from": None if until is None else datetime.time(0),
        "to": until,
    }
    return Other.model_validate({key: value for key, value in given.items() if value is not None})


def with_stranger(shoot: Shoot, other: Other) -> Shoot:
    """The shoot with one other more."""
    return shoot.model_copy(update={"other": (*shoot.other, other)})
