"""How many more links of each type would fit."""

from __future__ import annotations

import functools
from collections.abc import Mapping
from dataclasses import dataclass

from linkwright.air.predicted import Predicted
from linkwright.assign.room import RoomTask, room_of
from linkwright.plan.chain import Sweeps, scene_of
from linkwright.plan.site import Slots, site_problem
from linkwright.plan.solve import Run, here, solve_sites
from linkwright.progress import Tell, quiet
from linkwright.shoot.models import Shoot


@dataclass(frozen=True, slots=True)
class TypeRoom:
    """A type of transmitter: how many links have it, how many more were shown to fit, and the proven limit.

    All on `site`, the one that has the least room for it.
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
    run: Run | None = None,
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
    kinds: list[tuple[str, str, int]] = []
    tasks: list[RoomTask] = []
    for site in scene.used_sites:
        problem = site_problem(scene, site, slots.fresh(), {})
        for kind in dict.fromkeys(chain.link.sends.kit for chain in problem.chains):
            of_kind = [n for n, chain in enumerate(problem.chains) if chain.link.sends.kit == kind]
            kinds.append((kind, site.name, len(of_kind)))
            tasks.append(RoomTask(problem.problem, of_kind[0]))
    rooms: dict[str, TypeRoom] = {}
    job = room_of if run is not None else functools.partial(room_of, tell=tell)
    for done, ((kind, where, placed), room) in enumerate(zip(kinds, (run or here)(job, tasks), strict=True)):
        tell(f"room for {kind} on {where}", done / len(kinds))
        if kind not in rooms or room.more < rooms[kind].more:
            rooms[kind] = TypeRoom(kind, placed, room.more, room.bound, where)
    return tuple(rooms.values())
