"""The hunt on planted cases of interference: twenty on which it was looked at, twenty that nobody had seen before.

It was developed on even seeds. The first twenty odd ones were counted once before that (14 first, 17 among three).
"""

from __future__ import annotations

import pytest
from bench.long_event import long_event
from pytest_benchmark.fixture import BenchmarkFixture
from tests.plan.test_hunt import place_of

from linkwright.plan.chain import scene_of
from linkwright.plan.legs import plan_in_pieces
from linkwright.plan.pieces import Pieces


@pytest.fixture(scope="module")
def event() -> Pieces:
    return plan_in_pieces(scene_of(long_event(400, seed=5), {}), effort=0.0)


@pytest.mark.parametrize("first", [1, 41], ids=["counted before", "never seen"])
def test_twenty_planted_cases(benchmark: BenchmarkFixture, event: Pieces, first: int) -> None:
    places = benchmark.pedantic(
        lambda: [place_of(event, seed)[0] for seed in range(first, first + 40, 2)], rounds=1
    )
    benchmark.extra_info["first"] = sum(place == 1 for place in places)
    benchmark.extra_info["among_three"] = sum(place <= 3 for place in places)
    assert benchmark.extra_info["first"] >= 16
    assert benchmark.extra_info["among_three"] >= 19
