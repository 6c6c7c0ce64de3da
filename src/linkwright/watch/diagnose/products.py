"""Whose product falls on a link while its audio breaks, and how well that fits."""

from __future__ import annotations

import functools
import math
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from linkwright.units import BoolArray, IntArray
from linkwright.watch.diagnose.company import Company

#: A link that gets stronger by this as another breaks has come near or was switched on [dB] (assumed).
RISES_DB: Final = 12.0
#: A product of three carriers of width b is 3b wide, most of it within b: what falls a width away hardly matters.
#: A width and a half away it is 17 dB weaker (of three flat spectra): such edges, to two widths, count only where
#: somebody of them came up then, and this much of what the middle does (assumed).
WIDTHS: Final = 1.0
EDGES, OF_EDGES = 2, 0.7
#: How well intermodulation fits: somebody of the product came up at the begin (and went at the end), or did not go;
#: no product falls on the link; carriers are not known (assumed).
ROSE, ROSE_AND_WENT, STAYED, NO_PRODUCT, NO_CARRIERS = 0.9, 0.97, 0.6, 0.02, 0.75
#: Where a product of two falls on the link at all times, somebody else is so many times as likely; of three, of
#: which there are many and most are weak, so many times (assumed).
ELSE_ODDS: Final = 3.0
ELSE_ODDS_OF_THREE: Final = 6.0
#: More links at once than this are not searched for products.
MOST: Final = 200
#: Of up to so many at once all products of three are looked for, of more only those with somebody who came up.
MOST_OF_THREE: Final = 24


@dataclass(frozen=True, slots=True)
class ProductFit:
    """How well intermodulation fits (NaN: nobody knows the carriers), whose product it would be, and who came up as
    it began (`by_plan`: his receiver says nothing, the plan has him come on then)."""

    fit: float
    makers: tuple[str, ...] = ()
    rose: str = ""
    by_plan: bool = False

    def called(self, name: Callable[[str], str]) -> ProductFit:
        """The same, by what people call each link."""
        return replace(self, makers=tuple(map(name, self.makers)), rose=name(self.rose) if self.rose else "")


# long: each step looks at what the one before it left
def products_on(
    own_khz: int | None, bandwidth_khz: int, company: Company, carriers_khz: Mapping[str, int],
    gone_dbm: Mapping[str, float], closed: bool, earlier: Callable[[Sequence[str]], BoolArray],
) -> ProductFit:  # fmt: skip
    """Whose product may fall on a link while its episode lasts: only of others that are all on.

    earlier : which of these links were on at each of some moments before, (moments, links). For so many of them as
    a product fell on the link then, one falls on it now by chance: the fewer, the likelier it is the cause (Bayes).
    """
    on, rising, went = _moved(company, gone_dbm)
    if int(on.sum()) < 2:
        return ProductFit(0.0)
    there = np.flatnonzero(on)
    if own_khz is None or not all(company.names[n] in carriers_khz for n in there.tolist()):
        if not rising.any():
            return ProductFit(math.nan)
        first = int(np.flatnonzero(rising)[np.argmax(company.while_dbm[rising])])
        return ProductFit(_fit(NO_CARRIERS, bool(went[first]), closed), (), company.names[first])
    there_khz = np.array([carriers_khz[company.names[n]] for n in there.tolist()], dtype=np.int64)
    alone = _one_a_carrier(own_khz, there_khz, rising[there])
    some = there[alone][np.argsort(-company.while_dbm[there[alone]], kind="stable")][:MOST]
    carrier = np.array([carriers_khz[company.names[n]] for n in some.tolist()], dtype=np.int64)
    made = products(own_khz, bandwidth_khz, carrier, rising[some])
    if not made:
        wide = sorted(products(own_khz, EDGES * bandwidth_khz, carrier, rising[some]))
        edge = next((who for _, who in wide if rising[some[list(who)]].any()), ())
        near = [int(some[n]) for n in edge]
        rose = [n for n in near if rising[n]]
        if not rose:
            return ProductFit(NO_PRODUCT)
        fit = OF_EDGES * _fit(ROSE, bool(went[rose].any()), closed)
        return ProductFit(fit, tuple(company.names[n] for n in near), company.names[rose[0]])
    known = [name for name in company.names if name in carriers_khz]
    were_on = earlier(known)
    shares = were_on.mean(axis=0) if were_on.shape[0] else np.ones(len(known))
    seldom = dict(zip(known, shares.tolist(), strict=True))

    def rank(pair: tuple[int, tuple[int, ...]]) -> tuple[bool, int, float, int]:
        who = [int(some[n]) for n in pair[1]]
        share = min(seldom[company.names[n]] for n in who)
        return not any(rising[n] for n in who), len(who), round(share, 1), pair[0]

    makers = [int(some[n]) for n in min(made, key=rank)[1]]
    names = tuple(company.names[n] for n in makers)
    all_khz = np.array([carriers_khz[name] for name in known], dtype=np.int64)
    odds = ELSE_ODDS if len(makers) < 3 else ELSE_ODDS_OF_THREE
    merely = 1.0 / (1.0 + odds * _by_chance(own_khz, bandwidth_khz, all_khz, were_on, len(makers)))
    rose = [n for n in makers if rising[n]]
    if not rose:
        return ProductFit(merely, names)
    fit = max(merely, _fit(ROSE, any(went[n] for n in rose), closed))
    return ProductFit(fit, names, company.names[rose[0]])


def _moved(company: Company, gone_dbm: Mapping[str, float]) -> tuple[BoolArray, BoolArray, BoolArray]:
    """Which others are on, which of them came on with the episode, and which went with it, each (links,)."""
    now, off = company.while_dbm, np.array([gone_dbm[name] for name in company.names])
    on = now > off
    before = np.where(company.before_dbm > off, company.before_dbm, off - 10.0)
    rising = on & ~np.isnan(company.before_dbm) & (now - before >= RISES_DB)
    after = np.where(company.after_dbm > off, company.after_dbm, off - 10.0)
    return on, rising, on & ~np.isnan(company.after_dbm) & (now - after >= RISES_DB)


def _one_a_carrier(own_khz: int, carriers_khz: IntArray, rising: BoolArray) -> IntArray:
    """Of links that share a carrier (a block) one, who is rising if anybody is; none of those on one's own."""
    order = np.argsort(~rising, kind="stable")
    first = order[np.unique(carriers_khz[order], return_index=True)[1]]
    return np.sort(first[carriers_khz[first] != own_khz])


def _fit(rose: float, went: bool, closed: bool) -> float:
    if not closed:
        return rose
    return max(rose, ROSE_AND_WENT) if went else rose * STAYED


def _by_chance(own_khz: int, bandwidth_khz: int, carriers_khz: IntArray, were_on: BoolArray, order: int) -> float:
    """At which share of the moments a product of so many, or of fewer, fell on the link; 1 where none is known."""
    if not were_on.shape[0]:
        return 1.0
    sets = Counter(moment.tobytes() for moment in were_on)
    hit = 0
    for members, many in sets.items():
        on = np.frombuffer(members, dtype=np.bool_)
        hit += many if _fewest(own_khz, bandwidth_khz, tuple(carriers_khz[on].tolist())) <= order else 0
    return float(hit / were_on.shape[0])


@functools.lru_cache(maxsize=4096)
def _fewest(own_khz: int, bandwidth_khz: int, carriers_khz: tuple[int, ...]) -> int:
    """How many make the product that falls on a carrier, at least; 9 where none does. Who is on changes seldom."""
    carriers = np.unique(np.array([khz for khz in carriers_khz if khz != own_khz], dtype=np.int64))
    met = products(own_khz, bandwidth_khz, carriers, np.zeros(carriers.size, dtype=np.bool_))
    return min((len(who) for _, who in met), default=9)


def products(
    own_khz: int, bandwidth_khz: int, carriers_khz: IntArray, rising: BoolArray
) -> list[tuple[int, tuple[int, ...]]]:
    """The third-order products of carriers (n,) that fall on a carrier: how far away [kHz], and of whom (indices).

    2A-B of all; A+B-C of all where they are few, else of those with one that is rising.
    """
    reach = round(WIDTHS * bandwidth_khz)
    pairs = np.abs(2 * carriers_khz[:, None] - carriers_khz[None, :] - own_khz)
    np.fill_diagonal(pairs, reach + 1)
    hits: list[tuple[int, tuple[int, ...]]] = [
        (int(pairs[a, b]), (a, b)) for a, b in np.argwhere(pairs <= reach).tolist()
    ]
    few = carriers_khz.size <= MOST_OF_THREE
    for c in range(carriers_khz.size) if few else np.flatnonzero(rising)[:8].tolist():
        sums = [carriers_khz[:, None] + carriers_khz[None, :] - carriers_khz[c]]
        if not few:  # with all of them each product is met with its C already
            sums.append(carriers_khz[c] + carriers_khz[:, None] - carriers_khz[None, :])
        for sum_ in sums:
            near = np.abs(sum_ - own_khz)
            for a, b in np.argwhere(near <= reach).tolist():
                if len({a, b, c}) == 3:
                    hits.append((int(near[a, b]), tuple(sorted((a, b, c)))))
    return hits
