"""Which third-order products count: the one answer for the search's label, the plan's sentence, `why` and paper.

Products of pairwise distinct carriers, 2A-B and A+B-C, of everybody who is known to be on at the site during a
call: our links and others. They fall on our carriers and spares (victims); a carrier may be hit by a product
that it helps to make. The separate verifier (`assign.verify`) has its own enumeration.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from linkwright.units import IntArray

#: Makers from which on products are enumerated in pieces: it bounds the memory.
AT_ONCE = 2_000_000


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
    found: list[Product] = []
    rows = max(1, AT_ONCE // max(makers.size * victims.size, 1))
    for begin in range(0, sums.size, rows):
        off = sums[begin : begin + rows, None, None] - makers[None, :, None] - victims
        for pair, c, v in np.argwhere(np.abs(off) < reach_khz).tolist():
            a, b = int(first[begin + pair]), int(second[begin + pair])
            if c not in (a, b):
                found.append(Product(a, b, c, v, int(off[pair, c, v])))
    return found


def nearest_khz(makers_khz: Sequence[int], victims_khz: Sequence[int]) -> IntArray:
    """How far the nearest product is from each victim (v,) [kHz]; very far where there is none."""
    makers, victims = np.asarray(makers_khz, np.int64), np.asarray(victims_khz, np.int64)
    twos = (2 * makers[:, None] - makers[None, :])[~np.eye(makers.size, dtype=np.bool_)]
    first, second = np.triu_indices(makers.size, k=1)
    distinct = np.ones((first.size, makers.size), dtype=np.bool_)
    rows = np.arange(first.size)
    distinct[rows, first] = distinct[rows, second] = False
    threes = ((makers[first] + makers[second])[:, None] - makers[None, :])[distinct]
    every = np.unique(np.concatenate([twos, threes]))
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
    victims = [*carriers_khz, *(khz for spares in spares_khz for khz in spares)]
    if products_near([*carriers_khz, *others_khz], victims, two_khz, three_khz):
        return False
    for link, spares in enumerate(spares_khz):
        if spares:
            moved = [*carriers_khz[:link], spares[0], *carriers_khz[link + 1 :]]
            if _made_with(link, moved, [*moved, *others_khz], two_khz, three_khz):
                return False
    return True


def _made_with(
    link: int, carriers_khz: Sequence[int], makers_khz: Sequence[int], two_khz: int, three_khz: int
) -> bool:
    """Whether a product that the n-th maker has a part in, or any on it, falls on a carrier."""
    f, victims = np.asarray(makers_khz, np.int64), np.asarray(carriers_khz, np.int64)
    mine, rest = f[link], np.delete(f, link)
    twos = np.concatenate([2 * mine - rest, 2 * rest - mine])
    first, second = np.triu_indices(rest.size, k=1)
    differences = (rest[:, None] - rest[None, :])[~np.eye(rest.size, dtype=np.bool_)]
    threes = np.concatenate([mine + differences, rest[first] + rest[second] - mine])
    on_mine = np.array([mine])
    own_twos = (2 * rest[:, None] - rest[None, :])[~np.eye(rest.size, dtype=np.bool_)]
    own_threes = (rest[first] + rest[second])[:, None] - rest[None, :]
    distinct = np.ones(own_threes.shape, dtype=np.bool_)
    rows = np.arange(first.size)
    distinct[rows, first] = distinct[rows, second] = False
    return (
        _any_near(twos, victims, two_khz)
        or _any_near(threes, victims, three_khz)
        or _any_near(own_twos, on_mine, two_khz)
        or _any_near(own_threes[distinct], on_mine, three_khz)
    )


def _any_near(products: IntArray, victims: IntArray, reach_khz: int) -> bool:
    """Whether any product lies nearer than a distance to any victim."""
    ordered = np.sort(victims)
    at = np.searchsorted(ordered, products)
    below = np.abs(products - ordered[np.maximum(at - 1, 0)])
    above = np.abs(products - ordered[np.minimum(at, ordered.size - 1)])
    return bool((np.minimum(below, above) < reach_khz).any())
