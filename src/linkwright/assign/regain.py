"""Planning again: a link moves only where staying would cost somebody a verdict or break a rule.

Everybody stands on the carrier of the earlier plan. Whoever cannot stay there (no longer a slot, or with less of a
verdict even with nobody else on) has to move; if that does not give everybody the verdict they had, as few more as
can be move with them. A moved link takes its first spare that serves, else the quietest slot that does, a clean one
before others.

Fewest is proved by trying one more link at a time. Where those who stay fall short among themselves, they do so
however the others move, since one transmitter less harms nobody: of the fewest of them who still do (a core), one
has to move, and only those are tried. Work is limited; where the limit was reached, or not every slot was tried,
`proved` says so.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping, Sequence
from typing import Final

import numpy as np

from linkwright.assign.clean import FAR_KHZ
from linkwright.assign.placement import CallLevels, settle_powers
from linkwright.assign.problem import SPACING_WEIGHT, Problem, grid_of
from linkwright.assign.state import State
from linkwright.progress import Tell
from linkwright.units import IntArray

HOLDS, THIN, FAILS, DEAD = 2, 1, 0, -1
#: Short by so much more than not knowing takes, a link that fails is as good as off [dB].
DEAD_DB: Final = 10.0
#: How many new slots of a link are weighed where its spares do not serve.
NEW_SLOTS: Final = 120
#: How many placements are weighed for the fewest moves, of many links fewer (each costs more); and, where not
#: everybody can have what they had, for the best that can be, with up to how many more than have to move together.
MOST_LOOKS: Final = 3_000
LOOKS_TIMES_LINKS: Final = 60_000
MOST_LOOKS_FOR_BEST: Final = 1_500
MORE_TOGETHER: Final = 2
#: How much less a quick search looks.
QUICKER: Final = 15
#: After so many looks by level compiled loops are worth loading, in however small a call.
PLAIN_LOOKS: Final = 400
#: How many slots of each link are tried at once before all that serve it alone are put together.
AT_ONCE: Final = 4


def rank_of(excess_db: float, doubt_db: float) -> int:
    """The verdict of what is in hand, as a number: 2 holds, 1 thin, 0 fails, -1 fails and is as good as off."""
    if excess_db >= 0.0:
        return HOLDS
    median_db = excess_db + doubt_db
    return THIN if median_db >= 0.0 else FAILS if median_db >= -DEAD_DB else DEAD


class Regain:
    """One re-plan under way: slots (links,) as indices, -1 for none; `had` (links,) the verdicts to be kept;
    `quick` takes for those who move together the first slots that come, where they serve, and else looks less."""

    def __init__(self, problem: Problem, calls: Sequence[CallLevels], tell: Tell, *, quick: bool = False) -> None:
        self.problem, self.calls, self.tell, self._ranked = problem, calls, tell, 0
        self._live: dict[tuple[int, tuple[bool, ...]], CallLevels] = {}
        self.grid = grid_of(problem)
        self.state, self.quick = State(problem, self.grid), quick
        self.others_khz = sorted({khz for makers in problem.makers_khz for khz in makers})
        self.homes = np.array([_home(problem, link) for link in range(len(problem.wishes))], dtype=np.int64)
        self.had = np.array([wish.keep_rank for wish in problem.wishes], dtype=np.int64)
        self.had = np.minimum(self.had, self._at_best())
        self.looks, self.proved, self.cut = 0, True, False
        self.most_looks = min(MOST_LOOKS, LOOKS_TIMES_LINKS // max(1, self.homes.size))
        self.most_for_best = MOST_LOOKS_FOR_BEST
        if quick:
            self.most_looks, self.most_for_best = (
                most // QUICKER for most in (self.most_looks, self.most_for_best)
            )
        self._known: dict[bytes, IntArray] = {}

    def slots(self) -> IntArray | None:
        """Where everybody stands after the fewest moves; None where not everybody finds a place."""
        placed = self._fewest(self.had, self.homes.size)
        if placed is None:
            placed = self._best()
            if placed is None:
                return None
            self.looks = 0
            kept = np.minimum(self.had, self.ranks(placed))
            placed = self._go_home(placed)
            fewer = self._fewest(kept, self._moves(placed) - 1)
            placed = placed if fewer is None else fewer
        return self._go_home(placed)

    def _fewest(self, wanted: IntArray, most: int) -> IntArray | None:
        """The placement with the fewest moves, `most` at most, that leaves everybody the verdicts wanted (links,);
        None where there is none, or none was found within the limit."""
        alone = np.arange(self.homes.size)[:, None] == np.arange(self.homes.size)
        homeless = self.homes < 0
        must = frozenset(
            int(i)
            for i, wish in enumerate(self.problem.wishes)
            if wish.slots_khz.size
            and self._free(i)
            and (homeless[i] or not self._serves(np.where(alone[i], self.homes, -1), wanted))
        )
        moving = sum(not homeless[i] for i in must)
        for more in range(most - moving + 1):
            placed = self._with_more(must, more, wanted, set())
            if placed is not None or self.looks > self.most_looks:
                return placed
        return None

    def _with_more(
        self, moving: frozenset[int], more: int, wanted: IntArray, seen: set[frozenset[int]]
    ) -> IntArray | None:
        """A placement with these links moved and at most so many more."""
        if moving in seen:
            return None
        seen.add(moving)
        stay = np.where(np.isin(np.arange(self.homes.size), list(moving)), -1, self.homes)
        core = self._core(stay, wanted)
        if core is None:
            placed = self._fit(stay, sorted(moving), wanted)
            if placed is not None:
                return placed
            core = [int(i) for i in np.flatnonzero(stay >= 0) if self._free(int(i))]
        if more:
            short = self._known.get(stay.tobytes(), wanted) < wanted
            for link in sorted(core, key=lambda i: (not short[i], i)):
                placed = self._with_more(moving | {link}, more - 1, wanted, seen)
                if placed is not None or self.looks > self.most_looks:
                    return placed
        return None

    def _core(self, stay: IntArray, wanted: IntArray) -> list[int] | None:
        """The free ones among a few of those who stay that fall short, or stand too near, by themselves: one of
        them has to move. None where nobody does."""
        if self._serves(stay, wanted):
            return None
        core = stay.copy()
        for link in np.flatnonzero(stay >= 0):
            if self._free(int(link)):
                without = core.copy()
                without[link] = -1
                core = core if self._serves(without, wanted) else without
        return [int(i) for i in np.flatnonzero(core >= 0) if self._free(int(i))]

    def _fit(self, stay: IntArray, moving: Sequence[int], wanted: IntArray) -> IntArray | None:
        """Slots for those who move beside those who stay; first the likeliest of each, then all that serve each by
        itself put together."""
        self.cut = False
        first = self._in_one_go(stay, moving) if self.quick else None
        if first is not None and self._serves(first, wanted):
            return first
        likely = {link: list(itertools.islice(self._candidates(stay, link), AT_ONCE)) for link in moving}
        placed = self._together(stay, moving, likely, wanted)
        if placed is not None or self.looks > self.most_looks:
            return placed
        serving: dict[int, list[int]] = {}
        for link in moving:
            serving[link] = []
            for slot in self._candidates(stay, link):
                trial = stay.copy()
                trial[link] = slot
                if self._serves(trial, wanted):
                    serving[link].append(slot)
            if not serving[link]:
                break
        order = sorted(moving, key=lambda link: (len(serving.get(link, ())), link))
        placed = self._together(stay, order, serving, wanted) if all(map(serving.get, moving)) else None
        self.proved &= placed is not None or not self.cut
        return placed

    def _in_one_go(self, stay: IntArray, moving: Sequence[int]) -> IntArray | None:
        """Those who move put down in turn, each on the likeliest of its slots; None where somebody has
        none."""
        slots = stay.copy()
        for link in sorted(moving, key=lambda i: (self.problem.wishes[i].slots_khz.size, i)):
            slot = next(self._candidates(slots, link), None)
            if slot is None:
                return None
            slots[link] = slot
        return slots

    def _together(
        self, slots: IntArray, moving: Sequence[int], given: Mapping[int, Sequence[int]], wanted: IntArray
    ) -> IntArray | None:
        if not moving:
            return slots
        link, *rest = moving
        for slot in given[link]:
            trial = slots.copy()
            trial[link] = slot
            if self._serves(trial, wanted):
                placed = self._together(trial, rest, given, wanted)
                if placed is not None:
                    return placed
            if self.looks > self.most_looks:
                break
        return None

    def _serves(self, slots: IntArray, wanted: IntArray) -> bool:
        """Whether those who have a slot keep their spacing and have the verdicts wanted; those of a placement that
        was weighed are kept. Beyond the limit nothing does."""
        key = slots.tobytes()
        if key not in self._known:
            self.looks += 1
            self.tell("looking for the fewest moves", min(self.looks / self.most_looks, 1.0))
            if self.looks > self.most_looks:
                self.proved = False
                return False
            near = self._standing(slots).conflicts_of_placed()
            too_near = near.max(initial=0) >= SPACING_WEIGHT
            self._known[key] = np.full(slots.size, DEAD - 1) if too_near else self.ranks(slots)
        return bool((self._known[key] >= wanted).all())

    def _best(self) -> IntArray | None:
        """Where as many steps of a verdict as can be are kept, with few moves."""
        self.looks = 0
        must = self._have_to_move()
        stay = np.where(np.isin(np.arange(self.homes.size), must), -1, self.homes)
        best: tuple[tuple[int, ...], IntArray] | None = None
        for more in self._more_moves(stay):
            moving = [*must, *more]
            placed = self._place(np.where(np.isin(np.arange(stay.size), more), -1, stay), moving)
            if placed is not None:
                shortfall = self._shortfall(placed)
                worth = (shortfall, self._moves(placed))
                if best is None or worth < best[0]:
                    best = worth, placed
                if shortfall == 0:
                    break
            if self.looks > self.most_for_best:
                break
        return None if best is None else best[1]

    def _at_best(self) -> IntArray:
        """The verdict that each link has with nobody else on, on its quietest slot (links,)."""
        best = np.full(self.homes.size, HOLDS)
        for link, wish in enumerate(self.problem.wishes):
            if wish.slots_khz.size:
                alone = np.full(self.homes.size, -1)
                every = np.arange(wish.slots_khz.size)
                quiet = int(self._quiet_first(link, every, np.zeros(0, dtype=np.int64))[0])
                alone[link] = self.homes[link] if wish.locked_khz is not None else quiet
                best[link] = self.ranks(alone)[link]
        return np.asarray(best, dtype=np.int64)

    def _have_to_move(self) -> list[int]:
        """Whoever cannot stay, whatever the others do: without a home, too near, or short with nobody else on."""
        state = self._standing(self.homes)
        near = state.conflicts_of_placed()
        homeless = [i for i in map(int, np.flatnonzero(self.homes < 0)) if self._free(i)]
        must = [i for i in homeless if self.problem.wishes[i].slots_khz.size]
        while near.max(initial=0) >= SPACING_WEIGHT:
            movable = np.where(state.free, near, 0)
            nearest = int(movable.size - 1 - np.argmax(movable[::-1]))
            state.take(nearest)
            must.append(nearest)
            near = state.conflicts_of_placed()
        for link in np.flatnonzero(self.homes >= 0):
            alone = np.where(np.arange(self.homes.size) == link, self.homes, -1)
            if int(link) not in must and self._free(int(link)) and self.ranks(alone)[link] < self.had[link]:
                must.append(int(link))
        return must

    def _free(self, link: int) -> bool:
        return self.problem.wishes[link].locked_khz is None

    def _more_moves(self, stay: IntArray) -> Iterator[tuple[int, ...]]:
        """Who else may move: nobody, each one, each two; those who are short themselves first."""
        yield ()
        short = self.ranks(stay) < self.had
        free = [int(i) for i in np.flatnonzero(stay >= 0) if self._free(int(i))]
        free.sort(key=lambda i: (not short[i], i))
        for count in range(1, MORE_TOGETHER + 1):
            yield from itertools.combinations(free, count)

    def _place(self, slots: IntArray, moving: Sequence[int]) -> IntArray | None:
        """Slots for those who move, with nobody left with less of a verdict than is to be kept, as far as can be.

        Depth first: whoever is placed leaves everybody what they had, as long as that can be; None where somebody
        finds no slot at all.
        """
        if not moving:
            return slots
        link, *rest = sorted(moving, key=lambda i: (self.problem.wishes[i].slots_khz.size, i))
        best: tuple[int, IntArray] | None = None
        for slot in (*self._candidates(slots, link), *self._at_home(slots, link)):
            trial = slots.copy()
            trial[link] = slot
            self.looks += 1
            self.tell("looking for the best that can be", min(self.looks / self.most_for_best, 1.0))
            short = self._shortfall(trial)
            done = self._place(trial, rest) if short == 0 and rest else None
            if done is not None and self._shortfall(done) == 0:
                return done
            if best is None or short < best[0]:
                best = short, trial
            if (short == 0 and not rest) or self.looks > self.most_for_best:
                break
        if best is None:
            return None
        return self._place(best[1], rest) if rest else best[1]

    def _at_home(self, slots: IntArray, link: int) -> Iterator[int]:
        """Where a link stood, if it may stand there beside the others: better than nowhere."""
        home = slots.copy()
        home[link] = self.homes[link]
        near = self._standing(home).conflicts_of_placed()
        if self.homes[link] >= 0 and near.max(initial=0) < SPACING_WEIGHT:
            yield int(self.homes[link])

    def _candidates(self, slots: IntArray, link: int) -> Iterator[int]:
        """What to try for a link without a slot: its spares in order, then others, clean and quiet ones first."""
        wish = self.problem.wishes[link]
        state = self._standing(slots)
        taken = state.carriers[state.carriers >= 0]  # now: who asks for the next moves others in between
        conflicts = state.conflicts(link, self.grid.wish_slots[link])
        given = [int(np.searchsorted(wish.slots_khz, khz)) for khz in wish.keep_spares_khz if khz in wish.slots_khz]
        yield from (slot for slot in given if conflicts[slot] < SPACING_WEIGHT)
        open_ = np.flatnonzero(conflicts < SPACING_WEIGHT)
        open_ = open_[~np.isin(open_, [*given, self.homes[link]])]
        quiet = self._quiet_first(link, open_, taken)
        clean_first = quiet[np.argsort(conflicts[quiet] > 0, kind="stable")]
        yield from (int(slot) for slot in clean_first[:NEW_SLOTS])
        self.cut |= clean_first.size > NEW_SLOTS

    def _quiet_first(self, link: int, slots: IntArray, taken: IntArray) -> IntArray:
        """Slots of a link, those with the quietest air first, of these the farthest from everybody who is on."""
        wish = self.problem.wishes[link]
        others = [round((khz - self.grid.base_khz) / self.grid.step_khz) for khz in self.others_khz]
        near = np.sort(np.concatenate([taken, np.array(others, dtype=np.int64)]))
        away = _distance(self.grid.wish_slots[link][slots], near) * self.grid.step_khz
        return np.asarray(
            slots[np.lexsort((slots, -np.minimum(away, FAR_KHZ), np.round(2.0 * wish.rise_db[slots])))]
        )

    def ranks(self, slots: IntArray) -> IntArray:
        """Each link's verdict over its calls, for those who have a slot; the others have what they had."""
        self._ranked += 1
        if self._ranked == PLAIN_LOOKS:
            self.calls, self._live = [call.compiled() for call in self.calls], {}
        ranks = np.where(slots >= 0, HOLDS, self.had)
        for call in self.calls:
            there = tuple((slots[call.members] >= 0).tolist())
            if not any(there):
                continue
            live = self._live.get((id(call), there)) or self._live.setdefault((id(call), there), call.only(there))
            mine = [int(slots[i]) for i in live.members]
            carriers = [int(self.problem.wishes[i].slots_khz[s]) for i, s in zip(live.members, mine, strict=True)]
            outcome = settle_powers(live, mine, np.array(carriers, dtype=np.int64))
            for i, excess, doubt in zip(live.members, outcome.excess_db, live.doubt_db, strict=True):
                ranks[i] = min(ranks[i], rank_of(float(excess), float(doubt)))
        return np.asarray(ranks, dtype=np.int64)

    def _shortfall(self, slots: IntArray) -> int:
        """How many steps of a verdict all links together have less than they had."""
        return int(np.maximum(self.had - self.ranks(slots), 0).sum())

    def _moves(self, slots: IntArray) -> int:
        return int(np.count_nonzero((self.homes >= 0) & (slots != self.homes)))

    def _go_home(self, slots: IntArray) -> IntArray:
        """Whoever moved for nothing goes back: where nobody has less of a verdict for it."""
        for link in np.flatnonzero((self.homes >= 0) & (slots != self.homes)):
            back = slots.copy()
            back[link] = self.homes[link]
            near = self._standing(back).conflicts_of_placed().max(initial=0)
            if near < SPACING_WEIGHT and bool((self.ranks(back) >= np.minimum(self.ranks(slots), self.had)).all()):
                slots = back
        return slots

    def _standing(self, slots: IntArray) -> State:
        """The one state of this search with its links on these slots: only who stands elsewhere is moved."""
        cells = self._cells(slots)
        for link in np.flatnonzero(cells != self.state.carriers):
            if self.state.carriers[link] >= 0:
                self.state.take(int(link))
            if cells[link] >= 0:
                self.state.put(int(link), int(cells[link]))
        return self.state

    def _cells(self, slots: IntArray) -> IntArray:
        return np.array(
            [int(of[slot]) if slot >= 0 else -1 for slot, of in zip(slots, self.grid.wish_slots, strict=True)],
            dtype=np.int64,
        )


def _home(problem: Problem, link: int) -> int:
    """The slot of a link's earlier carrier, or of its lock; -1 where it is none of its slots."""
    wish = problem.wishes[link]
    khz = wish.locked_khz if wish.locked_khz is not None else wish.keep_khz
    if khz is None:
        return -1
    at = int(np.searchsorted(wish.slots_khz, khz))
    return at if at < wish.slots_khz.size and wish.slots_khz[at] == khz else -1


def _distance(cells: IntArray, taken: IntArray) -> IntArray:
    """How many cells each of some is from the nearest of others, ascending; very many where there are none."""
    if not taken.size:
        return np.full(cells.size, 2**40, dtype=np.int64)
    right = np.searchsorted(taken, cells)
    above = np.abs(taken[np.minimum(right, taken.size - 1)] - cells)
    below = np.abs(taken[np.maximum(right - 1, 0)] - cells)
    return np.asarray(np.minimum(above, below))
