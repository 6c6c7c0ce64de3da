"""Powers and heights with their units."""

from __future__ import annotations

import re
from typing import Final

from linkwright.air.stations.quoting import quoted
from linkwright.units import DIPOLE_DBI

#: No TV station radiates more [kW]: more is another unit than was thought. Five MW was the most in the US.
MOST_ERP_KW: Final = 10_000.0
#: What a list without a unit is taken to mean.
UNNAMED_POWER: Final = "kw"
#: Metres in a foot; exact, by the international yard and pound agreement of 1959.
FOOT_M: Final = 0.3048
_CELL = re.compile(r"([+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?)\s*([A-Za-z]*)")


def split_unit(cell: str) -> tuple[float, str] | None:
    """A number and the unit behind it ("" without one); None where the cell is no number."""
    match = _CELL.fullmatch(cell.strip())
    return (float(match[1]), match[2]) if match else None


def erp_kw(cell: str, unit: str, isotropic: bool) -> float | str:
    """ERP [kW] of a cell whose column names `unit` ("" for none); what is wrong with it where it is no power.

    isotropic : the number is an EIRP, which is 2.15 dB more.
    """
    split = split_unit(cell)
    if split is None:
        return f"{quoted(cell)} is no power"
    value, own = split
    kw = _kw(value, own or unit or UNNAMED_POWER)
    if kw is None:
        return f"{quoted(cell)} has a unit that is not known; known are kW, W, dBW, dBk and dBm"
    if isotropic:
        kw /= 10.0 ** (DIPOLE_DBI / 10.0)
    if not 0.0 < kw <= MOST_ERP_KW:
        return f"a power of {kw:g} kW; expected more than 0 and at most {MOST_ERP_KW:g} kW"
    return kw


def _kw(value: float, unit: str) -> float | None:
    if unit in ("MW", "mW"):
        return value * (1e3 if unit == "MW" else 1e-6)
    name = unit.lower()
    linear = {"kw": 1.0, "w": 1e-3}
    if name in linear:
        return value * linear[name]
    below_kw_db = {"dbk": 0.0, "dbw": 30.0, "dbm": 60.0}
    if name in below_kw_db and abs(value) < 200.0:
        return float(10.0 ** ((value - below_kw_db[name]) / 10.0))
    return None


def metres(cell: str, unit: str) -> float | str:
    """Metres of a cell whose column names `unit` ("" for metres); what is wrong with it where it is no height."""
    split = split_unit(cell)
    if split is None:
        return f"{quoted(cell)} is no height"
    value, own = split
    name = (own or unit or "m").lower()
    if name in ("ft", "feet"):
        value *= FOOT_M
    elif name not in ("m", "metre", "metres", "meter", "meters"):
        return f"{quoted(cell)} has a unit that is not known; known are m and ft"
    return value if -1000.0 <= value <= 5000.0 else f"a height of {value:g} m"
