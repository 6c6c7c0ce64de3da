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


def blocked(count: int, guard_khz: int, block_khz: int = 2_000, seed: int = 1) -> Problem:
    """So many links of one kind on 200 MHz of which 60 % are taken, block by block, at random."""
    blocks = 200_000 // block_khz
    left = np.sort(np.random.default_rng(seed).permutation(blocks)[: round(0.4 * blocks)])
    slots = np.concatenate([500_000 + n * block_khz + np.arange(0, block_khz, 25, dtype=np.int64) for n in left])
    wishes = tuple(Wish(f"L{n}", slots, np.zeros(slots.size), 350) for n in range(count))
    return Problem(wishes, (tuple(range(count)),), guard_khz, guard_khz)


CASES = {
    "15 in 24 MHz, 125/375, on carrier": alike(15, 24_000, 125, 375, 1),
    "38 in 48 MHz, 25/350, on carrier": alike(38, 48_000, 25, 350, 1),
    "39 in 48 MHz, 25/350, on carrier": alike(39, 48_000, 25, 350, 1),
    "21 in 48 MHz, 25/350, guard 100": alike(21, 48_000, 25, 350, 100),
    "22 in 48 MHz, 25/350, guard 100": alike(22, 48_000, 25, 350, 100),
    "56 in 200 MHz, 60 % blocked, on carrier": blocked(56, 1),
    "34 in 200 MHz, 60 % blocked, guard 100": blocked(34, 100),
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


def test_plan_a_mixed_fleet_of_50(benchmark: BenchmarkFixture) -> None:
    kinds = (("uhf-body-worn", 25), ("uhf-plug-on", 10), ("uhf-handheld", 15))
    fleet = "".join(links(count, kind).replace('"L', f'"{kind} ') for kind, count in kinds)
    mixed = shoot(fleet, HEADER.replace('["gb-coordinated"]', '["gb-coordinated", "gb-shared"]'))
    plan = benchmark.pedantic(make_plan, args=(mixed, {}), rounds=3, warmup_rounds=1)
    assert len(plan.calls[0].links) == 50


def test_plan_again_with_one_of_thirty_hit(benchmark: BenchmarkFixture) -> None:
    thirty = pocket("[[470.0, 606.0]]") + links(30)
    before = make_plan(shoot(thirty), {})
    hit = before.calls[0].links[7].carrier_khz / 1000
    crew = f'[[other]]\nname = "Crew"\ncarrier_mhz = {hit}\nradiated_mw = 50\nat = {{ x_m = 40, y_m = 4 }}\n'
    now = shoot(thirty + crew)
    plan = benchmark.pedantic(make_plan, args=(now, {}, before), rounds=5, warmup_rounds=1)
    assert [move.link for move in plan.moves] == ["L8"]
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
