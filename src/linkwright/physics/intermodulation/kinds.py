"""Kinds of intermodulation product: which coefficients, how many there are of each, and how strong each is.

A product of order n lies at the sum of c_i f_i over pairwise distinct carriers, with whole c_i other than zero
and sum |c_i| = n. Only those with sum c_i = 1 fall near the carriers; they have (n+1)/2 on the plus side and
(n-1)/2 on the minus side, so the kinds of an order are the pairs of partitions of these two numbers.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from itertools import combinations_with_replacement, product
from string import ascii_uppercase
from typing import Final

#: A part of a product: its coefficient, and the group that its carrier is taken from.
Slot = tuple[int, int]
#: A product with a group for each of its carriers; slots of equal coefficient and group stand side by side.
Pattern = tuple[Slot, ...]


@dataclass(frozen=True, slots=True)
class ProductKind:
    """One kind of product: its coefficients, plus side first, largest first."""

    coefficients: tuple[int, ...]

    @property
    def name(self) -> str:
        """As people write it: "A+B-C"."""
        terms = zip(self.coefficients, ascii_uppercase, strict=False)
        text = "".join(f"{c:+d}{letter}" for c, letter in terms)
        return text.replace("+1", "+").replace("-1", "-").removeprefix("+")

    @property
    def order(self) -> int:
        """How many factors the product has: the sum of |c|."""
        return sum(map(abs, self.coefficients))

    @property
    def multiplicity(self) -> int:
        """In how many orders its factors may be written: n! / prod |c|! (the multinomial theorem)."""
        return math.factorial(self.order) // math.prod(math.factorial(abs(c)) for c in self.coefficients)

    @property
    def over_two_db(self) -> float:
        """Its level over that of the order's two-carrier kind at the same carrier levels [dB].

        The term a_n x^n of a power series gives each product the amplitude a_n 2^(1-n) multiplicity prod A^|c|,
        so levels differ by the ratio of multiplicities: 6 over 3 of the third order are 6.02 dB.
        """
        return 20.0 * math.log10(self.multiplicity / two_carrier_kind(self.order).multiplicity)

    def symmetry(self) -> int:
        """How many assignments of carriers are one and the same product: the factorials of equal coefficients."""
        return math.prod(math.factorial(count) for count in Counter(self.coefficients).values())

    def number(self, carriers: int) -> int:
        """How many products of this kind `carriers` carriers make, wherever they fall."""
        return math.perm(carriers, len(self.coefficients)) // self.symmetry()


def partitions(whole: int, largest: int | None = None) -> Iterator[tuple[int, ...]]:
    """The ways to write a number as a sum of positive ones, largest first."""
    if whole == 0:
        yield ()
    for first in range(min(whole, largest or whole), 0, -1):
        for rest in partitions(whole - first, first):
            yield (first, *rest)


def kinds_of(order: int) -> tuple[ProductKind, ...]:
    """All kinds of an odd order that fall near the carriers, those of fewest carriers first."""
    plus, minus = partitions((order + 1) // 2), list(partitions((order - 1) // 2))
    kinds = [ProductKind(p + tuple(-c for c in m)) for p, m in product(plus, minus)]
    return tuple(sorted(kinds, key=lambda kind: len(kind.coefficients)))


def two_carrier_kind(order: int) -> ProductKind:
    """The kind of an odd order that two carriers make: 2A-B, 3A-2B, 4A-3B."""
    return ProductKind(((order + 1) // 2, (1 - order) // 2))


#: What is counted, by order: everything of the third and fifth, two carriers of the seventh.
KINDS: Final = {3: kinds_of(3), 5: kinds_of(5), 7: (two_carrier_kind(7),)}


def kinds_counted(order: int) -> tuple[ProductKind, ...]:
    """The kinds that are counted of an order. Raises ValueError for an order that is not."""
    if order not in KINDS:
        raise ValueError(f"order {order} is not counted; the orders are {', '.join(map(str, KINDS))}")
    return KINDS[order]


@cache
def patterns_of(kind: ProductKind, groups: int) -> tuple[Pattern, ...]:
    """Every way to take the carriers of a kind from groups, each product in exactly one of them."""
    sides = [
        [tuple((c, g) for g in chosen) for chosen in combinations_with_replacement(range(groups), count)]
        for c, count in Counter(kind.coefficients).items()
    ]
    return tuple(tuple(slot for side in sides_chosen for slot in side) for sides_chosen in product(*sides))


def pattern_symmetry(pattern: Pattern) -> int:
    """How many assignments of carriers to the slots are one and the same product."""
    return math.prod(math.factorial(count) for count in Counter(pattern).values())
