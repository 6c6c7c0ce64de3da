"""How long the assignment takes on the cases of the design, and what it reaches; baseline: one greedy pass."""

from __future__ import annotations

import time
import tracemalloc

import numpy as np
import pytest
from pytest_benchmark.fixture import BenchmarkFixture
from tests.plan.shoots import HEADER, links, pocket, shoot

from linkwright.assign.clean import find_clean, place_greedily
from linkwright.assign.problem import Problem, Wish, grid_of
from linkwright.assign.search import solve
from linkwright.assign.state import State
from linkwright.plan.pipeline import make_plan


def alike(count: int, span_khz: int, raster_khz: int, spacing_khz: int, guard_khz: int, spares: int = 0) -> Problem:
    """So many links of one kind on a free span."""
    slots = np.arange(500_000, 500_000 + span_khz + 1, raster_khz, dtype=np.int64)
    rise = np.zeros(slots.size)
    wishes = tuple(Wish(f"L{n}", slots, rise, spacing_khz, spares) for n in range(count))
    return Problem(wishes, (tuple(range(count)),), guard_khz, guard_khz)


def least_s(benchmark: BenchmarkFixture) -> float:
    """The shortest round [s]."""
    assert benchmark.stats is not None
    return float(benchmark.stats["min"])


CASES = {
    "15 in 24 MHz, 125/375, on carrier": alike(15, 24_000, 125, 375, 1),
    "38 in 48 MHz, 25/350, on carrier": alike(38, 48_000, 25, 350, 1),
    "39 in 48 MHz, 25/350, on carrier": alike(39, 48_000, 25, 350, 1),
    "21 in 48 MHz, 25/350, guard 100": alike(21, 48_000, 25, 350, 100),
    "22 in 48 MHz, 25/350, guard 100": alike(22, 48_000, 25, 350, 100),
}


@pytest.mark.parametrize("name", list(CASES))
def test_clean_sets(benchmark: BenchmarkFixture, name: str) -> None:
    problem = CASES[name]
    grid = grid_of(problem)
    find_clean(problem, grid)  # the compiled loops are loaded
    found = benchmark.pedantic(find_clean, args=(problem, grid), rounds=3)
    assert found.cells is not None
    begun = time.perf_counter()
    place_greedily(State(problem, grid), lambda _state, _link, free: int(free[0]))
    benchmark.extra_info["times_one_greedy_pass"] = least_s(benchmark) / (time.perf_counter() - begun)


def test_plan_a_dozen_warm(benchmark: BenchmarkFixture) -> None:
    dozen = shoot(pocket("[[518.0, 566.0]]") + links(12))
    plan = benchmark.pedantic(make_plan, args=(dozen, {}), rounds=5, warmup_rounds=1)
    assert plan.all_hold


def test_200_links_on_one_site(benchmark: BenchmarkFixture) -> None:
    many = shoot(
        links(200, "uhf-body-worn"), HEADER.replace('["gb-coordinated"]', '["gb-coordinated", "gb-shared"]')
    )
    make_plan(many, {})
    tracemalloc.start()
    make_plan(many, {})
    benchmark.extra_info["peak_MiB_traced"] = tracemalloc.get_traced_memory()[1] / 2**20
    tracemalloc.stop()
    plan = benchmark.pedantic(make_plan, args=(many, {}), rounds=2)
    assert len(plan.calls[0].links) == 200


def test_solve_a_dozen_with_spares(benchmark: BenchmarkFixture) -> None:
    problem = alike(12, 48_000, 25, 350, 100, spares=1)
    answer = benchmark.pedantic(solve, args=(problem,), rounds=5, warmup_rounds=1)
    assert answer.criterion == "clean"
