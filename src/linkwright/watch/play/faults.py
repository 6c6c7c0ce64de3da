"""Faults of every cause for the simulator: when, how long, how hard, and what each does to a link.

The ranges are PHYSICS' words as numbers and own choices beside them (assumed); "held out" severities lie beyond
those that the rules of diagnosis were set by.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np

from linkwright.watch.log.record import SECOND_NS
from linkwright.watch.play.course import Course
from linkwright.watch.play.effects import KINDS, RAMP_S, PlayedFault

#: What lies on a carrier strikes everybody who is on it.
ON_THE_CARRIER: Final = ("interference", "intermodulation")
#: Quiet time from one fault of a link to the next [s].
APART_S: Final = 60.0


def draw_faults(
    courses: Sequence[Course], causes: Sequence[str], *, seed: int = 1, each_h: float = 6.0, wider: float = 0.0
) -> tuple[PlayedFault, ...]:
    """Seeded faults of these causes, about `each_h` an hour and link, never two at once on a link.

    `wider` stretches every severity's range on both sides by that share: the held-out ones.
    """
    played: list[PlayedFault] = []
    taken: dict[tuple[str, str], int] = {}
    for n, course in enumerate(courses):
        rng = np.random.default_rng([seed, 11, n])
        live = [c for c in courses if c.expected.call == course.expected.call]
        at = course.from_ns + round(float(rng.uniform(40.0, 90.0)) * SECOND_NS)
        deck: list[str] = []
        while causes:
            deck = deck or [causes[i] for i in rng.permutation(len(causes)).tolist()]
            at = max(at, taken.get((course.expected.call, course.expected.link), 0))
            fault = _draw(course, live, deck.pop(), at, rng, wider)
            later = _when_live(course, fault, at)
            if later != at:
                fault = replace(fault, from_ns=later, to_ns=fault.to_ns + later - at)
            if fault.to_ns + round(RAMP_S * 2 * SECOND_NS) > course.to_ns:
                break
            wait = round((APART_S + float(rng.exponential(max(1.0, 3600.0 / each_h - APART_S)))) * SECOND_NS)
            others = *fault.makers, *fault.mates
            if all(taken.get((fault.call, other), 0) <= fault.from_ns for other in others):
                played.append(fault)
                for struck in (fault.link, *others):
                    taken[(fault.call, struck)] = fault.to_ns + round(APART_S * SECOND_NS)
            at = fault.to_ns + wait
    return tuple(sorted(played, key=lambda fault: (fault.from_ns, fault.link)))


def _when_live(course: Course, fault: PlayedFault, at: int) -> int:
    """The begin from which a fault lies in one of the stretches in which the link is live, with its ramps."""
    around = round(2 * RAMP_S * SECOND_NS)
    for start, end in course.expected.spans:
        begin = max(at, start + around)
        if begin + fault.to_ns - at + around <= end:
            return begin
    return at


def _draw(
    course: Course, live: Sequence[Course], cause: str, at: int, rng: np.random.Generator, wider: float
) -> PlayedFault:
    """One fault of a cause; interference in the place of intermodulation where no product falls on the link."""
    makers = makers_on(course, live) if cause == "intermodulation" else ()
    if cause == "intermodulation" and not makers:
        cause = "interference"
    kind = KINDS[cause]
    (short, long), (least, most) = kind.lasts_s, kind.severity
    stretch = wider * (most - least)
    low, high = least - stretch, most + stretch
    if kind.share:
        low, high = max(0.0, low), most if kind.bounded else min(1.0, high)
    severity = float(rng.uniform(max(low, least * 0.75), high))
    length = float(rng.uniform(short, long))
    return PlayedFault(
        course.expected.link, course.expected.call, cause, at, at + round(length * SECOND_NS), severity, makers,
        int(rng.integers(2)), mates_of(course, live) if cause in ON_THE_CARRIER else (),
    )  # fmt: skip


def mates_of(course: Course, live: Sequence[Course]) -> tuple[str, ...]:
    """The other links of the call on its carrier."""
    own = course.expected
    others = (link.expected for link in live if link.expected.link != own.link)
    return tuple(other.link for other in others if other.carrier_khz == own.carrier_khz)


def makers_on(course: Course, live: Sequence[Course]) -> tuple[str, ...]:
    """The two other links of the call whose product 2A-B comes nearest to this one's carrier, if it reaches it."""
    own = course.expected
    reach = (3 * own.bandwidth_khz + own.bandwidth_khz) / 2.0
    best: tuple[float, tuple[str, ...]] | None = None
    by_carrier = {link.expected.carrier_khz: link.expected for link in reversed(live)}  # links of a block have one
    others = [other for other in reversed(by_carrier.values()) if other.carrier_khz != own.carrier_khz]
    for a, b in itertools.permutations(others, 2):
        away = abs(2 * a.carrier_khz - b.carrier_khz - own.carrier_khz)
        if away <= reach and (best is None or away < best[0]):
            best = (away, (a.link, b.link))
    return () if best is None else best[1]
