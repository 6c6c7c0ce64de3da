"""Maps of products over 470-960 MHz at 25 kHz: spectra against enumeration, and what the rule between them takes.

Baseline: the compiled enumeration of the same run. Levels are -90 to 0 dBm, IIPn 0 dBm. About 40 s.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from pytest_benchmark.fixture import BenchmarkFixture

from linkwright.physics.intermodulation import (
    Tally,
    power_in_filters_mw,
    product_counts,
    product_powers_mw,
    products_in_band,
)
from linkwright.physics.intermodulation.maps import Way
from linkwright.physics.masks import off_channel_share
from linkwright.units import FloatArray, IntArray

#: 470 to 960 MHz at 25 kHz.
CELLS = range(19_601)
#: Largest share of enumeration's time that is asked for at 3000 carriers.
ASKED = 1.0 / 2000.0


def carriers_of(number: int) -> tuple[IntArray, FloatArray]:
    draw = np.random.default_rng(number)
    cells = np.sort(draw.choice(len(CELLS), number, replace=False))
    return cells, 10.0 ** (draw.uniform(-90.0, 0.0, number) / 10.0)


def count(number: int, order: int, way: Way) -> Callable[[], Any]:
    carriers, _ = carriers_of(number)
    return lambda: product_counts(carriers, CELLS, order, way)


def weigh(number: int, order: int, way: Way) -> Callable[[], Any]:
    carriers, levels = carriers_of(number)
    return lambda: product_powers_mw(carriers, levels, CELLS, order, 0.0, way)


def least_s(run: Callable[[], Any], rounds: int) -> float:
    """The shortest of some rounds [s]."""
    took = []
    for _ in range(rounds):
        begun = time.perf_counter()
        run()
        took.append(time.perf_counter() - begun)
    return min(took)


def against_enumeration(
    benchmark: BenchmarkFixture,
    capsys: pytest.CaptureFixture[str],
    what: Callable[[int, int, Way], Callable[[], Any]],
    number: int,
    order: int,
    way: Way,
) -> float:
    """The ratio of a way's time to that of the compiled loops, printed and kept."""
    what(40, order, "loops")()  # the compiled loops are loaded
    benchmark.pedantic(what(number, order, way), rounds=15, warmup_rounds=2)
    assert benchmark.stats is not None
    took_s = float(benchmark.stats["min"])
    loops_s = least_s(what(number, order, "loops"), 1 if number > 1000 else 7)
    ratio = took_s / loops_s
    benchmark.extra_info.update(enumeration_s=loops_s, times_enumeration=ratio)
    with capsys.disabled():
        print(f"\n{number} carriers, order {order}, {what.__name__} by {way}: {1e3 * took_s:.2f} ms, ", end="")
        print(f"enumeration {1e3 * loops_s:.2f} ms, ratio {ratio:.3g}", end="")
    return ratio


@pytest.mark.parametrize("what", [count, weigh])
@pytest.mark.parametrize("number", [100, 1000, 3000])
def test_third_order_map_by_spectra(
    benchmark: BenchmarkFixture,
    capsys: pytest.CaptureFixture[str],
    number: int,
    what: Callable[[int, int, Way], Callable[[], Any]],
) -> None:
    ratio = against_enumeration(benchmark, capsys, what, number, 3, "spectra")
    assert number < 3000 or ratio <= ASKED


@pytest.mark.parametrize("what", [count, weigh])
@pytest.mark.parametrize(
    ("number", "order"), [(40, 3), (60, 3), (100, 3), (200, 3), (500, 3), (12, 5), (60, 5), (500, 7)]
)
def test_map_by_the_rule(
    benchmark: BenchmarkFixture,
    capsys: pytest.CaptureFixture[str],
    number: int,
    order: int,
    what: Callable[[int, int, Way], Callable[[], Any]],
) -> None:
    against_enumeration(benchmark, capsys, what, number, order, "auto")


@pytest.mark.parametrize("number", [50, 300, 1000])
def test_one_carrier_more_and_less(benchmark: BenchmarkFixture, number: int) -> None:
    carriers, levels = carriers_of(number + 1)
    tally = Tally(CELLS, 3, 0.0)
    tally.set(carriers[1:], levels[1:])

    def change() -> None:
        tally.add(int(carriers[0]), float(levels[0]))
        tally.remove(int(carriers[0]))

    benchmark.pedantic(change, rounds=15, warmup_rounds=1)
    anew = least_s(weigh(number, 3, "auto"), 3) + least_s(count(number, 3, "auto"), 3)
    assert benchmark.stats is not None
    benchmark.extra_info["change_times_map_anew"] = float(benchmark.stats["min"]) / 2.0 / anew


@pytest.mark.parametrize("number", [12, 30, 100, 300])
def test_products_in_one_filter(benchmark: BenchmarkFixture, number: int) -> None:
    carriers, levels = carriers_of(number)
    arguments = 470_000 + 25 * carriers, np.full(number, 200.0), levels * 1e-2, 715_000, 200.0, -5.0, 1e-13
    benchmark.pedantic(products_in_band, args=arguments, rounds=15, warmup_rounds=1)


def test_filters_of_a_whole_band_with_mixed_widths(benchmark: BenchmarkFixture) -> None:
    carriers, levels = carriers_of(300)
    widths = np.where(np.arange(300) % 4 == 0, 25.0, 200.0)
    arguments = carriers, widths, levels, CELLS, 25.0, 200.0, 3, 0.0
    benchmark.pedantic(power_in_filters_mw, args=arguments, rounds=5, warmup_rounds=1)


def test_rejection_at_two_hundred_offsets(benchmark: BenchmarkFixture) -> None:
    offsets = np.arange(0.0, 5000.0, 25.0)
    benchmark.pedantic(off_channel_share, args=(offsets, 200.0, 200.0), rounds=15, warmup_rounds=1)
