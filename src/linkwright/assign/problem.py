"""What the assignment is asked and what it answers, in carriers and slots alone: no places, no watts."""

from __future__ import annotations

import functools
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np

from linkwright.units import FloatArray, IntArray

Criterion = Literal["clean", "power"]

#: A spacing that is not kept weighs as much as this many products, more than can ever fall on one carrier (a
#: thousand links make less than a million on each), so it is never traded for them.
SPACING_WEIGHT = 100_000_000


@dataclass(frozen=True, slots=True)
class Wish:
    """One link that wants a carrier.

    `slots_khz` are the carriers it may have, ascending, each once, shape (m,); `rise_db` says how much the air
    raises the noise on each [dB], shape (m,). `locked_khz`, one of the slots, is the only carrier that a locked
    link takes (its spares are free). `keep_khz`, `keep_spares_khz` and `keep_rank` (2 holds, 1 thin, 0 fails) are
    what it had in an earlier plan. `stay_khz` is what it has elsewhere on the same day, and stays on unless that
    costs more than `stay_db` in hand.
    """

    name: str
    slots_khz: IntArray
    rise_db: FloatArray
    spacing_khz: int
    spares: int = 0
    locked_khz: int | None = None
    keep_khz: int | None = None
    keep_spares_khz: tuple[int, ...] = ()
    keep_rank: int = 2
    stay_khz: int | None = None
    stay_db: float = 6.0


@dataclass(frozen=True)
class Problem:
    """Links on one site. `calls` names, by index, who is live together; a link may be in several calls.

    A product 2A-B nearer than `guard_two_khz` or A+B-C nearer than `guard_three_khz` to a carrier hits it.
    `roomy_khz` is the distance from which on no product touches a channel: where there is room, it is kept.
    `elsewhere` are who of the links meet in calls on other sites; `at_once` are calls, by index, that run at the
    same moment: all their links meet. `makers_khz[k]` are the carriers of others that
    are on during call k: they make products, and nobody minds what falls on them. None at all where it is empty.
    """

    wishes: tuple[Wish, ...]
    calls: tuple[tuple[int, ...], ...]
    guard_two_khz: int
    guard_three_khz: int
    makers_khz: tuple[tuple[int, ...], ...] = ()
    roomy_khz: int = 0
    elsewhere: tuple[tuple[int, ...], ...] = ()
    at_once: tuple[tuple[int, ...], ...] = ()

    def meeting(self, calls: Sequence[int]) -> tuple[int, ...]:
        """The links of some calls, ascending."""
        return tuple(sorted({link for call in calls for link in self.calls[call]}))

    def moments_of(self, call: int) -> list[tuple[int, ...]]:
        """The calls that run at one moment with a call, by index, moment by moment; itself where none does."""
        return [calls for calls in self.at_once if call in calls] or [(call,)]

    def makers_at(self, calls: Sequence[int]) -> tuple[int, ...]:
        """The carriers of others that are on during any of some calls [kHz]."""
        if len(calls) == 1:
            return self.makers_in(calls[0])
        return tuple(dict.fromkeys(khz for call in calls for khz in self.makers_in(call)))

    @functools.cached_property
    def groups(self) -> list[tuple[int, ...]]:
        """The calls, by index, those together that run at the same time or are joined by such: each once."""
        group = list(range(len(self.calls)))
        for calls in self.at_once:
            joined = {group[call] for call in calls}
            group = [min(joined) if mine in joined else mine for mine in group]
        by_group: dict[int, list[int]] = {}
        for call, mine in enumerate(group):
            by_group.setdefault(mine, []).append(call)
        return [tuple(calls) for calls in by_group.values()]

    def makers_in(self, call: int) -> tuple[int, ...]:
        """The carriers of others that are on during a call [kHz]."""
        return self.makers_khz[call] if self.makers_khz else ()

    @property
    def guard_khz(self) -> int:
        """The larger guard: what 2A-B keeps, so that A+B-C on its own C is covered too."""
        return max(self.guard_two_khz, self.guard_three_khz)

    def spacing_khz(self, a: int, b: int) -> int:
        """The spacing that links `a` and `b` keep: the larger of their types'."""
        return max(self.wishes[a].spacing_khz, self.wishes[b].spacing_khz)


@dataclass(frozen=True, slots=True)
class Assignment:
    """The answer. `carriers_khz[i]` is None for a link that found no place; `spares_khz[i]` are in order.

    `proved` tells that a clean placement of all is impossible, where `criterion` is "power" for that reason.
    `fewest` is false where more may have moved from an earlier plan than has to: the search reached its limit.
    """

    criterion: Criterion
    carriers_khz: tuple[int | None, ...]
    spares_khz: tuple[tuple[int, ...], ...]
    proved: bool = False
    fewest: bool = True

    @property
    def placed(self) -> int:
        """How many links have a carrier."""
        return sum(carrier is not None for carrier in self.carriers_khz)


@dataclass(frozen=True, slots=True)
class Grid:
    """All slots of a problem as cells of one lattice: cell = (carrier - base) / step."""

    base_khz: int
    step_khz: int
    cells: int
    wish_slots: tuple[IntArray, ...] = field(repr=False)

    def carrier_khz(self, cell: int) -> int:
        """The carrier of a cell [kHz]."""
        return self.base_khz + self.step_khz * int(cell)

    def cell(self, carrier_khz: int) -> int:
        """The cell of a carrier that lies on the lattice."""
        return (carrier_khz - self.base_khz) // self.step_khz


def grid_of(problem: Problem) -> Grid:
    """The coarsest lattice that holds every slot of the problem, and each wish's slots as cells of it.

    Links of one type share one array of slots, so memory grows with types, not with links.
    """
    arrays = list({id(wish.slots_khz): wish.slots_khz for wish in problem.wishes if wish.slots_khz.size}.values())
    if not arrays:
        return Grid(0, 1, 1, tuple(np.zeros(0, dtype=np.int64) for _ in problem.wishes))
    base = int(min(slots[0] for slots in arrays))
    step = int(np.gcd.reduce([np.gcd.reduce(slots - base) for slots in arrays])) or 1
    top = int(max(slots[-1] for slots in arrays))
    shared = {id(slots): (slots - base) // step for slots in arrays}
    empty = np.zeros(0, dtype=np.int64)
    cells = tuple(shared.get(id(wish.slots_khz), empty) for wish in problem.wishes)
    return Grid(base, step, (top - base) // step + 1, cells)


def answer(
    grid: Grid,
    criterion: Criterion,
    carriers: IntArray,
    spares: Sequence[Sequence[int]],
    *,
    proved: bool = False,
) -> Assignment:
    """An assignment from cells: carriers (links,), -1 for none, and the spares of each link in order."""
    placed = tuple(grid.carrier_khz(int(cell)) if cell >= 0 else None for cell in carriers)
    in_order = tuple(tuple(grid.carrier_khz(cell) for cell in mine) for mine in spares)
    return Assignment(criterion, placed, in_order, proved)


def distinct(site: Problem, elsewhere: Sequence[tuple[int, ...]] = ()) -> Problem:
    """The same with each distinct call once, with all others that are on during any of those alike; with those that
    run at one moment as one; and with the calls of other sites on which some of its links meet, so that what is
    clean here is so there."""
    makers: dict[tuple[int, ...], tuple[int, ...]] = {}
    moments = [(call, site.makers_in(n)) for n, call in enumerate(site.calls)]
    moments += [(site.meeting(calls), site.makers_at(calls)) for calls in site.at_once]
    for call, khz in moments:
        makers[call] = tuple(dict.fromkeys((*makers.get(call, ()), *khz)))
    for call in elsewhere:
        makers.setdefault(call, ())
    if site.at_once:
        makers = _largest(makers)
    return replace(site, calls=tuple(makers), makers_khz=tuple(makers.values()), at_once=())


def _largest(makers: dict[tuple[int, ...], tuple[int, ...]]) -> dict[tuple[int, ...], tuple[int, ...]]:
    """Those of the calls that are no part of another, with its others."""
    sets = [(call, frozenset(call), frozenset(khz)) for call, khz in makers.items()]
    by_link: dict[int, list[tuple[tuple[int, ...], frozenset[int], frozenset[int]]]] = {}
    for entry in sets:
        for link in entry[1]:
            by_link.setdefault(link, []).append(entry)

    def is_part(links: frozenset[int], khz: frozenset[int]) -> bool:
        rarest = min((by_link[link] for link in links), key=len, default=sets[:0])
        return any(links < larger and khz <= theirs for _, larger, theirs in rarest)

    return {call: makers[call] for call, links, khz in sets if not is_part(links, khz)}


def only(problem: Problem, links: list[int]) -> Problem:
    """The same problem for some of its links."""
    new = {old: n for n, old in enumerate(links)}
    calls = tuple(tuple(new[i] for i in call if i in new) for call in problem.calls)
    return replace(problem, wishes=tuple(problem.wishes[i] for i in links), calls=calls)
