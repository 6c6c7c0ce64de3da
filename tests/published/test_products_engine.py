"""Counts and powers of products by the engine, one value a test, with where it comes from."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
import pytest

from linkwright.physics.intermodulation import KINDS, counts_by_kind, powers_by_kind_mw, product_powers_mw
from linkwright.physics.intermodulation.kinds import ProductKind, two_carrier_kind
from linkwright.physics.intermodulation.maps import Way
from linkwright.units import FloatArray, dbm_from_mw

TWO, THREE = KINDS[3]
RULER_24 = [
    0, 9, 33, 37, 38, 97, 122, 129, 140, 142, 152, 191, 205, 208, 252, 278, 286, 326, 332, 353, 368, 384, 403, 425,
]  # fmt: skip

# Sets without hits: the shortest span that the counting functions let pass.

Judge = Callable[[list[int]], bool]


def hits(marks: Sequence[int], order: int) -> dict[ProductKind, list[int]]:
    """How many products of each kind fall on each mark."""
    counts = counts_by_kind(np.array(marks), range(min(marks), max(marks) + 1), order, "plain")
    return {kind: [int(count[mark - min(marks)]) for mark in marks] for kind, count in counts.items()}


def no_third_or_fifth_order(marks: list[int]) -> bool:
    return not any(any(found) for order in (3, 5) for found in hits(marks, order).values())


def no_two_carrier(marks: list[int]) -> bool:
    return not any(hits(marks, 3)[TWO])


def no_three_carrier_of_others(marks: list[int]) -> bool:
    """No A+B-C of three on a fourth."""
    for victim in marks:
        others = np.array([mark for mark in marks if mark != victim])
        if counts_by_kind(others, range(victim, victim + 1), 3, "plain")[THREE][0]:
            return False
    return True


def fits(count: int, span: int, judge: Judge) -> bool:
    """Whether so many marks 0..span, both ends among them, pass: every set is grown mark by mark until it fails."""

    def grows(marks: list[int], last: int) -> bool:
        if len(marks) == count:
            return True
        return any(judge([*marks, mark]) and grows([*marks, mark], mark) for mark in range(last + 1, span))

    return judge([0, span]) and grows([0, span], 0)


def shortest(count: int, judge: Judge) -> int:
    """The least span that so many marks fit into."""
    span = count - 1
    while not fits(count, span, judge):
        span += 1
    return span


@pytest.mark.published("OEIS A345731: least span without A+B-C on a fourth carrier, 2A-B let be")
@pytest.mark.parametrize(("carriers", "span"), [(2, 1), (3, 2), (4, 4), (5, 7), (6, 12), (7, 18)])
def test_shortest_span_without_three_carrier_products_of_others(carriers: int, span: int) -> None:
    assert shortest(carriers, no_three_carrier_of_others) == span


@pytest.mark.published("OEIS A065825 less 1: least span without 2A-B on a carrier, A+B-C let be")
@pytest.mark.parametrize(("carriers", "span"), [(2, 1), (3, 3), (4, 4), (5, 8), (6, 10), (7, 12), (8, 13), (9, 19)])
def test_shortest_span_without_two_carrier_products(carriers: int, span: int) -> None:
    assert shortest(carriers, no_two_carrier) == span


@pytest.mark.published("OEIS A387704 (B3 sets): least span without any product of the third or fifth order")
@pytest.mark.parametrize(("carriers", "span"), [(2, 1), (3, 4), (4, 11), (5, 23)])
def test_shortest_span_without_third_and_fifth_order_products(carriers: int, span: int) -> None:
    assert shortest(carriers, no_third_or_fifth_order) == span


@pytest.mark.published("OEIS A003022, n = 24: no third-order product of the 24-mark ruler on a mark")
def test_the_ruler_of_24_by_the_engine() -> None:
    assert {kind.name: sum(found) for kind, found in hits(RULER_24, 3).items()} == {"2A-B": 0, "A+B-C": 0}


@pytest.mark.own("the 24-mark ruler with 97 -> 98: 36 hits of A+B-C, none of 2A-B (computed in the design)")
def test_the_ruler_of_24_with_one_mark_moved_by_the_engine() -> None:
    moved = [98 if mark == 97 else mark for mark in RULER_24]
    assert {kind.name: sum(found) for kind, found in hits(moved, 3).items()} == {"2A-B": 0, "A+B-C": 36}


# A comb of N carriers side by side.


def westcott(number: int, carrier: int) -> tuple[int, int]:
    """2A-B and A+B-C on carrier r of 1..N:

    1/2 {N - 2 - 1/2 [1 - (-1)^N] (-1)^r} and r/2 (N - r + 1) + 1/4 {(N - 3)^2 - 5} - 1/8 [1 - (-1)^N] (-1)^(N + r).
    """
    odd, sign = number % 2, (-1) ** carrier
    two = (number - 2 - odd * sign) / 2
    three = (
        carrier * (number - carrier + 1) / 2 + ((number - 3) ** 2 - 5) / 4 - odd * (-1) ** (number + carrier) / 4
    )
    assert two == int(two)
    assert three == int(three)
    return int(two), int(three)


@pytest.mark.published(
    "Westcott 1967, closed form for a comb (from memory; its values for N = 16, 64 are in the design)"
)
@pytest.mark.parametrize("way", ["plain", "loops", "spectra"])
@pytest.mark.parametrize("number", [3, 4, 5, 16, 17, 64])
def test_every_carrier_of_a_comb(number: int, way: Way) -> None:
    counts = counts_by_kind(np.arange(1, number + 1), range(1, number + 1), 3, way)
    found = list(zip(counts[TWO].tolist(), counts[THREE].tolist(), strict=True))
    assert found == [westcott(number, carrier) for carrier in range(1, number + 1)]


@pytest.mark.published("Westcott 1967, closed form for a comb (from memory), all carriers of N = 3000 by spectra")
def test_every_carrier_of_a_comb_of_3000() -> None:
    counts = counts_by_kind(np.arange(1, 3001), range(1, 3001), 3, "auto")
    found = list(zip(counts[TWO].tolist(), counts[THREE].tolist(), strict=True))
    assert found == [westcott(3000, carrier) for carrier in range(1, 3001)]


@pytest.mark.published("Westcott's closed form: N = 16, carrier 9: 7 and 77; N = 64, carrier 33: 31 and 1457")
@pytest.mark.parametrize(("number", "carrier", "hit"), [(16, 9, (7, 77)), (64, 33, (31, 1457))])
def test_a_carrier_of_a_comb_by_spectra(number: int, carrier: int, hit: tuple[int, int]) -> None:
    counts = counts_by_kind(np.arange(1, number + 1), range(carrier, carrier + 1), 3, "spectra")
    assert (counts[TWO][0], counts[THREE][0]) == hit


# Levels by intercept.


@pytest.mark.arithmetic("third-order intercept (form of ITU-R SM.1134): two at -30 dBm, IIP3 0 dBm: -90 dBm")
@pytest.mark.parametrize("way", ["plain", "loops", "spectra"])
def test_two_tones_by_the_engine(way: Way) -> None:
    power = product_powers_mw(np.array([40, 44]), np.full(2, 1e-3), range(36, 37), 3, 0.0, way)
    assert dbm_from_mw(float(power[0])) == pytest.approx(-90.0, abs=1e-6)


@pytest.mark.arithmetic("power series, 6/4 against 3/4 of a3: three at -30 dBm, IIP3 0 dBm: -84 dBm")
@pytest.mark.parametrize("way", ["plain", "loops", "spectra"])
def test_three_tones_by_the_engine(way: Way) -> None:
    power = product_powers_mw(np.array([40, 44, 57]), np.full(3, 1e-3), range(27, 28), 3, 0.0, way)
    assert dbm_from_mw(float(power[0])) == pytest.approx(-83.98, abs=0.005)


@pytest.mark.arithmetic("definition of the intercept: two carriers at IIPn make a product as strong as they are")
@pytest.mark.parametrize("order", [3, 5, 7])
def test_at_the_intercept_two_carriers_meet_their_product(order: int) -> None:
    level = 10.0 ** (-7.0 / 10.0)
    at = 40 - (order - 1) // 2
    power = product_powers_mw(np.array([40, 41]), np.full(2, level), range(at, at + 1), order, -7.0)
    assert dbm_from_mw(float(power[0])) == pytest.approx(-7.0, abs=1e-9)


# A nonlinearity in time: tones on exact bins of a transform, y = x + a x^n, and the lines that come out.

SAMPLES = 2**17
CENTRE = 6000
POWER_LAW = 1e-3


def through(order: int, offsets: Sequence[int], amplitudes: Sequence[float]) -> FloatArray:
    """Power of every line (half the amplitude squared) behind y = x + a x^n, for tones at CENTRE + offsets."""
    time = np.arange(SAMPLES) / SAMPLES
    phases = np.random.default_rng(1).uniform(0.0, 2.0 * np.pi, len(offsets))
    tones = zip(amplitudes, offsets, phases, strict=True)
    x = sum(a * np.cos(2.0 * np.pi * (CENTRE + k) * time + phase) for a, k, phase in tones)
    lines = np.abs(np.fft.rfft(x + POWER_LAW * np.asarray(x) ** order)) * 2.0 / SAMPLES
    return np.asarray(lines**2 / 2.0)


def intercept_dbm(order: int) -> float:
    """Where the two-carrier product of two equal tones would be as strong as they: A = a 2^(1-n) M A^n."""
    coefficient = POWER_LAW * 2.0 ** (1 - order) * two_carrier_kind(order).multiplicity
    return dbm_from_mw((1.0 / coefficient) ** (2.0 / (order - 1)) / 2.0)


CASES = [
    (3, (0, 1, 7), (1.0, 0.5, 0.8)),
    (3, (0, 3, 11, 40), (1.0, 0.3, 0.7, 0.9)),
    (3, (0, 1, 5, 25, 125), (0.2, 1.0, 0.6, 0.9, 0.4)),
    (5, (0, 1, 9), (1.0, 0.5, 0.8)),
    (5, (0, 1, 11, 97), (1.0, 0.6, 0.8, 0.7)),
    (5, (0, 1, 11, 97, 430), (1.0, 0.6, 0.8, 0.7, 0.9)),
    (7, (0, 1), (1.0, 0.8)),
    (7, (0, 1, 15), (0.9, 1.0, 0.8)),
]


@pytest.mark.arithmetic(
    "simulation in time of y = x + a x^n, n = 3, 5, 7, 2-5 tones: every product that is alone on its line"
)
@pytest.mark.parametrize(("order", "offsets", "amplitudes"), CASES)
def test_a_nonlinearity_in_time(order: int, offsets: Sequence[int], amplitudes: Sequence[float]) -> None:
    lines, carriers = through(order, offsets, amplitudes), np.array(offsets) + CENTRE
    far = order * max(offsets)
    cells = range(CENTRE - far, CENTRE + far + 1)
    levels_mw = np.array(amplitudes) ** 2 / 2.0
    every = sum(counts_by_kind(carriers, cells, order).values(), np.zeros(len(cells), dtype=np.int64))
    # The same power makes products of lower orders too (2A-B+C-C): their lines, and the tones, are left out.
    alone = every == 1
    for lower in range(3, order, 2):
        alone &= sum(counts_by_kind(carriers, cells, lower).values(), np.zeros_like(every)) == 0
    alone[carriers - cells.start] = False
    for kind, powers in powers_by_kind_mw(carriers, levels_mw, cells, order, intercept_dbm(order)).items():
        here = alone & (powers > 0.0)
        assert np.any(here) == (kind.number(len(offsets)) > 0), kind.name
        assert powers[here] == pytest.approx(lines[cells.start : cells.stop][here], rel=1e-6)


@pytest.mark.arithmetic("simulation in time of y = x + a x^3: three equal tones make A+B-C 6.02 dB over their 2A-B")
def test_three_carrier_products_in_time_are_6_db_stronger() -> None:
    lines = through(3, (0, 10, 37), (0.5, 0.5, 0.5))
    two, three = lines[CENTRE - 10], lines[CENTRE + 10 - 37]
    assert 10.0 * np.log10(three / two) == pytest.approx(6.02, abs=0.005)
    assert THREE.over_two_db == pytest.approx(6.02, abs=0.005)


@pytest.mark.arithmetic(
    "simulation in time of y = x + a x^3: products on one line add in power, on the mean of all phases"
)
def test_products_on_one_line_add_in_power() -> None:
    # 2 x 10 - 0, 0 + 30 - 10, 10 + 37 - 27 and 27 + 30 - 37 fall on 20. Each tone but one goes through five phases:
    # no two products differ by a multiple of five turns of all of them, so their beats cancel exactly.
    offsets, amplitudes, samples, centre = (0, 10, 27, 30, 37), (0.9, 0.5, 0.6, 0.7, 0.8), 1024, 100
    time = np.arange(samples) / samples
    phases = np.stack(np.meshgrid([0.0], *[2.0 * np.pi * np.arange(5) / 5] * 4, indexing="ij"), axis=-1).reshape(
        -1, 5
    )
    x = np.zeros((len(phases), samples))
    for tone, (offset, amplitude) in enumerate(zip(offsets, amplitudes, strict=True)):
        x += amplitude * np.cos(2.0 * np.pi * (centre + offset) * time + phases[:, [tone]])
    line = POWER_LAW * x**3 @ np.exp(-2j * np.pi * (centre + 20) * time) * 2.0 / samples
    carriers, levels_mw = np.array(offsets), np.array(amplitudes) ** 2 / 2.0
    power = product_powers_mw(carriers, levels_mw, range(20, 21), 3, intercept_dbm(3))
    assert [int(count[0]) for count in counts_by_kind(carriers, range(20, 21), 3).values()] == [1, 3]
    assert float(np.mean(np.abs(line) ** 2) / 2.0) == pytest.approx(float(power[0]), rel=1e-9)


@pytest.mark.arithmetic("multinomial theorem: orders of the factors of each kind of product, by hand")
@pytest.mark.parametrize(("name", "orders"), [
    ("2A-B", 3), ("A+B-C", 6), ("3A-2B", 10), ("3A-B-C", 20), ("2A+B-2C", 30), ("2A+B-C-D", 60), ("A+B+C-2D", 60),
    ("A+B+C-D-E", 120), ("4A-3B", 35),
])  # fmt: skip
def test_multiplicities(name: str, orders: int) -> None:
    (kind,) = [kind for kinds in KINDS.values() for kind in kinds if kind.name == name]
    assert kind.multiplicity == orders
