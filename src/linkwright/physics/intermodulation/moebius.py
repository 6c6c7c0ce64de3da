"""Sums over distinct carriers as sums over all of them: Moebius inversion over set partitions.

With a(m, q, g) = sum over the carriers of group g of weight^q z^(m cell), the sum over pairwise distinct carriers
of prod weight^|c| z^(c cell) is

    (1 / symmetry) sum over set partitions of the slots of
        prod over blocks of (-1)^(|b| - 1) (|b| - 1)! a(sum of c, sum of |c|, group)

Source: the Moebius function of the lattice of set partitions (Rota 1964; Stanley, Enumerative Combinatorics 1,
section 3.10), from memory. A block across two groups is empty: no carrier is in both.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from fractions import Fraction
from functools import cache

from linkwright.physics.intermodulation.kinds import Pattern, pattern_symmetry

#: A power sum a(m, q, g): the carriers of group g, their weight to the power q, at m times their cell.
Block = tuple[int, int, int]
#: Coefficients of products of power sums.
Terms = dict[tuple[Block, ...], Fraction]


def set_partitions(count: int) -> Iterator[list[list[int]]]:
    """All ways to split 0..count-1 into blocks."""
    if count == 0:
        yield []
        return
    for rest in set_partitions(count - 1):
        for n in range(len(rest)):
            yield [[*block, count - 1] if n == m else block for m, block in enumerate(rest)]
        yield [*rest, [count - 1]]


@cache
def terms_of(pattern: Pattern) -> Mapping[tuple[Block, ...], Fraction]:
    """The sum over distinct carriers of a pattern as products of power sums with their coefficients."""
    terms: Terms = defaultdict(Fraction)
    for partition in set_partitions(len(pattern)):
        groups = [{pattern[slot][1] for slot in block} for block in partition]
        if any(len(members) > 1 for members in groups):
            continue
        blocks = []
        weight = Fraction(1, pattern_symmetry(pattern))
        for block, (group,) in zip(partition, groups, strict=True):
            c = [pattern[slot][0] for slot in block]
            blocks.append((sum(c), sum(map(abs, c)), group))
            weight *= (-1) ** (len(block) - 1) * math.factorial(len(block) - 1)
        terms[tuple(sorted(blocks))] += weight
    return {blocks: weight for blocks, weight in terms.items() if weight}


def added(patterns: Sequence[tuple[Pattern, Fraction]]) -> Terms:
    """The terms of several patterns together, each with a factor."""
    total: Terms = defaultdict(Fraction)
    for pattern, factor in patterns:
        for blocks, weight in terms_of(pattern).items():
            total[blocks] += factor * weight
    return {blocks: weight for blocks, weight in total.items() if weight}


def for_counts(terms: Terms) -> Terms:
    """The same where every weight is one: a(m, q, g) is a(m, 1, g) whatever q is."""
    total: Terms = defaultdict(Fraction)
    for blocks, weight in terms.items():
        total[tuple(sorted((m, 1, group) for m, _, group in blocks))] += weight
    return {blocks: weight for blocks, weight in total.items() if weight}
