"""In which order a receiver is tuned: ours in every round, the whole band within a stated time.

A receiver gives a few megahertz at a time. Of those, the edges of its passband are not used, nor the middle, where
one with two paths (I and Q) shows a line of its own. All places are bins of the sweep's frequencies.

A round looks at our carriers and spares first, always in the same order, and then at the next part of the band. So
those are looked at once a round, and what is looked at in the rest comes again after all rounds, exactly.
(Periods of which each divides the next can always be kept while their shares of the time sum to one: R. Holte and
others, "The pinwheel: a real-time scheduling problem", 1989, from memory.)
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise

from linkwright.shoot.errors import InputError


@dataclass(frozen=True, slots=True)
class Passband:
    """What of a look is used: the bins `inner` to `outer` away from where the receiver is tuned, on both sides."""

    inner: int
    outer: int

    def __post_init__(self) -> None:
        if self.inner < 1 or self.outer < 3 * self.inner:
            raise ValueError(f"no such passband: {self.inner} to {self.outer} bins beside the middle")

    @property
    def side(self) -> int:
        """Bins of one side."""
        return self.outer - self.inner + 1

    def sides(self, centre: int) -> tuple[range, range]:
        """The bins that a look gives."""
        return (
            range(centre - self.outer, centre - self.inner + 1),
            range(centre + self.inner, centre + self.outer + 1),
        )

    def holds(self, centre: int, low: int, high: int) -> bool:
        """Whether the bins `low` to `high` lie in one side of a look."""
        return any(side[0] <= low and high <= side[-1] for side in self.sides(centre))


#: Looks that belong together: what they give joins without a hole.
Unit = tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Retuning:
    """Rounds, that follow each other and begin anew after the last; each is where to tune, in order [bins].

    ours : how many looks at the beginning of each are at our carriers and spares.
    """

    rounds: tuple[tuple[int, ...], ...]
    ours: int

    @property
    def ours_every(self) -> int:
        """After so many looks at most ours are looked at again."""
        lengths = [len(each) for each in self.rounds]
        return max(lengths) if self.ours else sum(lengths)

    @property
    def all_every(self) -> int:
        """After so many looks everything is looked at again."""
        return sum(len(each) for each in self.rounds)


def whole_band(bins: int, passband: Passband) -> tuple[Unit, ...]:
    """Looks that give each of the bins 0 to `bins` - 1, lowest first.

    Two belong together: each looks into the hole in the middle of the other, and together they give
    3 outer - inner + 2 bins. What is left over at the end and fits one side of a look takes one.
    """
    pair = 2 * passband.outer + passband.side + 1
    units: list[Unit] = []
    low = 0
    while low < bins:
        if bins - low <= passband.side:
            units.append((low - passband.inner - (passband.side - (bins - low)) // 2,))
            break
        units.append((low + passband.outer, low + passband.outer + passband.side))
        low += pair
    return tuple(units)


def looks_at(bands: Iterable[tuple[int, int]], passband: Passband) -> tuple[int, ...]:
    """Few looks that give all of these bands (lowest and highest bin), each band in one side of a look.

    A band that is wider than a side is taken in pieces. The lowest band that is left is put where its look holds
    most of the others.
    """
    left = sorted({piece for low, high in bands for piece in _pieces(low, high, passband.side)})
    looks = []
    while left:
        low, high = left[0]
        slack = passband.side - (high - low + 1)
        near = [band for band in left if band[0] <= high + 2 * passband.outer]
        places = {low + passband.outer, low - passband.inner - slack // 2}
        places |= {start - passband.inner for start, _ in near} | {end - passband.outer for _, end in near}
        fitting = sorted(place for place in places if passband.holds(place, low, high))
        best = max(fitting, key=lambda place: sum(passband.holds(place, *band) for band in near))
        looks.append(best)
        left = [band for band in left if not passband.holds(best, *band)]
    return tuple(sorted(looks))


def _pieces(low: int, high: int, side: int) -> list[tuple[int, int]]:
    if high < low:
        raise ValueError(f"no such band: bins {low} to {high}")
    count = -(-(high - low + 1) // side)
    edges = [low + (high + 1 - low) * number // count for number in range(count + 1)]
    return [(start, end - 1) for start, end in pairwise(edges)]


def retuning(ours: Sequence[int], whole: Sequence[Unit], most_looks: float) -> Retuning:
    """The rounds in which ours come most often while everything comes again within `most_looks`.

    ours : where to tune for our carriers and spares. whole : what gives the whole band. The more looks are allowed,
    the more of them are at ours; where rounds bring nothing it is one pass after another. Raises InputError where
    not even one pass is allowed.
    """
    plain = tuple(place for unit in whole for place in unit)
    if most_looks < len(plain):
        raise InputError(f"all of the band takes {len(plain)} looks, found time for {most_looks:.0f}; allow more")
    others = [tuple(place for place in unit if place not in ours) for unit in whole]
    others = [unit for unit in others if unit]
    count = int((most_looks - sum(map(len, others))) / len(ours)) if ours else 0
    count = min(count, len(others))
    parts = [others[len(others) * n // count : len(others) * (n + 1) // count] for n in range(count)]
    rounds = tuple((*ours, *(place for unit in part for place in unit)) for part in parts)
    if not rounds or max(map(len, rounds)) >= len(plain):
        return Retuning((plain,), 0)
    return Retuning(rounds, len(ours))
