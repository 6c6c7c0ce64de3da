"""Plain loops over carriers in whole kHz: the tests' own reading of what a plan promises, sharing no code with src.

Everything here is written to be read, not to be fast: products by three nested loops, no sorting, no numpy.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from hypothesis import strategies as st

from linkwright.assign.problem import Assignment, Problem, Wish
from linkwright.units import FloatArray, IntArray


@dataclass(frozen=True)
class Stand:
    """A link of one call as these loops see it."""

    name: str
    carrier_khz: int
    spares_khz: tuple[int, ...]
    spacing_khz: int
    allowed_khz: frozenset[int]


def hits(in_use: Sequence[int], victim_khz: int, guard_two_khz: int, guard_three_khz: int) -> int:
    """Products of distinct carriers that come nearer to the victim than their guard."""
    count = 0
    for i in range(len(in_use)):
        for j in range(len(in_use)):
            if i == j:
                continue
            if abs(2 * in_use[i] - in_use[j] - victim_khz) < guard_two_khz:
                count += 1
            for k in range(len(in_use)):
                if i < j and k not in (i, j):
                    count += abs(in_use[i] + in_use[j] - in_use[k] - victim_khz) < guard_three_khz
    return count


@dataclass(frozen=True)
class Faults:
    """How many things are wrong with a call, by kind."""

    off: int
    near: int
    hit: int
    hit_after_a_move: int

    @property
    def count(self) -> int:
        """All together."""
        return self.off + self.near + self.hit + self.hit_after_a_move


def faults(
    links: Sequence[Stand], clean: bool, guard_two_khz: int, guard_three_khz: int, others: Sequence[int] = ()
) -> Faults:
    """What is wrong with a call, by what a plan promises."""
    every = [(link, carrier) for link in links for carrier in (link.carrier_khz, *link.spares_khz)]
    off = sum(carrier not in link.allowed_khz for link, carrier in every)
    near = 0
    for (a, low), (b, high) in itertools.combinations(every, 2):
        near += abs(low - high) < max(a.spacing_khz, b.spacing_khz)
    if not clean:
        return Faults(off, near, 0, 0)
    in_use = [link.carrier_khz for link in links]
    hit = sum(hits([*in_use, *others], carrier, guard_two_khz, guard_three_khz) for _, carrier in every)
    after = 0
    for n, link in enumerate(links):
        if link.spares_khz:
            moved = [*in_use[:n], link.spares_khz[0], *in_use[n + 1 :]]
            after += sum(hits([*moved, *others], carrier, guard_two_khz, guard_three_khz) for carrier in moved)
    return Faults(off, near, hit, after)


def stands(problem: Problem, found: Assignment, call: Sequence[int]) -> list[Stand]:
    """The placed links of a call."""
    return [
        Stand(
            problem.wishes[i].name,
            carrier,
            found.spares_khz[i],
            problem.wishes[i].spacing_khz,
            frozenset(problem.wishes[i].slots_khz.tolist()),
        )
        for i in call
        if (carrier := found.carriers_khz[i]) is not None
    ]


def clean_exists(problem: Problem) -> bool:
    """Whether some choice of slots is clean in every call (spares aside), by going through all of them."""
    choices = [
        [wish.locked_khz] if wish.locked_khz is not None else wish.slots_khz.tolist() for wish in problem.wishes
    ]
    return any(_clean(problem, carriers) for carriers in itertools.product(*choices))


def _clean(problem: Problem, carriers: Sequence[int]) -> bool:
    for n, call in enumerate(problem.calls):
        for a, b in itertools.combinations(call, 2):
            spacing = max(problem.wishes[a].spacing_khz, problem.wishes[b].spacing_khz)
            if abs(carriers[a] - carriers[b]) < spacing:
                return False
        in_use = [carriers[i] for i in call]
        on = [*in_use, *problem.makers_in(n)]
        if any(hits(on, victim, problem.guard_two_khz, problem.guard_three_khz) for victim in in_use):
            return False
    return True


def most_clean(slots_khz: Sequence[int], spacing_khz: int, guard_two_khz: int, guard_three_khz: int) -> int:
    """The size of the largest clean set on these slots, by going through all sets."""

    def larger(chosen: list[int], start: int) -> int:
        best = len(chosen)
        for n in range(start, len(slots_khz)):
            if best >= len(chosen) + len(slots_khz) - n:
                break
            tried = [*chosen, slots_khz[n]]
            apart = not chosen or slots_khz[n] - chosen[-1] >= spacing_khz
            if apart and not any(hits(tried, victim, guard_two_khz, guard_three_khz) for victim in tried):
                best = max(best, larger(tried, n + 1))
        return best

    return larger([], 0)


@st.composite
def problems(
    draw: st.DrawFn,
    *,
    most_links: int = 6,
    most_slots: int = 60,
    most_spares: int = 2,
    locks: bool = True,
    keeps: bool = False,
    empty: bool = False,
    guards: tuple[int, ...] = (0, 1, 25, 50, 100, 130),
    most_makers: int = 2,
    between: bool = False,
) -> Problem:
    """A small problem: up to three types (raster, blocked slots, spacing), links of them, up to three calls."""
    types = draw(st.lists(_types(most_slots, empty), min_size=1, max_size=3))
    count = draw(st.integers(1, most_links))
    wishes = []
    for n in range(count):
        slots, rise, spacing = types[draw(st.integers(0, len(types) - 1))]
        near = st.integers(599_990, 600_500)
        some = st.sampled_from(slots.tolist()) if slots.size else near
        wishes.append(
            Wish(
                f"link {n}",
                slots,
                rise,
                spacing,
                spares=draw(st.integers(0, most_spares)),
                locked_khz=draw(some) if locks and slots.size and draw(st.integers(0, 3)) == 0 else None,
                keep_khz=draw(st.none() | some | near) if keeps else None,
                keep_spares_khz=tuple(draw(st.lists(some | near, max_size=2))) if keeps else (),
            )
        )
    everybody = st.lists(st.integers(0, count - 1), min_size=1, max_size=count, unique=True)
    calls = [tuple(sorted(call)) for call in draw(st.lists(everybody, max_size=3))]
    missing = tuple(i for i in range(count) if not any(i in call for call in calls))
    if missing or not calls:
        calls.append(missing or tuple(range(count)))
    guard_two = draw(st.sampled_from(guards))
    guard_three = draw(st.sampled_from([guard for guard in guards if guard <= guard_two]))
    offs = [0, 7, 12] if between else [0]
    every = sorted({int(khz) for wish in wishes for khz in wish.slots_khz}) or [600_000]
    makers = tuple(tuple(draw(_makers(every, most_makers, offs, guard_two))) for _ in calls)
    return Problem(tuple(wishes), tuple(calls), guard_two, guard_three, makers if any(makers) else ())


@st.composite
def _makers(draw: st.DrawFn, every: list[int], most: int, offs: list[int], apart_khz: int) -> list[int]:
    """Carriers of others on the slots' lattice or between them, none within a guard of another."""
    at = st.tuples(st.sampled_from(every), st.integers(-3, 3), st.sampled_from(offs))
    step = int(np.gcd.reduce(np.array(every) - every[0])) or 25
    found: list[int] = []
    for khz, beside, off in draw(st.lists(at, max_size=most)):
        carrier = khz + beside * step + off
        if all(abs(carrier - other) >= max(apart_khz, 1) for other in found):
            found.append(carrier)
    return found


@st.composite
def _types(draw: st.DrawFn, most_slots: int, empty: bool) -> tuple[IntArray, FloatArray, int]:
    raster = draw(st.sampled_from([25, 50, 125]))
    start = 600_000 + draw(st.sampled_from([0, 0, 25, 60]))
    slots = start + raster * np.arange(draw(st.integers(1, most_slots)), dtype=np.int64)
    blocked = draw(st.sets(st.integers(0, slots.size - 1), max_size=slots.size - (not empty)))
    slots = np.delete(slots, sorted(blocked))
    noise = draw(st.integers(0, 2**32 - 1))
    rise = np.random.default_rng(noise).integers(0, 4, slots.size).astype(np.float64)
    return slots, rise, draw(st.sampled_from([25, 100, 350, 375]))
