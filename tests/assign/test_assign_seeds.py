"""The sets with distinct differences that the search begins from: as many, modulo what, by their theorems."""

from __future__ import annotations

import itertools
from collections.abc import Callable

import pytest

from linkwright.assign.seeds import Residues, _bose_chowla, _ruzsa, _singer

#: Members and modulus for a prime p: Ruzsa 1993, Bose and Chowla 1962, Singer 1938 (from memory).
THEOREMS: dict[Callable[[int], Residues | None], Callable[[int], tuple[int, int]]] = {
    _ruzsa: lambda p: (p - 1, p * (p - 1)),
    _bose_chowla: lambda p: (p, p * p - 1),
    _singer: lambda p: (p + 1, p * p + p + 1),
}


@pytest.mark.parametrize("p", [3, 5, 7, 11, 13])
@pytest.mark.parametrize("made", THEOREMS)
def test_no_two_pairs_of_a_set_have_one_difference(made: Callable[[int], Residues | None], p: int) -> None:
    found = made(p)
    assert found is not None
    assert (len(found.values), found.modulus) == THEOREMS[made](p)
    differences = [(a - b) % found.modulus for a, b in itertools.permutations(found.values, 2)]
    assert len({*differences, 0}) == len(differences) + 1
