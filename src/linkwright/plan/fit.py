"""How many more links of each type would fit."""

from __future__ import annotations

import functools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from linkwright.air.predicted import Predicted
from linkwright.assign.room import Room, RoomTask, room_of
from linkwright.plan.chain import Chain, Sweeps, scene_of
from linkwright.plan.site import SiteProblem, Slots, most_links, site_problem
from linkwright.plan.solve import Runner, here, solve_sites
from linkwright.progress import Tell, quiet
from linkwright.shoot.models import Shoot


@dataclass(frozen=True, slots=True)
class TypeRoom:
    """A type of transmitter: how many links have it, how many more were shown to fit, and the proven limit.

    All on `site`, the one that has the least room for it. Links that share one carrier count each.
    """

    transmitter: str
    placed: int
    more: int
    bound: int
    site: str


def fit(
    shoot: Shoot,
    sweeps: Sweeps,
    tell: Tell = quiet,
    run: Runner | None = None,
    tv: Mapping[str, Predicted] | None = None,
) -> tuple[TypeRoom, ...]:
    """For each type of transmitter in use, the room on the site that has the least of it.

    Clean, without spares, all carriers of the site free to move but the locked ones; the other sites stand as a
    first plan has them. `bound` limits all links of the call together. Raises InputError as `make_plan` does.
    """
    scene = scene_of(shoot, sweeps, tv)
    slots = Slots.of(scene)
    if any(slots.hearing.values()):
        solve_sites(scene, slots, {site.name: {} for site in scene.used_sites}, tell, run, 0.0)
    kinds: list[_Kind] = []
    tasks: list[RoomTask] = []
    for site in scene.used_sites:
        problem = site_problem(scene, site, slots.fresh(), {})
        for kind in dict.fromkeys(chain.link.sends.kit for chain in problem.chains):
            of_kind = [n for n, chain in enumerate(problem.chains) if chain.link.sends.kit == kind]
            kinds.append(_Kind(kind, problem, [problem.chains[n] for n in of_kind]))
            tasks.append(RoomTask(problem.problem, of_kind[0]))
    rooms: dict[str, TypeRoom] = {}
    job = room_of if run is not None else functools.partial(room_of, tell=tell)
    for done, (of, room) in enumerate(zip(kinds, (run or here)(job, tasks), strict=True)):
        tell(f"room for {of.name} on {of.problem.site.name}", done / len(kinds))
        type_room = of.room(room)
        if of.name not in rooms or type_room.more < rooms[of.name].more:
            rooms[of.name] = type_room
    return tuple(rooms.values())


@dataclass(frozen=True, slots=True)
class _Kind:
    """A type of transmitter on a site, and the chains that have it."""

    name: str
    problem: SiteProblem
    chains: Sequence[Chain]

    def room(self, room: Room) -> TypeRoom:
        """The room for carriers as room for links: of a wideband system each carries several."""
        carries = self.chains[0].transmitter.carries
        placed = sum(len(chain.first_ways) for chain in self.chains)
        free = carries * len(self.chains) - placed
        bound = most_links(self.problem, range(len(self.problem.chains)), room.bound, "clean")
        return TypeRoom(self.name, placed, free + carries * room.more, bound, self.problem.site.name)
