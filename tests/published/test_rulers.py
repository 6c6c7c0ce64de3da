"""Sets without third-order hits: rulers, lattices and channels, one a value, with where it comes from."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from linkwright.assign.bound import clean_bound
from linkwright.assign.clean import find_clean, search_depth_first
from linkwright.assign.problem import Problem, Wish, grid_of
from linkwright.assign.search import solve
from linkwright.assign.state import State
from linkwright.physics.intermodulation import hits_on
from linkwright.progress import quiet
from linkwright.units import IntArray

RASTER_KHZ = 25
BASE_KHZ = 600_000
#: Number of marks and length of the shortest ruler without two equal differences; OEIS A003022.
A003022 = [(2, 1), (3, 3), (4, 6), (5, 11), (6, 17), (7, 25), (8, 34), (9, 44)]
#: Number of members and least top of a set of 1, 2, 3... without three in arithmetic progression; OEIS A065825.
A065825 = [(2, 2), (3, 4), (4, 5), (5, 9), (6, 11), (7, 13), (8, 14), (9, 20), (10, 24)]
RULER_24 = [
    0, 9, 33, 37, 38, 97, 122, 129, 140, 142, 152, 191, 205, 208, 252, 278, 286, 326, 332, 353, 368, 384, 403, 425,
]  # fmt: skip


def alike(count: int, slots_khz: IntArray, spacing_khz: int, guard_two_khz: int, guard_three_khz: int) -> Problem:
    """So many links of one kind, all live together."""
    rise_db = np.zeros(slots_khz.size)
    wishes = tuple(Wish(f"link {n}", slots_khz, rise_db, spacing_khz) for n in range(count))
    return Problem(wishes, (tuple(range(count)),), guard_two_khz, guard_three_khz)


def lattice(span_steps: int, raster_khz: int = RASTER_KHZ) -> IntArray:
    return BASE_KHZ + raster_khz * np.arange(span_steps + 1, dtype=np.int64)


def hits(marks: list[int]) -> tuple[int, int]:
    """2A-B and A+B-C that fall on any mark: every ordered pair A, B; every pair A < B with every other C."""
    on = set(marks)
    two = sum(2 * a - b in on for a, b in itertools.permutations(marks, 2))
    three = sum(a + b - c in on for a, b in itertools.combinations(marks, 2) for c in marks if c not in (a, b))
    return two, three


def proved_not_to_fit(problem: Problem) -> bool:
    """Whether going through all combinations of slots, without any bound, shows that no clean set is there."""
    grid = grid_of(problem)
    found = search_depth_first(problem, grid.wish_slots[0], State(problem, grid), quiet)
    assert found.cells is None
    return found.proved


@pytest.mark.published("OEIS A003022: shortest ruler of n marks; n links fit in that span")
@pytest.mark.parametrize(("links", "length"), A003022)
def test_links_fit_in_the_span_of_the_shortest_ruler(links: int, length: int) -> None:
    found = solve(alike(links, lattice(length), RASTER_KHZ, 1, 1))
    assert (found.criterion, found.placed) == ("clean", links)
    assert hits([carrier for carrier in found.carriers_khz if carrier is not None]) == (0, 0)


@pytest.mark.published("OEIS A003022: shortest ruler of n marks; n links do not fit in one slot less")
@pytest.mark.parametrize(("links", "length"), A003022)
def test_links_do_not_fit_in_one_slot_less(links: int, length: int) -> None:
    assert proved_not_to_fit(alike(links, lattice(length - 1), RASTER_KHZ, 1, 1))


@pytest.mark.published(
    "OEIS A003022: five do not fit in a span of ten: the plan says so, and places them all the same"
)
def test_a_ruler_one_slot_short_is_told_as_power() -> None:
    found = solve(alike(5, lattice(10), RASTER_KHZ, 1, 1))
    assert (found.criterion, found.placed, found.proved) == ("power", 5, True)


@pytest.mark.published("OEIS A065825 less 1: span of n carriers without 2A-B hits, A+B-C let be; n links fit")
@pytest.mark.parametrize(("links", "top"), A065825)
def test_links_fit_where_only_two_carrier_products_count(links: int, top: int) -> None:
    found = solve(alike(links, lattice(top - 1), RASTER_KHZ, 1, 0))
    assert (found.criterion, found.placed) == ("clean", links)
    assert hits([carrier for carrier in found.carriers_khz if carrier is not None])[0] == 0


@pytest.mark.published("OEIS A065825 less 1: span of n carriers without 2A-B hits; not in one slot less")
@pytest.mark.parametrize(("links", "top"), A065825)
def test_links_do_not_fit_in_one_slot_less_for_two_carrier_products(links: int, top: int) -> None:
    assert proved_not_to_fit(alike(links, lattice(top - 2), RASTER_KHZ, 1, 0))


@pytest.mark.published("OEIS A003022: the bound says exactly n in the span of the shortest ruler, n-1 in one less")
@pytest.mark.parametrize(("links", "length"), A003022)
def test_the_clean_bound_is_tight_on_rulers(links: int, length: int) -> None:
    assert clean_bound(length * RASTER_KHZ, 1, RASTER_KHZ) == links
    assert clean_bound((length - 1) * RASTER_KHZ, 1, RASTER_KHZ) == links - 1


@pytest.mark.published("the optimal ruler 0 1 4 9 11 (OEIS A003022, n = 5) has no hit")
def test_the_ruler_of_five_is_clean() -> None:
    marks = np.array([0, 1, 4, 9, 11])
    assert [hits_on(int(mark), marks) for mark in marks] == [(0, 0)] * 5


@pytest.mark.published("the optimal ruler of 24 marks (OEIS A003022, n = 24, length 425) has no hit")
def test_the_ruler_of_24_is_clean() -> None:
    marks = np.array(RULER_24)
    assert [hits_on(mark, marks) for mark in RULER_24] == [(0, 0)] * 24


@pytest.mark.published(
    "the 24-mark ruler with 97 -> 98: 36 hits of A+B-C, none of 2A-B; each pair A < B with each other C counts once"
)
def test_the_ruler_of_24_with_one_mark_moved() -> None:
    moved = [98 if mark == 97 else mark for mark in RULER_24]
    counted = [hits_on(mark, np.array(moved)) for mark in moved]
    assert (sum(two for two, _ in counted), sum(three for _, three in counted)) == (0, 36)
    assert hits(moved) == (0, 36)


@pytest.mark.own("prototypes of this project, best found: 17 carriers in 24 MHz, 100 kHz raster, 400 kHz")
def test_17_carriers_in_24_mhz() -> None:
    reaches(17, lattice(240, 100), 400, 1)


@pytest.mark.own("prototypes of this project, best found: 38 carriers in 48 MHz, 25 kHz raster, 350 kHz")
def test_38_carriers_in_48_mhz() -> None:
    reaches(38, lattice(1920), 350, 1)


@pytest.mark.own("prototypes of this project, best found: 21 in 48 MHz, 25 kHz raster, 350 kHz, guards 100 kHz")
def test_21_carriers_in_48_mhz_with_guards() -> None:
    reaches(21, lattice(1920), 350, 100)


def reaches(count: int, slots_khz: IntArray, spacing_khz: int, guard_khz: int) -> None:
    """A clean set of so many is found, and is clean by plain enumeration."""
    problem = alike(count, slots_khz, spacing_khz, guard_khz, guard_khz)
    grid = grid_of(problem)
    found = find_clean(problem, grid)
    assert found.cells is not None
    carriers = sorted(grid.carrier_khz(cell) for cell in found.cells)
    assert set(carriers) <= set(slots_khz.tolist())
    assert min(high - low for low, high in itertools.pairwise(carriers)) >= spacing_khz
    for a, b in itertools.combinations(carriers, 2):
        others = np.array([c for c in carriers if c not in (a, b)])
        middle = np.abs(2 * a - b - np.array(carriers)), np.abs(2 * b - a - np.array(carriers))
        assert min(np.min(middle[0]), np.min(middle[1])) >= guard_khz
        assert np.min(np.abs((a + b - others)[:, None] - np.array(carriers)[None, :])) >= guard_khz


@pytest.mark.published("Lindstrom 1969, n <= sqrt(M/g) + (M/g)^(1/4) + 1 and A003022: 16, 51, 27 carriers at most")
@pytest.mark.parametrize(
    ("span_khz", "guard_khz", "raster_khz", "at_most", "reached"),
    [(24_000, 1, 100, 20, 17), (48_000, 1, 25, 51, 38), (48_000, 100, 25, 27, 21)],
)
def test_the_bound_lies_between_reached_and_lindstrom(
    span_khz: int, guard_khz: int, raster_khz: int, at_most: int, reached: int
) -> None:
    assert reached <= clean_bound(span_khz, guard_khz, raster_khz) <= at_most
