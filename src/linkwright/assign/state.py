"""The search's working state: who stands where, and the histograms that say what a move would do."""

from __future__ import annotations

import functools
import sys

import numpy as np

from linkwright.assign import plain
from linkwright.assign.histograms import Histograms
from linkwright.assign.problem import SPACING_WEIGHT, Grid, Problem, grid_of
from linkwright.units import BoolArray, IntArray

#: Up to this many links the plain histograms do; beyond it the compiled ones are worth their loading.
FEW_LINKS = 32
_COMPILED = "linkwright.assign.kernels"


class State:
    """Carriers of a problem's links on its grid, with the histograms of `kernels` kept in step.

    `carriers` (links,) are cells, -1 for a link that has none.
    """

    def __init__(self, problem: Problem, grid: Grid | None = None) -> None:
        self.problem = problem
        self._put, self._scan, self.quietest = plain.put, plain.scan, plain.quietest
        self.makers = max((len(makers) for makers in problem.makers_khz), default=0)
        if len(problem.wishes) + self.makers > FEW_LINKS or _COMPILED in sys.modules:
            from linkwright.assign import kernels

            self._put, self._scan, self.quietest = kernels.put, kernels.scan, kernels.quietest
        self.grid = grid or grid_of(problem)
        # Others may stand between the cells; counted on the nearest, they are off by half a cell, and the products
        # that they make with ours by a whole one, which the guards then keep in addition.
        between = any(
            (khz - self.grid.base_khz) % self.grid.step_khz for makers in problem.makers_khz for khz in makers
        )
        wide = _cells_inside(problem.guard_khz, self.grid.step_khz) + between
        narrow = _cells_inside(problem.guard_three_khz, self.grid.step_khz) + between
        spacings = sorted({max(wish.spacing_khz, problem.guard_khz) for wish in problem.wishes})
        classes = [spacings.index(max(wish.spacing_khz, problem.guard_khz)) for wish in problem.wishes]
        self.klass = np.array(classes, dtype=np.int64)
        self.reaches = np.array(
            [[_cells_inside(max(a, b), self.grid.step_khz) for b in spacings] for a in spacings],
            dtype=np.int64,
        ).reshape(len(spacings), len(spacings))
        in_calls = [[k for k, call in enumerate(problem.calls) if i in call] for i in range(len(problem.wishes))]
        self.calls_of = [np.array(calls, dtype=np.int64) for calls in in_calls]
        self.carriers = np.full(len(problem.wishes), -1, dtype=np.int64)
        calls, cells = max(len(problem.calls), 1), self.grid.cells
        members = self.makers + len(problem.wishes) + 1
        self.counts = _nobody(calls, max(len(spacings), 1), cells, members)._replace(wide=wide, narrow=narrow)
        for call, makers in enumerate(problem.makers_khz):
            if makers:
                standing = _others(makers, self.grid.base_khz, self.grid.step_khz, cells, wide, narrow)
                self.counts.prod[call] = standing.prod[0]
                self.counts.mid[call] = standing.mid[0]
                self.counts.members[call, : len(makers)] = standing.members[0]
                self.counts.sizes[call] = len(makers)

    @classmethod
    def standing(cls, problem: Problem, grid: Grid, cells: IntArray) -> State:
        """A state with its links on `cells` (links,); -1 leaves a link without."""
        state = cls(problem, grid)
        for link in np.flatnonzero(cells >= 0):
            state.put(int(link), int(cells[link]))
        return state

    @property
    def free(self) -> BoolArray:
        """Which links may move: all that are not locked, shape (links,)."""
        return np.array([wish.locked_khz is None for wish in self.problem.wishes])

    def put_locked(self) -> bool:
        """Put every locked link in its place; False where they do not go together."""
        for link, wish in enumerate(self.problem.wishes):
            if wish.locked_khz is not None:
                self.put(link, self.grid.cell(wish.locked_khz))
        return not bool(self.conflicts_of_placed().any())

    def put(self, link: int, cell: int) -> None:
        """Give a link without a carrier this cell."""
        self.carriers[link] = cell
        self._change(link, cell, 1)

    def take(self, link: int) -> int:
        """Take a link's carrier away; returns the cell that it had."""
        cell = int(self.carriers[link])
        self._change(link, cell, -1)
        self.carriers[link] = -1
        return cell

    def _change(self, link: int, cell: int, sign: int) -> None:
        self._put(cell, sign, self.calls_of[link], self.reaches[self.klass[link]], self.counts)

    def conflicts(self, link: int, cells: IntArray) -> IntArray:
        """Conflicts that a link without a carrier would have on each of `cells`, shape (m,)."""
        out = np.zeros(cells.size, dtype=np.int64)
        self._scan(cells, int(self.klass[link]), self.calls_of[link], self.counts, SPACING_WEIGHT, out)
        return out

    def conflicts_of_placed(self) -> IntArray:
        """Conflicts of each link's carrier as it stands, shape (links,); 0 for a link that has none."""
        out = np.zeros(self.carriers.size, dtype=np.int64)
        for link in np.flatnonzero(self.carriers >= 0):
            cell = np.array([self.carriers[link]])
            shadow = SPACING_WEIGHT * self.calls_of[link].size
            out[link] = self.conflicts(int(link), cell)[0] - shadow
        return out


def _nobody(calls: int, classes: int, cells: int, members: int) -> Histograms:
    """The histograms of calls in which nobody is on."""
    prod, mid = np.zeros((2, calls, cells), dtype=np.int32)
    near = np.zeros((calls, classes, cells), dtype=np.int32)
    nobody = np.zeros((calls, members), dtype=np.int64), np.zeros(calls, dtype=np.int64)
    return Histograms(prod, mid, near, *nobody, -1, -1)


@functools.lru_cache(maxsize=32)
def _others(
    makers_khz: tuple[int, ...], base_khz: int, step_khz: int, cells: int, wide: int, narrow: int
) -> Histograms:
    """What others bring by themselves, as of one call. A carrier within a guard of theirs is hit by what they make
    with it; one in the middle of two others by their A+B-C with itself, but what it makes with one of them and
    falls on the other hits nobody of ours.

    Two others within a guard of each other hit every carrier, wherever it goes; that is left out here, since no
    choice changes it, and is told in the end (`assign.products`).
    """
    at = np.array([round((khz - base_khz) / step_khz) for khz in makers_khz], dtype=np.int64)
    counts = _nobody(1, 0, cells, at.size)._replace(members=at[None], wide=wide, narrow=narrow)
    mid = np.zeros(cells, dtype=np.int32)
    for count, cell in enumerate(at):
        counts.sizes[0] = count
        plain.change(counts, 0, at[:0], int(cell), 1)
        counts.prod[0, max(int(cell) - wide, 0) : max(int(cell) + wide + 1, 0)] += 1
        middle = cell + at[:count]
        plain.spans(mid, (middle - narrow + 1) // 2, (middle + narrow) // 2, 1)
    return counts._replace(mid=mid[None])


def _cells_inside(distance_khz: int, step_khz: int) -> int:
    """How many cells away is still nearer than a distance: the largest n with n * step < distance, -1 for 0."""
    return -(-distance_khz // step_khz) - 1
