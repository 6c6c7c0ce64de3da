"""A long event of 20 000 assignments: first complete plan, every link proved, the verifier heard; baseline: 3000.

`cost_a_link_over_3000` is the processor time an assignment takes over that in the event of 3000 in the same run.
What changes afterwards is told as shares of the first plan: somebody on a carrier, a crew of eight, a venue.
"""

from __future__ import annotations

import resource
import time
from collections import Counter
from collections.abc import Callable

import numpy as np
import pytest
from bench.long_event import long_event
from pytest_benchmark.fixture import BenchmarkFixture
from tests.plan.by_level import assignments, from_elsewhere

from linkwright.plan.chain import scene_of
from linkwright.plan.changes import changes
from linkwright.plan.hit import stranger
from linkwright.plan.legs import plan_in_pieces
from linkwright.plan.pieces import Pieces
from linkwright.plan.replan import hit_by, replan
from linkwright.shoot.models import Call, Crew, Shoot
from linkwright.work.carriers import on_processes


def cpu_s(work: Callable[[], object]) -> float:
    begun = time.process_time()
    work()
    return time.process_time() - begun


def planned(assignments: int) -> Pieces:
    return plan_in_pieces(scene_of(long_event(assignments), {}))


@pytest.fixture(scope="module")
def event() -> tuple[Shoot, Pieces, float]:
    planned(1200)  # the compiled loops are loaded
    kept: list[Pieces] = []
    took_s = cpu_s(lambda: kept.append(planned(20_000)))
    return kept[0].scene.shoot, kept[0], took_s


def test_first_plan(benchmark: BenchmarkFixture, event: tuple[Shoot, Pieces, float]) -> None:
    _, pieces, took_s = event
    small_s = cpu_s(lambda: planned(3000))
    plan = benchmark.pedantic(lambda: pieces.plan, rounds=1)
    assert sum(len(call.links) for call in plan.calls) == 20_000
    benchmark.extra_info["processor_s"] = round(took_s, 1)
    verdicts = Counter(link.verdict for call in plan.calls for link in call.links)
    benchmark.extra_info["holding"] = verdicts["holds"]
    benchmark.extra_info["cost_a_link_over_3000"] = (took_s / 20_000) / (small_s / 3000)
    benchmark.extra_info["process_MiB"] = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def test_a_sample_by_plain_loops(benchmark: BenchmarkFixture, event: tuple[Shoot, Pieces, float]) -> None:
    """What other venues bring 200 links drawn from all, by loops over every assignment in other code."""
    _, pieces, _ = event
    every = list(assignments(pieces.scene, pieces.plan))
    sent = [one for one, _ in every]
    drawn = np.random.default_rng(7).choice(len(every), 200, replace=False)

    def check() -> None:
        for n in drawn.tolist():
            at, link = every[n]
            rows = [row for row in link.ledger.rows if row.part.startswith("links at ")]
            found = from_elsewhere(pieces.scene, sent, at, link)
            assert {row.part.removeprefix("links at "): row.dbm for row in rows} == pytest.approx(found, abs=0.05)

    benchmark.pedantic(check, rounds=1)


def test_two_workers(benchmark: BenchmarkFixture, event: tuple[Shoot, Pieces, float]) -> None:
    """The same plan on two processes: how many times as fast, by the clock (`over_one_worker`)."""
    shoot, pieces, _ = event
    with on_processes(2) as run:
        plan_in_pieces(scene_of(long_event(3000), {}), run=run)  # they have loaded what they need
        made = benchmark.pedantic(lambda: plan_in_pieces(scene_of(shoot, {}), run=run), rounds=1, iterations=1)
    begun = time.perf_counter()
    plan_in_pieces(scene_of(shoot, {}))
    one_s = time.perf_counter() - begun
    assert made.plan == pieces.plan
    assert benchmark.stats is not None
    benchmark.extra_info["over_one_worker"] = one_s / float(benchmark.stats["min"])


@pytest.mark.parametrize("what", ["hit", "crew", "venue"])
def test_again(benchmark: BenchmarkFixture, event: tuple[Shoot, Pieces, float], what: str) -> None:
    shoot, pieces, took_s = event
    largest = max(pieces.calls.values(), key=lambda call: len(call.links))
    like = next(call for call in shoot.call if call.name == largest.call)
    same_day = {call.name for call in shoot.call if call.site == like.site and call.date == like.date}

    def hit() -> Pieces:
        other = stranger(shoot, largest.links[0].carrier_khz, heard_dbm=-60.0, site=largest.site)
        return replan(pieces, hit_by(pieces.scene, other)[0], [largest.call], effort=0.0)

    def crew() -> Pieces:
        links = tuple(shoot.link[0].model_copy(update={"name": f"New {n}", "crew": "New"}) for n in range(8))
        call = Call.model_validate({
            "name": "New", "crew": "New", "site": like.site, "date": like.date, "from": like.starts,
            "to": like.ends, "links": tuple(link.name for link in links),
        })  # fmt: skip
        more = {"crew": (*shoot.crew, Crew(name="New")), "link": (*shoot.link, *links), "call": (*shoot.call, call)}
        changed = changes(pieces.scene, scene_of(shoot.model_copy(update=more), {}))
        assert changed is not None
        return replan(pieces, changed.scene, changed.calls, effort=0.0)

    def venue() -> Pieces:
        return replan(pieces, pieces.scene, same_day, effort=0.0)

    work = {"hit": hit, "crew": crew, "venue": venue}[what]
    benchmark.pedantic(work, rounds=3)
    assert benchmark.stats is not None
    benchmark.extra_info["share_of_the_first_plan"] = float(benchmark.stats["min"]) / took_s
