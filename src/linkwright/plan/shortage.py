"""More links than the band holds: what would help, as numbers that were proved.

Carriers that keep a spacing are packed densest from the bottom up (`assign.bound.spacing_bound`), so every number
here is exact: no search could do better. What the levels would make of so dense a plan is another matter.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from linkwright.assign.bound import spacing_bound
from linkwright.assign.clean import find_clean
from linkwright.assign.problem import Problem, distinct, grid_of, only
from linkwright.plan.chain import Chain, Scene
from linkwright.plan.model import PlannedLink
from linkwright.plan.prove import CallToProve, Standing, decided, prove
from linkwright.plan.radio import narrow
from linkwright.plan.site import SiteProblem
from linkwright.shoot.view import LiveCall
from linkwright.units import IntArray, number_word, together


@dataclass(frozen=True, eq=False, slots=True)
class Crowd:
    """The links of a call that want carriers of one kind, on which slots (m,) [kHz] and at which spacing [kHz]."""

    chains: tuple[Chain, ...]
    slots_khz: IntArray
    spacing_khz: int

    @property
    def most(self) -> int:
        """How many of them have a place at once, at most."""
        return spacing_bound(self.slots_khz, self.spacing_khz)

    def beside(self, call: LiveCall) -> bool:
        """Whether some of them are of other calls."""
        live = {link.name for link in call.links}
        return any(chain.link.name not in live for chain in self.chains)

    @property
    def raster_khz(self) -> int:
        """Between two slots [kHz]."""
        return max((chain.transmitter.raster_khz for chain in self.chains), default=1)


def crowds(problem: SiteProblem, n: int) -> list[Crowd]:
    """The kinds of links of a call, and of those at the same time, that are more than their band holds, taken by
    the transmitters' slots."""
    kinds: dict[int | bytes, list[int]] = {}
    moment = max(problem.problem.moments_of(n), key=lambda calls: len(problem.problem.meeting(calls)))
    for i in problem.problem.meeting(moment):
        slots_khz = problem.problem.wishes[i].slots_khz
        if problem.problem.wishes[i].locked_khz is None and slots_khz.size:
            # Links of several calls have arrays of their own, of the same slots.
            kinds.setdefault(slots_khz.tobytes() if len(moment) > 1 else id(slots_khz), []).append(i)
    crowded = []
    for members in kinds.values():
        wishes = [problem.problem.wishes[i] for i in members]
        crowd = Crowd(
            tuple(problem.chains[i] for i in members), wishes[0].slots_khz, min(wish.spacing_khz for wish in wishes)
        )
        if len(members) > crowd.most:
            crowded.append(crowd)
    return crowded


def clean_together(scene: Scene, problem: SiteProblem, n: int, crowd: Crowd) -> tuple[int, int]:
    """How many of a crowd, those nearest to their receivers, were found clean together; and how many hold so."""
    nearest = sorted(crowd.chains, key=lambda chain: (_distance_m(chain), chain.link.name))
    indices = [problem.index(chain.name) for chain in nearest]
    low, high = 0, crowd.most
    best = np.zeros(0, dtype=np.int64)
    while low < high:
        count = (low + high + 1) // 2
        some = distinct(bare(only(problem.problem, sorted(indices[:count]))))
        grid = grid_of(some)
        cells = find_clean(some, grid, effort=0.002).cells
        if cells is None:
            high = count - 1
        else:
            low, best = count, np.array([grid.carrier_khz(int(cell)) for cell in cells], dtype=np.int64)
    if not low:
        return 0, 0
    standing = tuple(
        Standing.of(way, own, int(khz))
        for i, khz in zip(sorted(indices[:low]), best, strict=True)
        for way, own in zip(problem.chains[i].ways, problem.tunings[i].each, strict=True)
    )
    proofs = prove(CallToProve(standing, narrow(scene.others_during(problem.calls[n])), scene.large))
    return low, sum(proved.proof.told.in_hand_db >= 0.0 for proved in decided(standing, proofs))


def bare(problem: Problem) -> Problem:
    """The problem without spares and without an earlier plan."""
    wishes = tuple(replace(wish, spares=0, keep_khz=None, stay_khz=None) for wish in problem.wishes)
    return replace(problem, wishes=wishes, elsewhere=())


def what_helps(crowd: Crowd, placed: Sequence[PlannedLink], clean: int, holding: int) -> Iterator[str]:
    """What would give everybody a place, a sentence each; `clean` and `holding` as `clean_together` found."""
    count, most = len(crowd.chains), crowd.most
    over = count - most
    yield f"No more than {most} of these {count} can be on at once, whoever searches."
    if clean:
        calls = math.ceil(count / clean)
        yield (
            f"Split the call: {clean} can be clean together, of which {number_word(holding)} hold; in "
            f"{number_word(calls)} calls of {math.ceil(count / calls)} or fewer, one after another, all have a "
            "clean carrier."
        )
    more_mhz = _more_khz(crowd, over) / 1000.0
    yield f"More band: {more_mhz:g} MHz more, free and beside this, hold the other {over}."
    yield _closer(crowd, count)
    nearest = sorted(crowd.chains, key=lambda chain: (_distance_m(chain), chain.link.name))[:over]
    names = together([chain.link.name for chain in nearest])
    yield f"Wire {over}; the shortest cables: {names} ({_distance_m(nearest[-1]):.0f} m at most)."
    weak = sorted((link.in_hand_db, link.link) for link in placed if link.verdict != "holds")
    if weak:
        yield f"Leave out first who would not hold anyway: {together([name for _, name in weak[:over]])}."


def _more_khz(crowd: Crowd, over: int) -> int:
    """How much more band, beginning a spacing above the uppermost slot, holds so many more [kHz]."""
    block = (over - 1) * crowd.spacing_khz
    above = int(crowd.slots_khz[-1]) + crowd.spacing_khz + np.arange(0, block + 1, crowd.raster_khz)
    wider = np.concatenate([crowd.slots_khz, above])
    assert spacing_bound(wider, crowd.spacing_khz) >= crowd.most + over
    return over * crowd.spacing_khz


def _closer(crowd: Crowd, count: int) -> str:
    """The widest spacing at which all have a place, down to the width of a carrier."""
    width = max(chain.transmitter.bandwidth_khz for chain in crowd.chains)
    for spacing in range(crowd.spacing_khz - crowd.raster_khz, width - 1, -crowd.raster_khz):
        if spacing_bound(crowd.slots_khz, spacing) >= count:
            return (
                f"Closer: at {spacing} kHz instead of {crowd.spacing_khz} kHz all have a place, if the receivers' "
                "filters stand it; plan with that spacing to see who holds."
            )
    held = spacing_bound(crowd.slots_khz, max(width, 1))
    return f"Closer does not do it: even carrier beside carrier, at {width} kHz, no more than {held} have a place."


def _distance_m(chain: Chain) -> float:
    """The farthest that the two ends are from each other [m]."""
    pairs = itertools.product(chain.route, chain.heard_at)
    return max((math.dist((a.x_m, a.y_m), (b.x_m, b.y_m)) for a, b in pairs), default=math.inf)
