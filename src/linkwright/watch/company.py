"""What the other links did meanwhile: who came up as an episode began, and whose products may fall on its link."""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from linkwright.units import FloatArray
from linkwright.watch.states import HISTORY

#: Before: these seconds ahead of the begin; while: up to so long after it; after: these seconds after the end.
BEFORE_S: Final = (6, 2)
WHILE_S: Final = 10
AFTER_S: Final = (2, 6)
#: A link that gets stronger by this as another breaks has come near or was switched on [dB] (assumed).
RISES_DB: Final = 12.0
#: A product 2A-B of carriers of width b is 3b wide: it reaches a carrier from two widths away.
WIDTHS: Final = 2.0
#: How well intermodulation fits: somebody of the product came up at the begin (and went at the end), nobody did,
#: no product falls on the link, and carriers are not known (assumed).
ROSE, ROSE_AND_WENT, STAYED, MERELY_ON, NO_PRODUCT, NO_CARRIERS = 0.9, 0.97, 0.6, 0.25, 0.02, 0.75
#: More links at once than this are not searched for products.
MOST: Final = 200


@dataclass(frozen=True, eq=False, slots=True)
class Company:
    """The other links about an episode: levels (n,) [dBm] before, while and after it, NaN where not known or
    off."""

    names: tuple[str, ...]
    before_dbm: FloatArray
    while_dbm: FloatArray
    after_dbm: FloatArray


@dataclass(frozen=True, slots=True)
class Products:
    """How well intermodulation fits, and whose product it would be."""

    fit: float
    makers: tuple[str, ...] = ()
    rose: str = ""


def company_of(
    names: Sequence[str], link: int, levels: np.ndarray, laps: np.ndarray, from_s: float, to_s: float
) -> Company:
    """The levels of all links but one, from the history of seconds."""
    begin, end = math.floor(from_s), math.floor(to_s)
    others = np.array([n for n in range(len(names)) if n != link], dtype=np.int64)

    def mean(first: int, last: int) -> FloatArray:
        seconds = np.arange(max(0, first), max(first, last) + 1)
        place = seconds % HISTORY
        lap = seconds // HISTORY % 250 + 1
        read = levels[np.ix_(others, place)].astype(np.float64)
        known = (laps[np.ix_(others, place)] == lap) & (read > 0.0)
        count = known.sum(axis=1)
        total = np.where(known, read, 0.0).sum(axis=1)
        return np.asarray(np.where(count > 0, total / np.maximum(count, 1) - 128.0, np.nan))

    return Company(
        tuple(names[n] for n in others.tolist()),
        mean(begin - BEFORE_S[0], begin - BEFORE_S[1]),
        mean(begin + 1, min(max(end, begin + 1), begin + WHILE_S)),
        mean(end + AFTER_S[0], end + AFTER_S[1]),
    )


def products_on(
    own_khz: int | None, bandwidth_khz: int, company: Company, carriers_khz: Mapping[str, int],
    gone_dbm: Mapping[str, float], closed: bool,
) -> Products:  # fmt: skip
    """Whose product may fall on a link while its episode lasts: only of two others that are both on."""
    now = company.while_dbm
    off = np.array([gone_dbm.get(name, -100.0) for name in company.names])
    on = now > off
    if int(on.sum()) < 2:
        return Products(0.0)
    before = np.where(company.before_dbm > off, company.before_dbm, off - 10.0)
    known_before = ~np.isnan(company.before_dbm)
    rising = on & known_before & (now - before >= RISES_DB)
    after = np.where(company.after_dbm > off, company.after_dbm, off - 10.0)
    went = on & ~np.isnan(company.after_dbm) & (now - after >= RISES_DB)
    there = np.flatnonzero(on)
    if own_khz is None or not all(company.names[n] in carriers_khz for n in there.tolist()):
        if not rising.any():
            return Products(0.05)
        first = int(np.flatnonzero(rising)[np.argmax(now[rising])])
        return Products(_fit(NO_CARRIERS, bool(went[first]), closed), (), company.names[first])
    makers = _makers(own_khz, bandwidth_khz, there, company, carriers_khz, rising)
    if not makers:
        return Products(NO_PRODUCT)
    names = tuple(company.names[n] for n in makers)
    rose = [n for n in makers if rising[n]]
    if not rose:
        return Products(MERELY_ON, names)
    return Products(_fit(ROSE, any(went[n] for n in rose), closed), names, company.names[rose[0]])


def _fit(rose: float, went: bool, closed: bool) -> float:
    if not closed:
        return rose
    return max(rose, ROSE_AND_WENT) if went else rose * STAYED


def _makers(
    own_khz: int, bandwidth_khz: int, there: np.ndarray, company: Company, carriers_khz: Mapping[str, int],
    rising: np.ndarray,
) -> tuple[int, ...]:  # fmt: skip
    """The links of the product that falls nearest, of those with somebody who came up before all others."""
    some = there[np.argsort(-company.while_dbm[there], kind="stable")][:MOST].tolist()
    carrier = {n: carriers_khz[company.names[n]] for n in some}
    reach = WIDTHS * bandwidth_khz
    best: tuple[tuple[int, float], tuple[int, ...]] = ((2, math.inf), ())
    for a, b in itertools.permutations(some, 2):
        away = abs(2 * carrier[a] - carrier[b] - own_khz)
        rank = (0 if rising[a] or rising[b] else 1, away)
        if away <= reach and rank < best[0]:
            best = (rank, (a, b))
    if best[0][0] == 0:
        return best[1]
    for c in [n for n in some if rising[n]][:8]:
        for a, b in itertools.permutations([n for n in some if n != c], 2):
            for away in (
                abs(carrier[a] + carrier[c] - carrier[b] - own_khz),
                abs(carrier[a] + carrier[b] - carrier[c] - own_khz),
            ):
                if away <= reach and (0, away) < best[0]:
                    best = ((0, away), (a, b, c))
    return best[1]
