"""Products one by one, as arrays: the plain way, for few carriers, and what the other ways are tested against."""

from __future__ import annotations

from itertools import combinations, groupby
from typing import TypeVar

import numpy as np

from linkwright.physics.intermodulation.kinds import Pattern
from linkwright.units import FloatArray, IntArray

Numbers = TypeVar("Numbers", IntArray, FloatArray)


def two_carrier_products(carriers_khz: IntArray) -> IntArray:
    """All 2A-B of N distinct carriers [kHz], shape (N(N-1),), ordered by A then B."""
    f = np.asarray(carriers_khz, dtype=np.int64)
    products = 2 * f[:, None] - f[None, :]
    return np.asarray(products[~np.eye(f.size, dtype=np.bool_)])


def three_carrier_products(carriers_khz: IntArray) -> IntArray:
    """All A+B-C of N distinct carriers [kHz], shape (N(N-1)(N-2)/2,)."""
    f = np.asarray(carriers_khz, dtype=np.int64)
    first, second = np.triu_indices(f.size, k=1)
    pairs = f[first] + f[second]
    products = pairs[:, None] - f[None, :]
    others = np.arange(f.size)
    distinct = (others[None, :] != first[:, None]) & (others[None, :] != second[:, None])
    return np.asarray(products[distinct])


def hits_on(victim_khz: int, carriers_khz: IntArray) -> tuple[int, int]:
    """How many 2A-B and A+B-C of the carriers, the victim among them, fall exactly on the victim.

    The victim takes part only as the C of A+B-C (A and B symmetrical about it): every other product that it
    takes part in lands on it only where two of the three coincide.
    """
    two = int(np.count_nonzero(two_carrier_products(carriers_khz) == victim_khz))
    three = int(np.count_nonzero(three_carrier_products(carriers_khz) == victim_khz))
    return two, three


def who_makes(pattern: Pattern, members: list[IntArray]) -> IntArray:
    """The carriers of every product of a pattern, shape (products, slots).

    members : for each group the indices of its carriers. Slots of equal coefficient and group are filled in
    ascending order, so no product is told twice; all carriers of a product are distinct.
    """
    table = np.zeros((1, 0), dtype=np.int64)
    for (_, group), slots in groupby(pattern):
        count = len(list(slots))
        more = np.array(list(combinations(members[group].tolist(), count)), dtype=np.int64).reshape(-1, count)
        table = np.hstack([np.repeat(table, len(more), axis=0), np.tile(more, (len(table), 1))])
        clash = (table[:, None, :-count] == table[:, -count:, None]).any(axis=(1, 2))
        table = table[~clash]
    return table


# wide: the arguments of the compiled one in `compiled`
def add_products(
    out: Numbers,
    first: int,
    cells: IntArray,
    weights: Numbers,
    members: list[IntArray],
    pattern: Pattern,
    base: int,
    weight: float,
) -> None:
    """Add every product of a pattern to the map `out`, whose cell 0 is `first`; those outside are left out.

    cells, weights : (n,) where the carriers are and what they weigh. A product lies at base + sum c cell and weighs
    weight * prod weights^|c|. `members` holds for each group the indices of its carriers.
    """
    who = who_makes(pattern, members)
    coefficients = np.array([c for c, _ in pattern], dtype=np.int64)
    at = base - first + cells[who] @ coefficients
    inside = (at >= 0) & (at < out.size)
    power = np.prod(weights[who[inside]] ** np.abs(coefficients), axis=1, dtype=out.dtype)
    np.add.at(out, at[inside], (weight * power).astype(out.dtype))
