"""Conducted, effective and isotropic radiated power, compared after conversion.

EIRP = ERP + 2.15 dB (ITU Radio Regulations Nos. 1.161-1.162); EIRP = conducted power + antenna gain [dBi].
"""

from __future__ import annotations

import math

from linkwright.rules.models import PowerReference, Row
from linkwright.units import DIPOLE_DBI, mw_from_dbm

#: The form of equipment to which a row's body-worn allowance applies.
BODY_WORN = "body-worn"


def eirp_mw_from_erp_mw(erp_mw: float) -> float:
    """EIRP [mW] of an effective radiated power [mW]: 2.15 dB more (RR Nos. 1.161-1.162)."""
    return erp_mw * mw_from_dbm(DIPOLE_DBI)


def conducted_mw(limit_mw: float, reference: PowerReference, antenna_gain_dbi: float) -> float:
    """Conducted power [mW] that reaches a limit [mW] given at `reference`, with an antenna gain [dBi].

    A limit on conducted power does not depend on the antenna.
    """
    if reference == "conducted":
        return limit_mw
    eirp_mw = eirp_mw_from_erp_mw(limit_mw) if reference == "erp" else limit_mw
    return eirp_mw / mw_from_dbm(antenna_gain_dbi)


def most_conducted_mw(row: Row, antenna_gain_dbi: float, form: str) -> float:
    """Most conducted power [mW] that `row` allows equipment of `form` with an antenna gain [dBi].

    A body-worn allowance counts for the form "body-worn" only. Infinite where the row gives no limit.
    """
    limit_mw = row.max_mw
    if form == BODY_WORN and row.max_body_worn_mw is not None:
        limit_mw = row.max_body_worn_mw
    if limit_mw is None or row.power_reference is None:
        return math.inf
    return conducted_mw(limit_mw, row.power_reference, antenna_gain_dbi)


def power_text(power_mw: float) -> str:
    """A power as people read it: "82.03 mW", or "no limit given"."""
    return f"{power_mw:.4g} mW" if math.isfinite(power_mw) else "no limit given"
