"""A planned call as links at work on the ground: what maps, routes, best places and least power are made from."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from linkwright.plan.chain import Chain, Scene
from linkwright.plan.model import Plan, PlannedCall, PlannedLink
from linkwright.reach.budget import Budget
from linkwright.reach.ground import AtWork, LeastPower, Placed, best_places, least_power
from linkwright.reach.hold import Holding, holding
from linkwright.shoot.models import Shoot
from linkwright.shoot.place import Site, Spot
from linkwright.units import sum_dbm


@dataclass(frozen=True, slots=True)
class Reaching:
    """A planned link with what its reach is worked out from."""

    call: str
    chain: Chain
    planned: PlannedLink
    budget: Budget

    @property
    def at_work(self) -> AtWork:
        """The link as maps and routes take it."""
        own = sum_dbm(level.dbm for level in self.budget.noise)
        rise = self.planned.noise_and_interference_dbm - own
        return AtWork(
            self.planned.link,
            self.chain.ends,
            self.planned.carrier_khz,
            self.planned.power_mw,
            self.chain.route,
            rise,
        )

    def spots(self) -> Iterator[tuple[str, float, float, Holding]]:
        """Each spot of the route: its name, wanted level [dBm], margin [dB], and how it holds there."""
        power, unwanted = self.planned.power_mw, self.planned.noise_and_interference_dbm
        wanted = self.budget.wanted_dbm(power) - self.budget.worst.gain_db
        for spot, place in zip(self.budget.spots, self.budget.places(power, unwanted), strict=True):
            yield spot.spot, wanted + spot.gain_db, place.margin_db, holding([place], self.budget.doppler)

    def least(self, target: float) -> LeastPower:
        """The least power that holds with the noise and interference of the plan, and what it saves."""
        return least_power(self.at_work, self.budget, self.planned.noise_and_interference_dbm, target)


def reaching(scene: Scene, call: PlannedCall) -> list[Reaching]:
    """The links of a planned call that have a carrier."""
    live = next(one for one in scene.calls if one.name == call.call)
    by_name = {link.name: link for link in live.links}
    found = []
    for planned in call.links:
        chain = scene.chain(by_name[planned.link], live.site)
        found.append(Reaching(call.call, chain, planned, chain.budget(planned.carrier_khz)))
    return found


def places_for(links: Sequence[Reaching]) -> tuple[Placed, ...]:
    """The spots of the links' site by how they would serve for the receivers' antennas, the best first."""
    if not links:
        return ()
    site: Site = links[0].chain.site
    spots: tuple[Spot, ...] = site.spots or (links[0].chain.at,)
    return best_places([link.at_work for link in links], spots)


def answer(plan: Plan, shoot: Shoot) -> str:
    """One sentence: do all links reach, and where is the weakest?"""
    links = [(call, link) for call in plan.calls for link in call.links]
    if not links:
        return "No link has a carrier, so nothing is said of its reach."
    call, worst = min(links, key=lambda one: one[1].margin_db)
    bad = [link for _, link in links if link.availability < shoot.shoot.target]
    where = f"the weakest is {worst.link} at {worst.worst_at} with {worst.margin_db:.1f} dB"
    where += f' in call "{call.call}"' if len(plan.calls) > 1 else ""
    if not bad:
        count = "The one link reaches" if len(links) == 1 else f"All {len(links)} links reach"
        return f"{count}; {where}."
    return f"{len(bad)} of {len(links)} links {'does' if len(bad) == 1 else 'do'} not reach surely; {where}."
