"""When to change cells: at the last chance that can be reached, never in a take where that can be avoided."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

#: Shares of a set of cells that differ by less are the same.
SAME: Final = 1e-9


@dataclass(frozen=True, slots=True)
class SetChange:
    """One change of cells on the axis of what is used.

    at : shares of a set used since the beginning. chance : which chance it is, None in a take. left : share of the
    old cells that is left. on_reserve : the old cells had gone into their reserve.
    """

    at: float
    chance: int | None
    left: float
    on_reserve: bool


def swaps(chances: Sequence[float], end: float, reserve: float) -> list[SetChange]:
    """The changes of a transmitter that begins with fresh cells and stops at `end`.

    `chances` (n,) ascending are the moments at which cells may be changed outside a take, and `end` the last
    moment, all told as the shares of a set used up to then; `reserve` (0..1) is the share that is not relied upon.
    There are the fewest changes in takes, then the least use of the reserve, then the fewest changes: a stretch
    between two chances that no set outlasts needs ceil(stretch) - 1 changes inside, wherever the others are; they
    come when the cells are used up, so nothing is wasted, and the rest is the rule of the last chance.
    """
    soft = 1.0 - reserve
    points = [0.0, *chances, end]
    set_changes: list[SetChange] = []
    level, fresh_at = soft, 0.0
    for n in range(len(points) - 1):
        here, gap = points[n], max(0.0, points[n + 1] - points[n])
        inside = max(0, math.ceil(gap - SAME) - 1)
        dips = gap > (inside + 1) * soft + SAME
        need = soft if dips else gap - inside * soft
        if n > 0 and level < need - SAME:
            left = 1.0 - (here - fresh_at)
            set_changes.append(SetChange(here, n - 1, left, left < reserve - SAME))
            level, fresh_at = soft, here
        for number in range(inside):
            at = here + (number + 1) * gap / (inside + 1) if dips else here + level + number * soft
            left = 1.0 - (at - fresh_at)
            set_changes.append(SetChange(at, None, left, left < reserve - SAME))
            fresh_at = at
        level = 0.0 if dips else level + inside * soft - gap
    return set_changes
