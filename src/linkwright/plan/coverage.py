"""A planned call as links at work on the ground: what maps, routes, best places and least power are made from."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from linkwright.plan.answer import hand_says
from linkwright.plan.chain import Chain, Scene
from linkwright.plan.model import Plan, PlannedCall, PlannedLink, PlannedListener, Verdict
from linkwright.plan.prove import floored, verdict
from linkwright.reach.budget import Budget, budgets_of
from linkwright.reach.ground import AtWork, LeastPower, SpotServed, best_places, least_power
from linkwright.reach.hand import HandFigures
from linkwright.shoot.place import Site, Spot
from linkwright.units import dbm_from_mw


@dataclass(frozen=True, slots=True)
class Reaching:
    """A planned link, or one of several who listen to it, with what its reach is worked out from."""

    call: str
    chain: Chain
    planned: PlannedLink
    budget: Budget
    listener: PlannedListener | None = None

    @property
    def name(self) -> str:
        """The link, and of several who listen which."""
        return self.planned.link if self.listener is None else f"{self.planned.link}, {self.listener.listener}"

    @property
    def decides(self) -> bool:
        """Whether it is the one who listens that decides."""
        return self.listener is None or self.listener.listener == self.planned.listener

    @property
    def told(self) -> PlannedLink | PlannedListener:
        """What the plan tells of it."""
        return self.listener or self.planned

    @property
    def x_db(self) -> float:
        """Power less the rise of the noise less what is needed, as the plan has them [dB]."""
        return self.told.margin_db - self.budget.gain_db + self.budget.noise_dbm

    @property
    def at_work(self) -> AtWork:
        """The link as maps and routes take it."""
        rise = self.told.noise_and_interference_dbm - self.budget.noise_dbm
        return AtWork(
            self.name,
            self.chain.ends,
            self.planned.carrier_khz,
            self.planned.power_mw,
            self.chain.goes,
            rise,
            self.chain.wanted,
            self.chain.readings,
        )

    def spots(self) -> Iterator[SpotReach]:
        """Each spot of the route, as if the talent were there all the time."""
        x, power_dbm = self.x_db, dbm_from_mw(self.planned.power_mw)
        for n, spot in enumerate(self.budget.spots):
            told = self.budget.at_spot(n).told(x)
            margin = x + spot.gain_db - spot.noise_dbm
            word = verdict(told.sure, self.chain.wanted.sure)
            yield SpotReach(spot.spot, power_dbm + spot.gain_db, margin, floored(told.in_hand_db), told, word)

    def least(self) -> LeastPower:
        """The least power that holds with the noise and interference of the plan, and what it saves."""
        return least_power(self.at_work, self.budget, self.told.noise_and_interference_dbm, self.chain.reserve_db)


@dataclass(frozen=True, slots=True)
class SpotReach:
    """A spot of a route: level [dBm] and margin [dB] of the mean over all turns, what is in hand there [dB], the
    rest of what is told, and the verdict, as if the talent were there all the time."""

    spot: str
    wanted_dbm: float
    margin_db: float
    in_hand_db: float
    told: HandFigures
    verdict: Verdict


def reaching(scene: Scene, call: PlannedCall) -> list[Reaching]:
    """The links of a planned call that have a carrier, each one who listens by itself."""
    live = next(scene_call for scene_call in scene.calls if scene_call.name == call.call)
    by_name = {link.name: link for link in live.links}
    ways = [
        (way, planned, listener)
        for planned in call.links
        for way, listener in zip(
            scene.chain(by_name[planned.link], live.site).own_ways, planned.listeners or (None,), strict=True
        )
    ]
    budgets = budgets_of([way.asked(planned.carrier_khz) for way, planned, _ in ways])
    return [
        Reaching(call.call, way, planned, budget, listener)
        for (way, planned, listener), budget in zip(ways, budgets, strict=True)
    ]


def places_for(links: Sequence[Reaching]) -> tuple[SpotServed, ...]:
    """The spots of the links' site by how they would serve for the receivers' antennas, the best first."""
    if not links:
        return ()
    site: Site = links[0].chain.site
    spots: tuple[Spot, ...] = site.spots or (links[0].chain.at,)
    return best_places([link.at_work for link in links], spots)


def answer(plan: Plan) -> str:
    """One sentence: do all links reach, and where is the weakest?"""
    links = [(call, link) for call in plan.calls for link in call.links]
    if not links:
        return "No link has a carrier, so nothing is said of its reach."
    call, worst = min(links, key=lambda link: (link[1].in_hand_db, link[1].margin_db))
    bad = [link for _, link in links if link.verdict != "holds"]
    where = f"the weakest is {worst.link} at {worst.worst_place}, {hand_says(worst)}"
    where += f' in call "{call.call}"' if len(plan.calls) > 1 else ""
    if not bad:
        count = "The one link reaches" if len(links) == 1 else f"All {len(links)} links reach"
        return f"{count}; {where}."
    return f"{len(bad)} of {len(links)} links {'does' if len(bad) == 1 else 'do'} not reach surely; {where}."
