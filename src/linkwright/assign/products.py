"""Which third-order products count: the one answer for the search's label, the plan's sentence, `why` and paper.

Products of pairwise distinct carriers, 2A-B and A+B-C, of everybody who is known to be on at the site during a
call: our links and others. They fall on our carriers and spares (victims); a carrier may be hit by a product
that it helps to make. The separate verifier (`assign.verify`) has its own enumeration.
"""

from __future__ import annotations

import functools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from linkwright.units import IntArray

#: Makers from which on products are enumerated in pieces: it bounds the memory.
AT_ONCE = 2_000_000
#: Farther apart than any two products or carriers are [kHz].
ROW_KHZ = 2**40
#: Who makes the products of up to so many makers is kept.
KEEP_UP_TO = 64


@dataclass(frozen=True, slots=True)
class Product:
    """A product near a victim: whose (indices of makers; `c` is -1 for 2A-B), and how far from it [kHz]."""

    a: int
    b: int
    c: int
    victim: int
    off_khz: int

    def told(self, names: Sequence[str]) -> str:
        """Whose it is, in the words of the ledger."""
        if self.c < 0:
            return f"2A-B of {names[self.a]}, {names[self.b]}"
        return f"A+B-C of {names[self.a]}, {names[self.b]}, {names[self.c]}"


def products_near(
    makers_khz: Sequence[int], victims_khz: Sequence[int], two_khz: int, three_khz: int
) -> list[Product]:
    """Every product nearer than `two_khz` (2A-B) or `three_khz` (A+B-C) to a victim, the nearest first."""
    makers, victims = np.asarray(makers_khz, np.int64), np.asarray(victims_khz, np.int64)
    return sorted(
        (*_twos(makers, victims, two_khz), *_threes(makers, victims, three_khz)),
        key=lambda near: (abs(near.off_khz), near.victim, near.a, near.b, near.c),
    )


def _twos(makers: IntArray, victims: IntArray, reach_khz: int) -> list[Product]:
    off = 2 * makers[:, None, None] - makers[None, :, None] - victims
    near = np.abs(off) < reach_khz
    near[np.arange(makers.size), np.arange(makers.size)] = False
    return [Product(a, b, -1, v, int(off[a, b, v])) for a, b, v in np.argwhere(near).tolist()]


def _threes(makers: IntArray, victims: IntArray, reach_khz: int) -> list[Product]:
    first, second = np.triu_indices(makers.size, k=1)
    sums = makers[first] + makers[second]
    products: list[Product] = []
    rows = max(1, AT_ONCE // max(makers.size * victims.size, 1))
    for begin in range(0, sums.size, rows):
        off = sums[begin : begin + rows, None, None] - makers[None, :, None] - victims
        for pair, c, v in np.argwhere(np.abs(off) < reach_khz).tolist():
            a, b = int(first[begin + pair]), int(second[begin + pair])
            if c not in (a, b):
                products.append(Product(a, b, c, v, int(off[pair, c, v])))
    return products


def nearest_khz(makers_khz: Sequence[int], victims_khz: Sequence[int]) -> tuple[IntArray, IntArray]:
    """How far the nearest 2A-B and the nearest A+B-C are from each victim (v,) [kHz]; very far where there is
    none."""
    twos, threes = _products(np.asarray(makers_khz, np.int64))
    victims = np.asarray(victims_khz, np.int64)
    return _nearest(twos, victims), _nearest(threes, victims)


def _nearest(products: IntArray, victims: IntArray) -> IntArray:
    every = np.sort(products)
    if not every.size:
        return np.full(victims.size, 2**40, dtype=np.int64)
    at = np.searchsorted(every, victims)
    below = np.abs(victims - every[np.maximum(at - 1, 0)])
    above = np.abs(victims - every[np.minimum(at, every.size - 1)])
    return np.asarray(np.minimum(below, above))


def is_clean(
    carriers_khz: Sequence[int],
    spares_khz: Sequence[Sequence[int]],
    others_khz: Sequence[int],
    two_khz: int,
    three_khz: int,
) -> bool:
    """Whether a call is clean: nothing falls on a carrier or a spare, nor on a carrier after any one link has moved
    to its first spare."""
    makers = np.array([*carriers_khz, *others_khz], dtype=np.int64)
    victims = np.array([*carriers_khz, *(khz for spares in spares_khz for khz in spares)], dtype=np.int64)
    if not carriers_khz or any(
        _any_near(every[None], victims[None], reach)
        for every, reach in zip(_products(makers), (two_khz, three_khz), strict=True)
    ):
        return not carriers_khz
    spared = np.array([link for link, spares in enumerate(spares_khz) if spares], dtype=np.int64)
    some = max(1, AT_ONCE // (makers.size**3 + makers.size**2 * len(carriers_khz)))
    for begin in range(0, spared.size, some):
        links = spared[begin : begin + some]
        moved = np.repeat(makers[None], links.size, axis=0)
        moved[np.arange(links.size), links] = [spares_khz[link][0] for link in links.tolist()]
        if _hit_after(moved, links, len(carriers_khz), two_khz, three_khz):
            return False
    return True


def _hit_after(moved: IntArray, links: IntArray, own: int, two_khz: int, three_khz: int) -> bool:
    """Whether, after one of `links` (s,) has moved, a product that it has a part in falls on one of the first `own`
    makers: `moved` (s, m) are the makers after each move. What the others make on its spare is there before."""
    rows = np.arange(links.size)
    mine, victims = moved[rows, links][:, None], moved[:, :own]
    others = np.ones(moved.shape, dtype=np.bool_)
    others[rows, links] = False
    rest = moved[others].reshape(links.size, -1)
    (a, b), _, (first, second) = _indices(rest.shape[1])
    with_mine = np.concatenate([2 * mine - rest, 2 * rest - mine], axis=1)
    three_with_mine = np.concatenate(
        [mine + rest[:, a] - rest[:, b], rest[:, first] + rest[:, second] - mine], axis=1
    )
    return _any_near(with_mine, victims, two_khz) or _any_near(three_with_mine, victims, three_khz)


def _any_near(products_khz: IntArray, victims_khz: IntArray, reach_khz: int) -> bool:
    """Whether any of a row's products (s, p) lies nearer than a distance to any of its victims (s, v)."""
    rows = (np.arange(victims_khz.shape[0]) * ROW_KHZ)[:, None]
    # The rows one behind the other, so that one search serves all of them.
    victims = (np.sort(victims_khz, axis=1) + rows).ravel()
    products = (products_khz + rows).ravel()
    if not victims.size or not products.size:
        return False
    above = np.searchsorted(victims, products)
    below_khz = products - victims[np.maximum(above - 1, 0)]
    above_khz = victims[np.minimum(above, victims.size - 1)] - products
    return bool((np.minimum(np.abs(below_khz), np.abs(above_khz)) < reach_khz).any())


def _products(makers: IntArray) -> tuple[IntArray, IntArray]:
    """Where all 2A-B and all A+B-C of pairwise distinct makers fall [kHz]."""
    (a, b), (first, second, third), _ = _indices(makers.size)
    return 2 * makers[a] - makers[b], makers[first] + makers[second] - makers[third]


Indices = tuple[IntArray, ...]


def _indices(count: int) -> tuple[Indices, Indices, Indices]:
    """The same as `_all_indices`, kept for the next call where they are few."""
    return _kept_indices(count) if count <= KEEP_UP_TO else _all_indices(count)


@functools.lru_cache(maxsize=8)
def _kept_indices(count: int) -> tuple[Indices, Indices, Indices]:
    return _all_indices(count)


def _all_indices(count: int) -> tuple[Indices, Indices, Indices]:
    """Of so many makers: A and B of every 2A-B; A, B and C of every A+B-C; every pair once."""
    ordered = np.nonzero(~np.eye(count, dtype=np.bool_))
    first, second = np.triu_indices(count, k=1)
    pair, third = np.nonzero((first[:, None] != np.arange(count)) & (second[:, None] != np.arange(count)))
    return ordered, (first[pair], second[pair], third), (first, second)
