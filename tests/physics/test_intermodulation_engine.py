"""Counts and powers of products: every way against a definition written for this test, and against each other."""

from __future__ import annotations

import math
import subprocess
import sys
from collections.abc import Callable, Iterator
from fractions import Fraction
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from linkwright.physics.intermodulation import (
    KINDS,
    Tally,
    TooCoarse,
    cannot_matter_dbm,
    counts_by_kind,
    filter_share,
    lattice_cells,
    maps,
    power_in_filters_mw,
    powers_by_kind_mw,
    powers_by_widths_mw,
    product_counts,
    product_powers_mw,
    products_in_band,
    spread,
)
from linkwright.physics.intermodulation.compiled_inband import ROOM
from linkwright.physics.intermodulation.enumeration import add_products
from linkwright.physics.intermodulation.inband import all_products
from linkwright.physics.intermodulation.kinds import kinds_counted, patterns_of
from linkwright.physics.intermodulation.layers import LOCAL_ROUND_OFF, ROUND_OFF, Lines, powers_by_spectra
from linkwright.physics.intermodulation.levels import relative_gain
from linkwright.physics.intermodulation.maps import Way
from linkwright.physics.intermodulation.moebius import added
from linkwright.physics.intermodulation.spectra import ODD_PARTS, fast_length
from linkwright.units import FloatArray, IntArray

WAYS: list[Way] = ["plain", "loops", "spectra", "auto"]
FLOOR_MW = 1e-14  # -140 dBm


def coefficient_vectors(carriers: int, order: int, total: int = 1) -> Iterator[tuple[int, ...]]:
    """All whole vectors with sum `total` and sum of sizes `order`: every product near the carriers, once each."""
    if carriers == 0:
        if order == 0 and total == 0:
            yield ()
        return
    for c in range(-order, order + 1):
        for rest in coefficient_vectors(carriers - 1, order - abs(c), total - c):
            yield (c, *rest)


def products(carriers: int, order: int) -> Iterator[tuple[int, ...]]:
    """Those that are counted: all of the third and fifth order, two carriers of the seventh."""
    for vector in coefficient_vectors(carriers, order):
        if order < 7 or sorted(c for c in vector if c) == [-3, 4]:
            yield vector


def by_definition(
    carriers: list[int],
    levels_mw: list[float],
    cells: range,
    order: int,
    intercept_dbm: float,
    widths: list[float] | None = None,
    factors: tuple[float, ...] = (),
) -> tuple[list[int], list[float]]:
    """Counts and powers from a_n x^n: amplitude a_n 2^(1-n) n!/prod|c|! prod A^|c|, with a_n from the intercept."""
    counts, powers = [0] * len(cells), [0.0] * len(cells)
    half = (order + 1) // 2
    two = Fraction(math.factorial(order), math.factorial(half) * math.factorial(half - 1))
    for vector in products(len(carriers), order):
        at = sum(c * f for c, f in zip(vector, carriers, strict=True))
        mine = sorted(w for c, w in zip(vector, widths, strict=True) for _ in range(abs(c))) if widths else []
        if at not in cells or mine != list(factors):
            continue
        orders = Fraction(math.factorial(order), math.prod(math.factorial(abs(c)) for c in vector))
        power = float(orders / two) ** 2 * 10.0 ** (-(order - 1) * intercept_dbm / 10.0)
        power *= math.prod(level ** abs(c) for level, c in zip(levels_mw, vector, strict=True))
        counts[at - cells.start] += 1
        powers[at - cells.start] += power
    return counts, powers


def decibels_apart(one: FloatArray, other: FloatArray) -> float:
    """The largest difference in dB where either is above -140 dBm; it must be told so there at all."""
    loud = np.maximum(one, other) > FLOOR_MW
    return float(np.max(np.abs(10.0 * np.log10(one[loud] / other[loud])), initial=0.0))


@pytest.mark.parametrize("way", WAYS)
@settings(max_examples=25)
@given(
    carriers=st.lists(st.integers(-30, 30), max_size=5, unique=True),
    order=st.sampled_from([3, 5, 7]),
    low=st.integers(-200, 100),
    length=st.integers(0, 300),
    data=st.data(),
)
def test_counts_and_powers_are_those_of_the_definition(
    way: Way, carriers: list[int], order: int, low: int, length: int, data: st.DataObject
) -> None:
    levels_dbm = data.draw(st.lists(st.integers(-30, 0), min_size=len(carriers), max_size=len(carriers)))
    levels = [10.0 ** (level / 10.0) for level in levels_dbm]
    cells = range(low, low + length)
    counts, powers = by_definition(carriers, levels, cells, order, 3.0)
    cell, level = np.array(carriers, dtype=np.int64), np.array(levels, dtype=np.float64)
    assert product_counts(cell, cells, order, way).tolist() == counts
    found = product_powers_mw(cell, level, cells, order, 3.0, way)
    assert found.shape == (length,)
    assert decibels_apart(found, np.array(powers)) < 1e-6
    assert sum(kind.sum() for kind in counts_by_kind(cell, cells, order, way).values()) == sum(counts)
    of_kinds = powers_by_kind_mw(cell, level, cells, order, 3.0, way)
    assert decibels_apart(sum(of_kinds.values(), np.zeros(length)), np.array(powers)) < 1e-6


@pytest.mark.parametrize("order", [3, 5, 7])
@pytest.mark.parametrize("carriers", [2, 3, 5, 6])
def test_the_kinds_of_an_order_are_all_that_there_are(order: int, carriers: int) -> None:
    found: dict[tuple[int, ...], int] = {}
    for vector in products(carriers, order):
        coefficients = tuple(sorted((c for c in vector if c), reverse=True))
        found[coefficients] = found.get(coefficients, 0) + 1
    kinds = {kind.coefficients: kind.number(carriers) for kind in KINDS[order] if kind.number(carriers)}
    assert kinds == found


Draw = Callable[[int, int], tuple[IntArray, FloatArray]]


def band(number: int, seed: int, cells: int = 19_601) -> tuple[IntArray, FloatArray]:
    """Carriers on distinct cells of 470-960 MHz at 25 kHz, received at -90 to 0 dBm."""
    draw = np.random.default_rng(seed)
    return np.sort(draw.choice(cells, number, replace=False)), 10.0 ** (draw.uniform(-90.0, 0.0, number) / 10.0)


def raster(number: int, seed: int) -> tuple[IntArray, FloatArray]:
    """The same on a raster of 600 kHz."""
    carriers, levels = band(number, seed, 800)
    return carriers * 24 + 5, levels


def far_apart(number: int, seed: int) -> tuple[IntArray, FloatArray]:
    """A block of weak carriers, and ten of 0 dBm far away from it."""
    _, levels = band(number, seed)
    levels[:-10], levels[-10:] = levels[:-10] * 1e-6, 1.0
    return np.concatenate([np.arange(number - 10) * 4, 19_000 + 7 * np.arange(10)]), levels


SETS: list[tuple[Draw, int, int]] = [
    (band, 40, 3), (band, 120, 3), (band, 300, 3), (raster, 100, 3), (far_apart, 100, 3), (far_apart, 12, 5),
    (band, 14, 5), (band, 26, 5), (raster, 26, 5), (band, 200, 7), (far_apart, 60, 7),
]  # fmt: skip


@pytest.mark.parametrize(("draw", "number", "order"), SETS)
@pytest.mark.parametrize("intercept_dbm", [-20.0, 0.0, 20.0])
def test_enumeration_and_spectra_agree(draw: Draw, number: int, order: int, intercept_dbm: float) -> None:
    carriers, levels = draw(number, number)
    cells = range(19_601)
    loops = product_powers_mw(carriers, levels, cells, order, intercept_dbm, "loops")
    spectra = product_powers_mw(carriers, levels, cells, order, intercept_dbm, "spectra")
    assert decibels_apart(spectra, loops) < 1e-6
    counts = product_counts(carriers, cells, order, "spectra")
    assert np.array_equal(product_counts(carriers, cells, order, "loops"), counts)
    assert np.all(loops[counts == 0] == 0.0)


@pytest.mark.parametrize(("number", "order"), [(1000, 3), (3000, 3), (300, 5), (3000, 5), (3000, 7)])
def test_counts_by_spectra_add_up_to_all_products_that_there_are(number: int, order: int) -> None:
    carriers, _ = band(number, number)
    far = (order - 1) // 2 * 19_601
    for kind, counts in counts_by_kind(carriers, range(-far, 19_601 + far), order, "spectra").items():
        assert int(counts.sum()) == kind.number(number)


def test_spectra_refuse_to_count_beyond_what_their_bits_tell() -> None:
    carriers, _ = band(12_000, 1)
    with pytest.raises(TooCoarse, match="enumerate"):
        product_counts(carriers, range(19_601), 5, "spectra")


def test_powers_that_spectra_cannot_tell_are_enumerated(monkeypatch: pytest.MonkeyPatch) -> None:
    # One pass cannot hold -140 dBm beside 90 dB more, and layers cost more than enumerating so few.
    carriers, levels = band(190, 5)
    levels[:2] = 10.0**3
    tried: list[str] = []

    def in_vain(*arguments: Any) -> FloatArray:
        tried.append("spectra")
        return powers_by_spectra(*arguments)

    monkeypatch.setattr(maps, "powers_by_spectra", in_vain)
    auto = product_powers_mw(carriers, levels, range(19_601), 3, 0.0)
    assert tried == ["spectra"]
    assert np.array_equal(auto, product_powers_mw(carriers, levels, range(19_601), 3, 0.0, "loops"))


def test_powers_over_an_absurd_range_are_refused_where_spectra_are_asked_for() -> None:
    carriers, _ = band(20, 3)
    levels = 10.0 ** (30.0 - 3.0 * np.arange(20.0))
    with pytest.raises(TooCoarse, match="range too far"):
        product_powers_mw(carriers, levels, range(19_601), 3, -60.0, "spectra")


@pytest.mark.parametrize(("number", "cells", "order", "top"), [
    (4, 19_601, 3, 1000), (80, 500, 3, 1000), (400, 500, 3, 1000), (300, 19_601, 3, 300), (16, 5000, 5, 60),
    (300, 19_601, 7, 60),
])  # fmt: skip
def test_the_round_off_is_below_its_estimate(number: int, cells: int, order: int, top: int) -> None:
    # Whole weights: their products and sums are exact, so the difference is the spectra's own.
    draw = np.random.default_rng(number)
    carriers, weights = np.sort(draw.choice(cells, number, replace=False)), draw.integers(1, top, number)
    weighed = [(patterns_of(kind, 1)[0], relative_gain(kind)) for kind in kinds_counted(order)]
    far = (order - 1) // 2 * int(carriers[-1] - carriers[0])
    lines = Lines(carriers, [np.arange(number)], order, range(int(carriers[0]) - far, int(carriers[-1]) + far + 1))
    exact = np.zeros(len(lines.wanted), dtype=np.int64)
    from linkwright.physics.intermodulation.compiled import add_products as add_by_loops

    for pattern, factor in weighed:
        part = np.zeros_like(exact)
        add_by_loops(part, lines.wanted.start, carriers, weights, lines.members, pattern, 0, 1.0)
        exact += (part * factor.numerator) // factor.denominator
    assert 0 < exact.max() < 2**52
    summed = lines.in_one(added(weighed), weights.astype(np.float64))
    epsilon = np.finfo(np.float64).eps
    estimate = epsilon * (ROUND_OFF * summed.most[0] + LOCAL_ROUND_OFF * summed.local[0])
    assert np.all(np.abs(summed.maps[0] - exact) <= estimate)


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("order", [3, 5])
def test_a_part_of_a_map_is_that_part(way: Way, order: int) -> None:
    draw = np.random.default_rng(8)
    carriers, levels = np.sort(draw.choice(60, 7, replace=False)) * 3 + 1, 10.0 ** draw.uniform(-3.0, 0.0, 7)
    whole = range(-600, 800)
    counts = product_counts(carriers, whole, order, "plain")
    powers = product_powers_mw(carriers, levels, whole, order, 0.0, "plain")
    for part in (range(-600, 800), range(10, 11), range(50, 170), range(-599, 20), range(799, 800), range(5, 5)):
        at = slice(part.start + 600, part.stop + 600)
        assert np.array_equal(product_counts(carriers, part, order, way), counts[at])
        assert decibels_apart(product_powers_mw(carriers, levels, part, order, 0.0, way), powers[at]) < 1e-6


def test_the_order_of_the_carriers_is_of_no_account() -> None:
    carriers, levels = band(40, 2, 300)
    shuffled = np.random.default_rng(0).permutation(40)
    for way in WAYS:
        one = product_powers_mw(carriers, levels, range(300), 3, 0.0, way)
        other = product_powers_mw(carriers[shuffled], levels[shuffled], range(300), 3, 0.0, way)
        assert np.array_equal(one, other)


def test_silent_carriers_make_products_without_power() -> None:
    carriers, levels = band(30, 4, 300)
    levels[5:] = 0.0
    for way in WAYS:
        found = product_powers_mw(carriers, levels, range(-300, 600), 3, 0.0, way)
        heard = product_powers_mw(carriers[:5], levels[:5], range(-300, 600), 3, 0.0, "plain")
        assert decibels_apart(found, heard) < 1e-6
    assert not product_powers_mw(carriers, np.zeros(30), range(300), 3, 0.0, "spectra").any()


@pytest.mark.parametrize("way", WAYS)
def test_powers_by_widths_are_those_of_the_definition(way: Way) -> None:
    draw = np.random.default_rng(3)
    carriers, levels = draw.choice(60, 6, replace=False), 10.0 ** draw.uniform(-3.0, 0.0, 6)
    widths = np.array([200.0, 25.0, 200.0, 100.0, 25.0, 200.0])
    cells = range(-300, 400)
    for order in (3, 5):
        found = powers_by_widths_mw(carriers, widths, levels, cells, order, 0.0, way)
        assert set(found) == {tuple(np.sort(np.repeat(widths, np.abs(vector)))) for vector in products(6, order)}
        for factors, power in found.items():
            _, expected = by_definition(
                carriers.tolist(), levels.tolist(), cells, order, 0.0, widths.tolist(), factors
            )
            assert decibels_apart(power, np.array(expected)) < 1e-6


@pytest.mark.parametrize("least", [1, 2, 3, 7, 31, 1000, 39_201, 98_765])
def test_lengths_are_long_enough_and_not_much_longer(least: int) -> None:
    length = fast_length(least)
    assert least <= length <= max(1.25 * least, least + 1)
    assert length // (length & -length) in ODD_PARTS


def test_frequencies_and_cells() -> None:
    cells = lattice_cells(np.array([470_000, 470_025, 469_900]), 470_000, 25)
    assert cells.tolist() == [0, 1, -4]
    with pytest.raises(ValueError, match="470010 kHz is not on the lattice"):
        lattice_cells(np.array([470_000, 470_010]), 470_000, 25)


def test_what_is_no_problem_of_this_kind_is_refused() -> None:
    with pytest.raises(ValueError, match="distinct"):
        product_counts(np.array([3, 5, 3]), range(9))
    with pytest.raises(ValueError, match="negative"):
        product_powers_mw(np.array([3, 5]), np.array([1.0, -1.0]), range(9), 3, 0.0)
    with pytest.raises(ValueError, match="order 4"):
        product_counts(np.array([3, 5]), range(9), 4)
    with pytest.raises(ValueError, match="every cell"):
        product_counts(np.array([3, 5]), range(0, 9, 2))


def test_the_plain_way_adds_to_what_is_there() -> None:
    (pattern,) = patterns_of(KINDS[3][0], 1)
    out = np.ones(5, dtype=np.int64)
    add_products(out, 0, np.array([1, 2]), np.ones(2, dtype=np.int64), [np.arange(2)], pattern, 0, 2.0)
    assert out.tolist() == [3, 1, 1, 3, 1]


def test_nothing_compiled_is_loaded_before_it_is_needed() -> None:
    script = (
        "import sys, numpy as np, linkwright.physics.intermodulation as i\n"
        "i.product_powers_mw(np.arange(9) ** 2, np.ones(9), range(81), 3, 0.0)\n"
        "i.product_powers_mw(np.arange(99) ** 2, np.ones(99), range(9801), 3, 0.0, 'spectra')\n"
        "t = i.Tally(range(99), 3, 0.0); t.add(4, 1.0); t.add(5, 1.0)\n"
        "assert not {'numba', 'scipy'} & set(sys.modules)"
    )
    subprocess.run([sys.executable, "-c", script], check=True, timeout=60)


# Widths and filters.


def test_filters_take_of_a_map_what_enumeration_finds_in_them() -> None:
    draw = np.random.default_rng(6)
    carriers, levels = draw.choice(900, 14, replace=False), 10.0 ** draw.uniform(-6.0, -2.0, 14)
    widths = draw.choice([25.0, 180.0, 200.0], 14)
    for step, filter_khz in ((25, 200.0), (125, 180.0)):
        heard = power_in_filters_mw(carriers, widths, levels, range(-50, 1000), step, filter_khz, 3, -5.0)
        for cell in range(-50, 1000, 35):
            total, _, _ = products_in_band(carriers * step, widths, levels, cell * step, filter_khz, -5.0, 1e-30)
            assert heard[cell + 50] == pytest.approx(total, rel=1e-9, abs=1e-40)


@given(
    st.lists(st.floats(0.0, 1.0), min_size=1, max_size=40),
    st.sampled_from([(10.0,) * 3, (25.0, 25.0, 200.0), (200.0,) * 3, (200.0,) * 5, (25.0,) * 7]),
    st.sampled_from([50.0, 180.0, 200.0]),
)
def test_spreading_takes_each_lines_share(lines: list[float], widths: tuple[float, ...], filter_khz: float) -> None:
    found = spread(np.array(lines), widths, filter_khz, 25.0)
    assert found.shape == (len(lines),)
    for cell, power in enumerate(found):
        shares = filter_share(25.0 * (np.arange(len(lines)) - cell), widths, filter_khz)
        assert power == pytest.approx(np.dot(lines, shares), rel=1e-9, abs=1e-12)


def test_products_without_width_are_in_out_or_half_on_the_edge() -> None:
    lines = np.array([0.0, 0.0, 0.0, 0.0, 8.0, 0.0, 0.0, 0.0, 0.0])
    assert spread(lines, (0.0, 0.0, 0.0), 100.0, 25.0).tolist() == [0.0, 0.0, 4.0, 8.0, 8.0, 8.0, 4.0, 0.0, 0.0]
    assert spread(lines, (0.0, 0.0, 0.0), 60.0, 25.0).tolist() == [0.0, 0.0, 0.0, 8.0, 8.0, 8.0, 0.0, 0.0, 0.0]


def test_a_weak_product_is_heard_beside_a_strong_one() -> None:
    # With running sums the round-off of 1 mW would lie on every cell after it.
    lines = np.zeros(2000)
    lines[[100, 1900]] = 1.0, 1e-18
    heard = spread(lines, (200.0,) * 3, 200.0, 25.0)
    assert heard[1900] == pytest.approx(1e-18 * 2.0 / 3.0, rel=1e-12)
    assert not heard[200:1800].any()


# One carrier more or less.


def fresh(tally: Tally) -> tuple[IntArray, FloatArray]:
    arguments = tally.carriers, tally.cells, tally.order
    powers = product_powers_mw(
        tally.carriers, tally.levels_mw, tally.cells, tally.order, tally.intercept_dbm, "plain"
    )
    return product_counts(*arguments, "plain"), powers


@settings(max_examples=40)
@given(
    st.sampled_from([3, 5, 7]),
    st.lists(st.tuples(st.integers(-20, 20), st.integers(-60, 0)), min_size=1, max_size=14),
)
def test_a_tally_is_what_it_would_be_made_anew(order: int, changes: list[tuple[int, int]]) -> None:
    tally = Tally(range(-40, 90), order, 0.0)
    for carrier, level_dbm in changes:
        if carrier in tally.carriers:
            tally.remove(carrier)
        elif tally.carriers.size < 7:
            tally.add(carrier, 10.0 ** (level_dbm / 10.0))
    counts, powers = fresh(tally)
    assert np.array_equal(tally.counts, counts)
    assert np.all(np.abs(tally.powers_mw - powers) <= tally.drift_mw + 1e-12 * powers)
    tally.resync()
    assert np.allclose(tally.powers_mw, powers, rtol=1e-12, atol=0.0)


@pytest.mark.parametrize(("order", "number"), [(3, 60), (5, 36), (7, 60)])
def test_a_tally_of_many_carriers_is_what_it_would_be_made_anew(order: int, number: int) -> None:
    draw = np.random.default_rng(order)
    tally, carriers = Tally(range(-100, 3000), order, 0.0), draw.choice(3000, number, replace=False)
    tally.set(carriers, 10.0 ** draw.uniform(-9.0, 0.0, number))
    for _ in range(25):
        gone = int(draw.choice(tally.carriers))
        tally.remove(gone)
        tally.add(
            int(draw.choice(np.setdiff1d(np.arange(3000), tally.carriers))), float(10.0 ** draw.uniform(-9, 0))
        )
    counts = product_counts(tally.carriers, tally.cells, order, "loops")
    powers = product_powers_mw(tally.carriers, tally.levels_mw, tally.cells, order, 0.0, "loops")
    assert np.array_equal(tally.counts, counts)
    assert 0.0 < tally.drift_mw < 1e-9
    assert np.all(np.abs(tally.powers_mw - powers) <= tally.drift_mw + 1e-12 * powers)
    assert np.all(tally.powers_mw[counts == 0] == 0.0)


def test_nothing_is_left_of_a_strong_carrier_that_went() -> None:
    for weak in (5, 40):
        tally = Tally(range(4000), 3, -10.0)
        tally.set(np.arange(weak) ** 2, np.full(weak, 1e-9))
        before = tally.powers_mw.copy(), tally.counts.copy()
        tally.add(1901, 1.0)
        assert tally.powers_mw.max() > 1e-16 > 1e-20 > before[0].max()
        tally.remove(1901)
        assert np.array_equal(tally.counts, before[1])
        assert np.all(tally.powers_mw[before[1] == 0] == 0.0)


def test_a_tally_refuses_what_is_there_and_what_is_not() -> None:
    tally = Tally(range(10), 3, 0.0)
    tally.add(4, 1.0)
    with pytest.raises(ValueError, match="already"):
        tally.add(4, 0.5)
    with pytest.raises(ValueError, match="no carrier"):
        tally.remove(5)


# What cannot matter, and one filter.


@settings(max_examples=60)
@given(st.integers(3, 9), st.integers(-30, 10), st.integers(-120, -90), st.integers(0, 10_000))
def test_products_below_the_bound_cannot_matter(number: int, iip3_dbm: int, noise_dbm: int, seed: int) -> None:
    levels_dbm = np.random.default_rng(seed).uniform(-70.0, 0.0, number)
    everything = number * (number - 1) + number * (number - 1) * (number - 2) // 2
    bound = cannot_matter_dbm(float(noise_dbm), float(iip3_dbm), everything)
    levels_dbm += bound / 3.0 - levels_dbm.max()  # no sum of three is above the bound
    levels_mw, anywhere = 10.0 ** (levels_dbm / 10.0), np.zeros(number, dtype=np.int64)
    total, _, _ = all_products(
        anywhere + 600_000, np.full(number, 200.0), levels_mw, 600_000, 1e6, 10.0 ** (iip3_dbm / 10.0), 0.0
    )
    assert 0.0 < total <= 10.0 ** ((noise_dbm - 6.0) / 10.0) * (1.0 + 1e-9)


def test_a_bound_needs_products() -> None:
    with pytest.raises(ValueError, match="0 products"):
        cannot_matter_dbm(-110.0, 0.0, 0)


@pytest.mark.parametrize(("number", "seed"), [(33, 1), (60, 2), (90, 3)])
def test_pruning_leaves_noise_and_products_as_they_are(number: int, seed: int) -> None:
    draw = np.random.default_rng(seed)
    carriers = 600_000 + 25 * draw.choice(1200, number, replace=False)
    widths, levels = draw.choice([25.0, 200.0], number), 10.0 ** draw.uniform(-12.0, -1.0, number)
    noise_mw, iip3_dbm = 10.0**-11.5, -5.0
    for victim in range(0, number, 7):
        arguments = carriers, widths, levels, int(carriers[victim]), 200.0
        pruned, who, power = products_in_band(*arguments, iip3_dbm, noise_mw / 100.0)
        total, all_who, all_power = all_products(*arguments, 10.0 ** (iip3_dbm / 10.0), noise_mw / 100.0)
        assert abs(10.0 * math.log10((noise_mw + pruned) / (noise_mw + total))) < 1e-3
        assert {tuple(abc) for abc in who.tolist()} == {tuple(abc) for abc in all_who.tolist()}
        assert power == pytest.approx(np.sort(all_power)[::-1])


def test_every_product_is_told_however_many_there_are() -> None:
    carriers, levels = np.arange(40) * 25 + 600_000, np.full(40, 1e-3)
    arguments = carriers, np.full(40, 200.0), levels, 600_500, 200.0
    total, who, power = products_in_band(*arguments, 0.0, 1e-30)
    assert len(power) > ROOM
    assert len({tuple(abc) for abc in who.tolist()}) == len(power) == all_products(*arguments, 1.0, 1e-30)[2].size
    assert float(power.sum()) == pytest.approx(total, rel=1e-12)
    # All carriers are equally strong and wide: of one strength, 2A-B stand before A+B-C, and each in order.
    for strength in np.unique(power):
        alike = who[power == strength]
        keys = [(c >= 0, a, b, c) for a, b, c in alike.tolist()]
        assert keys == sorted(keys)
