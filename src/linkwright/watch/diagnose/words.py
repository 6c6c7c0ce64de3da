"""An episode in words: what was seen, and what to do next."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from linkwright.lengths import seconds
from linkwright.units import mhz_text
from linkwright.watch.diagnose.because import dbm, weaker
from linkwright.watch.diagnose.causes import CAUSES
from linkwright.watch.diagnose.company import Company
from linkwright.watch.diagnose.episode_figures import Figures
from linkwright.watch.diagnose.expected import Expected
from linkwright.watch.diagnose.products import ProductFit

#: Another cause is told along from this share on (assumed).
RIVAL: Final = 0.2
#: Whoever is received by so much more than the link itself may deafen its receiver [dB] (assumed).
DEAFENS_DB: Final = 20.0


# wide: each says something of the episode
def words(
    cause: str, track: str, f: Figures, company: Company, products: ProductFit, expected: Expected | None,
    open_: bool, causes: Sequence[tuple[str, float]] = (),
) -> tuple[str, str]:  # fmt: skip
    """Because, and what to do: sentences; of `causes` a rival that is nearly as likely, and what decides."""
    row = CAUSES[cause]
    because = row.because(f)
    if cause == "overload":
        because += _deafens(f, company)
    if row.has_makers:
        because += _makers(products)
    if row.others_stayed:
        because += _others(company)
    if row.by_others and expected is not None:
        because += _air(expected)
    if f.heard and track == "signal":
        because += f"; the audio was broken for {seconds(f.bad_s)}" + (" so far" if open_ else "")
    elif track != "audio":
        because += "; the audio held"
    do = row.next_step.replace("that branch", f"branch {weaker(f)}")
    if row.by_others and expected is not None and expected.spares_khz:
        spares = ", ".join((expected.spares_said or tuple(map(mhz_text, expected.spares_khz)))[:3])
        do = do.replace("go over to a spare", f"go over to a spare ({spares} MHz)")
    rivals = [(CAUSES[name], share) for name, share in causes if name not in (cause, "unknown") and share >= RIVAL]
    for rival, share in rivals[:1]:
        do += f" It may be {rival.words} instead ({100 * share:.0f} %): {rival.asks[:1].lower()}{rival.asks[1:]}"
    return because[:1].upper() + because[1:] + ".", do


def _deafens(f: Figures, company: Company) -> str:
    """Who stands at the antennas of a link that is not strong itself."""
    level = np.where(np.isnan(company.while_dbm), -np.inf, company.while_dbm)
    if not level.size or not level.max() > f.level_dbm + DEAFENS_DB:
        return ""
    nearest = int(np.argmax(level))
    return f", while {company.names[nearest]} was received with {dbm(float(level[nearest]))}, which may deafen it"


def _makers(products: ProductFit) -> str:
    if len(products.makers) == 1:
        return f", while {products.makers[0]} is not received where it should be, and has this carrier as a spare"
    if products.makers:
        together = " and ".join([", ".join(products.makers[:-1]), products.makers[-1]])
        said = f", while {together} were on, whose product falls on this carrier"
        how = "was to come on by the plan" if products.by_plan else "came up"
        return said + (f"; it began as {products.rose} {how}" if products.rose else "")
    return f"; it began as {products.rose} came up while others were on" if products.rose else ""


def _air(expected: Expected) -> str:
    """What the sweep of the site says of the carrier."""
    swept = expected.swept
    if swept is None:
        return "; no sweep looked at this carrier"
    if swept.heard_dbm is not None:
        return f"; the sweep showed {dbm(swept.heard_dbm)} of somebody on this carrier"
    return f"; the sweep showed nobody there, and misses {100.0 * swept.missed:.0f} % of those who come and go"


def _others(company: Company) -> str:
    """The link that stayed as it was, with the highest level: so it was not the receiver."""
    change = np.abs(company.while_dbm - company.before_dbm)
    level = np.where(change <= 6.0, company.while_dbm, -np.inf)
    if not level.size or not np.isfinite(level).any():
        return ""
    best = int(np.argmax(np.where(np.isfinite(level), level, -np.inf)))
    return f", while {company.names[best]} stayed at {company.while_dbm[best]:.0f} dBm"
