"""A re-plan: the fewest moves that any plan with the same verdicts has, each with its reason."""

from __future__ import annotations

import itertools
from collections.abc import Sequence

import numpy as np
import pytest
from tests.plan.shoots import HEADER, pocket, shoot

from linkwright.assign.regain import DEAD_DB
from linkwright.plan.chain import Scene, scene_of
from linkwright.plan.model import Plan
from linkwright.plan.pipeline import make_plan
from linkwright.plan.prove import CallToProve, Standing, prove, verdict
from linkwright.plan.radio import narrow
from linkwright.plan.site import RANKS, SiteProblem, Slots, site_problem
from linkwright.shoot.models import Shoot
from linkwright.units import IntArray

SITE = """
[[site]]
name = "Yard"
surroundings = "open"
spots = [
  { name = "Cart", x_m = 0, y_m = 0 }, { name = "Gate", x_m = 12, y_m = 0 }, { name = "Shed", x_m = 25, y_m = 9 },
]
"""


def link(name: str, spot: str) -> str:
    return f'[[link]]\nname = "{name}"\ntransmitter = "pocket"\nreceiver = "rx"\nat = "Cart"\nroute = ["{spot}"]\n'


def other(name: str, khz: int, mw: float, x_m: float) -> str:
    return (
        f'[[other]]\nname = "{name}"\ncarrier_mhz = {khz / 1000}\nradiated_mw = {mw}\n'
        f'site = "Yard"\nat = {{ x_m = {x_m}, y_m = 3 }}\n'
    )


#: 1.9 MHz within one TV channel in steps of 100 kHz: so few slots that every combination of moves can be tried.
KIT = pocket("[[526.1, 528.0]]", "raster_khz = 100\nspacing_khz = 400\npowers_mw = [5, 20]") + (
    '[receiver.rx]\nuse = "uhf-cart-rack"\n'
)
LINKS = link("Pilot", "Gate") + link("Cook", "Shed") + link("Mate", "Gate")


def hit(seed: int) -> tuple[Shoot, Plan, Shoot]:
    """A small shoot, its plan, and the same shoot with somebody on or beside a carrier of it."""
    draw = np.random.default_rng(seed)
    before = shoot(SITE + KIT + LINKS, HEADER)
    plan = make_plan(before, {})
    victim = plan.calls[0].links[int(draw.integers(3))].carrier_khz
    beside = int(draw.choice([0, 0, 0, 100, 250, 700]))
    level = float(draw.choice([0.01, 1.0, 50.0, 250.0]))
    theirs = other("Stranger", victim + beside, level, float(draw.uniform(2.0, 90.0)))
    return before, plan, shoot(SITE + KIT + LINKS + theirs, HEADER)


def ranks(scene: Scene, problem: SiteProblem, carriers_khz: Sequence[int]) -> IntArray:
    """The verdicts of the three links on these carriers."""
    standing = tuple(
        Standing.of(chain, tuning, khz)
        for chain, tuning, khz in zip(problem.chains, problem.tunings, carriers_khz, strict=True)
    )
    proofs = prove(CallToProve(standing, narrow(scene.others_during(problem.calls[0]))))
    return np.array([RANKS[verdict(p.told.sure, 0.9)] - (p.told.median_db < -DEAD_DB) for p in proofs])


def least_moves(scene: Scene, problem: SiteProblem, home: Sequence[int], wanted: IntArray, below: int) -> int:
    """The fewest moves, fewer than `below`, with which everybody has at least these verdicts; else `below`."""
    for moves in range(below):
        for moving in itertools.combinations(range(3), moves):
            slots = [problem.tunings[i].carriers_khz[problem.tunings[i].legal].tolist() for i in moving]
            for given in itertools.product(*slots):
                carriers = list(home)
                for i, khz in zip(moving, given, strict=True):
                    carriers[i] = khz
                pairs = itertools.combinations(carriers, 2)
                if min(abs(a - b) for a, b in pairs) >= 400 and bool(
                    (ranks(scene, problem, carriers) >= wanted).all()
                ):
                    return moves
    return below


def carriers_of(plan: Plan, problem: SiteProblem) -> list[int]:
    """The carriers of a plan's first call in the order of the problem's links."""
    khz = {link.link: link.carrier_khz for link in plan.calls[0].links}
    return [khz[chain.link.name] for chain in problem.chains]


@pytest.mark.parametrize("batch", range(4))
def test_no_plan_with_the_same_verdicts_moves_fewer(batch: int) -> None:
    """60 hits in four parts (200 passed when this was written); every combination of fewer moves is proved."""
    for seed in range(15 * batch, 15 * batch + 15):
        _, plan, after = hit(seed)
        again = make_plan(after, {}, plan)
        scene = scene_of(after, {})
        problem = site_problem(scene, scene.used_sites[0], Slots.of(scene), {})
        home, now = (carriers_of(each, problem) for each in (plan, again))
        moved = sum(a != b for a, b in zip(home, now, strict=True))
        wanted = ranks(scene, problem, now)
        assert least_moves(scene, problem, home, wanted, moved) == moved, seed
        assert len(again.moves) == moved
        assert all(move.because for move in again.moves), seed


def test_a_call_in_any_order_of_its_links_is_no_call_elsewhere() -> None:
    body = SITE.replace("Shed", "Loft") + pocket("[[518.0, 542.0]]")
    body += "".join(link(name, "Gate") for name in ("Pilot", "Cook", "Ada"))
    body = body.replace('receiver = "rx"', 'receiver = "uhf-camera-slot"')
    scene = scene_of(shoot(body), {})
    problem = site_problem(scene, scene.used_sites[0], Slots.of(scene), {}).problem
    assert (problem.calls, problem.elsewhere) == (((0, 1, 2),), ()), "it would be weighed twice"


def test_one_hit_moves_one_link_and_says_who_is_there() -> None:
    body = SITE.replace("Shed", "Loft") + pocket("[[518.0, 542.0]]") + link("Pilot", "Gate") + link("Cook", "Gate")
    body = body.replace('receiver = "rx"', 'receiver = "uhf-camera-slot"')
    plan = make_plan(shoot(body), {})
    home = {link.link: link.carrier_khz for link in plan.calls[0].links}
    again = make_plan(shoot(body + other("Stranger", home["Pilot"], 1, 60)), {}, plan)
    (move,) = again.moves
    assert move.link == "Pilot"
    assert "Stranger at -" in move.because
    (pilot, cook) = again.calls[0].links
    assert cook.carrier_khz == home["Cook"]
    spare = plan.calls[0].links[0].spares_khz[0]
    assert pilot.carrier_khz == spare, "the spare that it was given serves"
    for khz in (*pilot.spares_khz, *cook.spares_khz):
        assert abs(khz - home["Pilot"]) >= 400, "no spare beside the stranger"
