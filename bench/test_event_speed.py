"""Whole events: 50, 500 and 3000 links on 5, 30 and 150 sites; baseline: the event of 500.

`cost_a_link_over_500` is the time a link takes, all its calls together, over that in the event of 500 in the same
run: 1 is linear growth.
"""

from __future__ import annotations

import resource
import time

import pytest
from bench.events import event
from pytest_benchmark.fixture import BenchmarkFixture

from linkwright.plan.pipeline import make_plan
from linkwright.shoot.models import Shoot

SIZES = {"50 on 5": (50, 5), "500 on 30": (500, 30), "3000 on 150": (3000, 150)}


def seconds(shoot: Shoot, effort: float) -> float:
    begun = time.perf_counter()
    make_plan(shoot, {}, effort=effort)
    return time.perf_counter() - begun


@pytest.mark.parametrize("effort", [0.0, 0.25], ids=["first", "improved"])
@pytest.mark.parametrize("name", list(SIZES))
def test_event(benchmark: BenchmarkFixture, name: str, effort: float) -> None:
    links, sites = SIZES[name]
    small, large = event(500, 30), event(links, sites)
    make_plan(event(50, 5), {}, effort=effort)  # the compiled loops are loaded
    a_link_s = seconds(small, effort) / 500
    plan = benchmark.pedantic(make_plan, args=(large, {}), kwargs={"effort": effort}, rounds=1)
    assert not any(call.unplaced for call in plan.calls)
    assert benchmark.stats is not None
    benchmark.extra_info["cost_a_link_over_500"] = float(benchmark.stats["min"]) / links / a_link_s
    benchmark.extra_info["process_MiB"] = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
