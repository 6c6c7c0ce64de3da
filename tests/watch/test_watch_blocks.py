"""Links that share one carrier: what lies on it strikes them all, and they make no products of each other."""

from __future__ import annotations

import functools
import itertools

import numpy as np
from tests.plan.ends import two_ends
from tests.plan.test_plan_ends import US, actors

from linkwright.desk.expecting import courses_of
from linkwright.plan.chain import scene_of
from linkwright.plan.pipeline import make_plan
from linkwright.watch.diagnose.company import Company
from linkwright.watch.diagnose.products import NO_PRODUCT, products_on
from linkwright.watch.log.record import QUALITY
from linkwright.watch.play.course import Course
from linkwright.watch.play.effects import CAUSES
from linkwright.watch.play.faults import draw_faults, makers_on
from linkwright.watch.play.simulate import simulate

CALL = """
[[call]]
name = "Show"
site = "Stage"
from = 10:00:00
to = 10:20:00
links = ["A1", "A2", "A3", "A4", "A5"]
"""


@functools.cache
def courses() -> tuple[Course, ...]:
    shoot = two_ends(actors(5) + CALL, US)
    return courses_of(scene_of(shoot, {}), make_plan(shoot, {}), shoot, None)


def test_interference_on_a_block_strikes_everybody_in_it() -> None:
    faults = draw_faults(courses(), ("interference",), seed=2)
    assert faults
    mates = {"A1": ("A2",), "A2": ("A1",), "A3": ("A4",), "A4": ("A3",), "A5": ()}
    assert all(fault.mates == mates[fault.link] for fault in faults)
    hit = next(fault for fault in faults if fault.mates)
    quality: dict[str, list[float]] = {}
    for batch in simulate(courses(), (hit,), seed=2):
        inside = (batch.time_ns >= hit.from_ns) & (batch.time_ns < hit.to_ns)
        for n, name in enumerate(batch.names):
            quality.setdefault(name, []).extend(batch.values[inside & (batch.link == n), QUALITY].tolist())
    mean = {name: float(np.mean(values)) for name, values in quality.items()}
    struck = {hit.link, *hit.mates}
    assert max(mean[name] for name in struck) < 0.5
    assert min(mean[name] for name in mean if name not in struck) > 0.9


def test_two_faults_never_strike_one_link_at_once() -> None:
    faults = draw_faults(courses(), CAUSES, seed=5, each_h=30.0)
    for name in (course.expected.link for course in courses()):
        mine = sorted((f.from_ns, f.to_ns) for f in faults if name in (f.link, *f.mates, *f.makers))
        assert all(a[1] <= b[0] for a, b in itertools.pairwise(mine))


def test_who_shares_a_carrier_makes_no_product_of_it() -> None:
    carriers = {course.expected.link: course.expected.carrier_khz for course in courses()}
    for course in courses():
        makers = makers_on(course, courses())
        assert len({carriers[name] for name in makers}) == len(makers)
        assert course.expected.carrier_khz not in {carriers[name] for name in makers}


def test_the_watch_blames_no_mate_and_no_pair_of_one_block() -> None:
    names = ("A2", "A3", "B1", "B2")
    level = np.array([-40.0, -42.0, -44.0, -46.0])
    company = Company(names, level, level, level)
    carriers = {"A2": 500_000, "A3": 500_000, "B1": 530_000, "B2": 530_000}
    found = products_on(
        500_000,
        6_000,
        company,
        carriers,
        dict.fromkeys(names, -95.0),
        True,
        lambda some: np.ones((4, len(some)), bool),
    )
    assert found.fit == NO_PRODUCT
    assert found.makers == ()
