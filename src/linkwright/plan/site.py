"""One site as an assignment problem: the shoot's links as wishes, and the answer checked by the verifier."""

from __future__ import annotations

import functools
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Final

import numpy as np

from linkwright.assign.bound import bounds_of_call
from linkwright.assign.calls import CallAnswer, Kept, SiteTask
from linkwright.assign.locks import apart
from linkwright.assign.placement import CallLevels
from linkwright.assign.problem import Criterion, Problem, Wish, distinct
from linkwright.assign.regain import FAILS, HOLDS, THIN
from linkwright.assign.verify import Placed, faults, listener_faults
from linkwright.plan.chain import Chain, Scene
from linkwright.plan.model import PlannedCall, PlannedLink
from linkwright.plan.neighbours import Afar, FarSite, hearing, moments
from linkwright.plan.prove import PlanFault
from linkwright.plan.radio import KnownBudgets, call_levels, narrow, others_arrays
from linkwright.plan.tuning import SharedTunings, Tuning, tuning_of
from linkwright.shoot.equipment import DisplayCarrier
from linkwright.shoot.models import Link
from linkwright.shoot.place import Site
from linkwright.shoot.view import LiveCall
from linkwright.units import IntArray, khz_from_mhz

#: Up to so many links in all a shoot's carriers use the room there is.
ROOMY_UP_TO: Final = 100
#: Of more links, the share of the effort that goes into each search: levels decide there, and a search that went on
#: was seen to find no better for them.
SHARE_OF_MANY: Final = 0.04
#: Verdicts as the assignment has them.
RANKS: Final = {"holds": HOLDS, "thin": THIN, "fails": FAILS}


@dataclass(frozen=True, eq=False)
class SiteProblem:
    """The links of one site as wishes: chains, slots, and which call has whom."""

    site: Site
    calls: tuple[LiveCall, ...]
    chains: tuple[Chain, ...]
    tunings: tuple[Tuning, ...]
    problem: Problem

    def index(self, link: str) -> int:
        """Where a link, or a block, stands among the wishes."""
        return self._numbers[link]

    @functools.cached_property
    def _numbers(self) -> dict[str, int]:
        each = [(n, way.link.name) for n, chain in enumerate(self.chains) for way in chain.ways]
        return {name: n for n, name in (*enumerate(chain.name for chain in self.chains), *each)}


def most_links(problem: SiteProblem, members: Sequence[int], carriers: int, criterion: Criterion) -> int:
    """The most links of the kinds of a call, where so many carriers at most can be placed: of carriers of wideband
    kits, of which there is a limit of their own, each has several."""
    wide = tuple(n for n in members if problem.chains[n].transmitter.carries > 1)
    if not wide:
        return carriers
    most = bounds_of_call(problem.problem, wide)[0 if criterion == "clean" else 1]
    return carriers + min(carriers, most) * (max(problem.chains[n].transmitter.carries for n in wide) - 1)


@dataclass
class Slots:
    """Keeps one array of slots for each kind of link, so that equal kinds are seen to be equal.

    `hearing` says which sites hear each other; `far` are the links of sites that were planned before, by name of
    the site; `stays` are the carriers of links that were placed on another site, by name of the link [kHz];
    `groups` are the groups of a display that alone are chosen from, by its list; `earlier` tells that the carriers
    of `stays` may be of an earlier period, and are kept where that is clean.
    """

    scene: Scene
    hearing: Mapping[str, set[str]]
    far: dict[str, FarSite] = field(default_factory=dict)
    stays: dict[str, int] = field(default_factory=dict)
    known: SharedTunings = field(default_factory=SharedTunings)
    budgets: KnownBudgets = field(default_factory=dict)
    groups: dict[tuple[DisplayCarrier, ...], str] = field(default_factory=dict)
    earlier: bool = False
    _calls_of: dict[str, dict[str, list[LiveCall]]] = field(default_factory=dict)
    _tunings: dict[tuple[object, ...], Tuning] = field(default_factory=dict)
    _arrays: dict[tuple[object, ...], tuple[IntArray, np.ndarray]] = field(default_factory=dict)

    @classmethod
    def of(cls, scene: Scene) -> Slots:
        """The slots of a shoot of which no site is planned yet."""
        return cls(scene, hearing(scene))

    def fresh(self) -> Slots:
        """The same with nothing worked out yet, for sites that were looked at before the others were planned."""
        return Slots(self.scene, self.hearing, self.far, known=self.known, budgets=self.budgets)

    def afar(self, site: Site) -> Afar:
        """The planned links of the sites that this one hears."""
        return Afar.of(site, [far for name, far in self.far.items() if name in self.hearing[site.name]])

    def tuning(self, chain: Chain, calls: Sequence[LiveCall], afar: Afar) -> Tuning:
        """The tuning of a link over its calls on this site."""
        terms = self.scene.terms(chain, calls)
        named = (tuple(licence.name for licence in terms.licences), terms.only)
        heard = tuple(way.hearing for way in chain.ways)
        key = (
            chain.link.sends.kit,
            chain.link.locked_mw,
            heard,
            named,
            chain.site.name,
            tuple(c.name for c in calls),
        )
        if key not in self._tunings:
            self._tunings[key] = tuning_of(self.scene, chain, calls, afar, self.known)
        return self._tunings[key]

    def calls_of(self, carrier: str) -> Mapping[str, Sequence[LiveCall]]:
        """The calls of the links on a carrier, by name of their site."""
        if not self._calls_of:
            for call in self.scene.calls:
                for name in dict.fromkeys(self.scene.blocks.carrier_of(link.name) for link in call.links):
                    self._calls_of.setdefault(name, {}).setdefault(call.site.name, []).append(call)
        return self._calls_of.get(carrier, {})

    def meeting(self, carriers: Iterable[str]) -> list[LiveCall]:
        """The calls of the links on any of some carriers, in the order of the shoot."""
        theirs = {call.name for name in carriers for calls in self.calls_of(name).values() for call in calls}
        return [call for call in self.scene.calls if call.name in theirs]

    def _elsewhere(self, chain: Chain) -> list[Tuning]:
        """The tunings of a link on the other sites that it has calls on."""
        return [
            self.tuning(self.scene.live_chain(chain.link, calls[0].site), calls, self.afar(calls[0].site))
            for site, calls in self.calls_of(chain.name).items()
            if site != chain.site.name
        ]

    def wish(self, chain: Chain, tuning: Tuning, kept: Kept | None) -> Wish:
        """The link as a wish. Without one quiet slot it takes the legal ones; without one of those, none."""
        elsewhere = self._elsewhere(chain)
        listed = chain.transmitter.carriers
        group = self.groups.get(listed)
        key = (id(tuning), group, *map(id, elsewhere))
        if key not in self._arrays:
            chosen = tuning.usable if tuning.usable.any() else tuning.legal
            if group is not None:
                inside = [khz_from_mhz(carrier.mhz) for carrier in listed if carrier.group == group]
                mine = chosen & np.isin(tuning.carriers_khz, inside)
                chosen = mine if mine.any() else chosen
            for other in elsewhere:  # a pack has one carrier all day, where all its sites have it
                there = chosen & np.isin(tuning.carriers_khz, other.carriers_khz[other.usable])
                chosen = there if there.any() else chosen
            self._arrays[key] = (tuning.carriers_khz[chosen], tuning.cost_db[chosen])
        slots, rise = self._arrays[key]
        locked = next((khz for way in chain.ways if (khz := locked_khz(way.link)) is not None), None)
        stays = locked if locked is not None else kept.carrier_khz if kept else None
        if stays is not None:
            at = tuning.index(stays)
            if at is None or not tuning.legal[at]:
                if locked is not None:
                    slots, rise, locked = slots[:0], rise[:0], None
            elif stays not in slots:
                here = int(np.searchsorted(slots, stays))
                slots, rise = np.insert(slots, here, stays), np.insert(rise, here, tuning.cost_db[at])
        return Wish(
            chain.name,
            slots,
            rise,
            chain.transmitter.spacing_khz,
            max(way.link.spares for way in chain.ways),
            locked,
            kept.carrier_khz if kept and locked is None else None,
            kept.spares_khz if kept else (),
            kept.rank if kept else HOLDS,
            None if kept else self.stays.get(chain.name),
            chain.stay_db,
        )


def locked_khz(link: Link) -> int | None:
    """The carrier that a link is locked to [kHz]."""
    return None if link.locked_mhz is None else khz_from_mhz(link.locked_mhz)


def kept_of_calls(scene: Scene, calls: Iterable[PlannedCall], site: Site) -> dict[str, Kept]:
    """What the carriers of a site's links and blocks were in calls of an earlier plan: the first call's, the worst
    verdict. Where both ends are set counts where no plan is known, and for a link that is locked elsewhere."""
    kept: dict[str, Kept] = {}
    for call in calls:
        if call.site == site.name:
            for link in call.links:
                name = scene.blocks.carrier_of(link.link)
                first = kept.get(name, Kept(link.carrier_khz, link.spares_khz))
                kept[name] = replace(first, rank=min(first.rank, RANKS[link.verdict]))
    for there in (link for live in scene.calls_on(site) for link in live.links):
        name = scene.blocks.carrier_of(there.name)
        if there.set_mhz is not None and (there.locked_mhz is not None or name not in kept):
            kept[name] = Kept(khz_from_mhz(there.set_mhz), ())
    return kept


def site_problem(scene: Scene, site: Site, slots: Slots, kept: Mapping[str, Kept]) -> SiteProblem:
    """The assignment problem of one site over all its calls; its links by name, whatever their order in the
    file."""
    calls, carrier_of = scene.calls_on(site), scene.blocks.carrier_of
    every = {carrier_of(link.name): link for call in reversed(calls) for link in reversed(call.links)}
    chains = tuple(
        chain
        for name in sorted(every)
        if not (chain := scene.live_chain(every[name], site)).transmitter.coordinates_itself
    )
    live = {chain.name: chain for chain in chains}
    who = [{name for link in call.links if (name := carrier_of(link.name)) in live} for call in calls]
    calls_of = {name: [call for call, names in zip(calls, who, strict=True) if name in names] for name in live}
    afar = slots.afar(site)
    tunings = tuple(slots.tuning(chain, calls_of[chain.name], afar) for chain in chains)
    wishes = tuple(
        slots.wish(chain, tuning, kept.get(chain.name)) for chain, tuning in zip(chains, tunings, strict=True)
    )
    number = {name: n for n, name in enumerate(live)}
    members = tuple(tuple(sorted(number[name] for name in names)) for names in who)
    guard = scene.shoot.shoot.guard_khz
    makers = tuple(tuple(others_arrays(narrow(scene.others_during(call)))[0].tolist()) for call in calls)
    # A product is as wide as its three makers, a channel as its carrier: from twice the width on they do not touch.
    # In an event there is no room to spare, and looking for it would cost more than all else; nor for blocks.
    narrow_kit = [chain.transmitter for chain in chains if chain.transmitter.carries == 1]
    wide = max((transmitter.bandwidth_khz for transmitter in narrow_kit), default=0)
    roomy_khz = 2 * wide if len(scene.shoot.link) <= ROOMY_UP_TO else 0
    meeting = (
        tuple(sorted({number[name] for x in call.links if (name := carrier_of(x.name)) in number}))
        for call in slots.meeting(number)
    )
    elsewhere = tuple(dict.fromkeys(these for these in meeting if len(these) > 2 and these not in members))
    problem = Problem(
        wishes, members, guard.im3_two, guard.im3_three, makers, roomy_khz, elsewhere, tuple(moments(calls))
    )
    return SiteProblem(site, calls, chains, tunings, apart(problem))


def site_task(site: SiteProblem, slots: Slots, effort: float) -> SiteTask:
    """The site as numbers alone, ready to be solved anywhere: the problem and the levels of its distinct calls.

    With no effort to be spent on it, the first placement is not weighed and needs no levels: an event has its
    first plan in half the time, in which half as many hold.
    """
    scene, levels = slots.scene, list[CallLevels]()
    effort *= 1.0 if len(scene.shoot.link) <= ROOMY_UP_TO else SHARE_OF_MANY
    if effort <= 0.0 and all(wish.keep_khz is None for wish in site.problem.wishes):
        return SiteTask(site.problem, (), effort, slots.earlier)
    having = [n for n, wish in enumerate(site.problem.wishes) if wish.slots_khz.size]
    for members, while_live in _levels_of(site):
        able = [i for i in members if i in having]
        if not able:
            continue
        others = {other.name: other for call in while_live for other in scene.others_during(call)}
        levels.append(
            call_levels(
                [site.chains[i] for i in able],
                [site.tunings[i] for i in able],
                [site.problem.wishes[i] for i in able],
                able,
                narrow(tuple(others.values())),
                scene.large,
                slots.budgets,
            )
        )
    return SiteTask(site.problem, tuple(levels), effort, slots.earlier)


def _levels_of(site: SiteProblem) -> Iterator[tuple[tuple[int, ...], list[LiveCall]]]:
    """Whose levels are worked out together, and the calls in which they meet: of each distinct call, and of calls
    that run at one moment, as far as they are no part of others."""
    alone = dict.fromkeys(site.problem.calls)
    if site.problem.at_once:
        alone = dict.fromkeys(distinct(site.problem).calls)
    for members in alone:
        meet = [site.problem.meeting(calls) == members for calls in site.problem.at_once]
        those = {n for calls, same in zip(site.problem.at_once, meet, strict=True) if same for n in calls}
        those |= {n for n, who in enumerate(site.problem.calls) if who == members}
        yield members, [site.calls[n] for n in sorted(those)]


def verify_site(site: SiteProblem, answers: Sequence[CallAnswer]) -> None:
    """Let the separate verifier look at every moment: a call, or those that run at once. Raises PlanFault with what
    it found."""
    crowded = {n for calls in site.problem.at_once for n in calls}
    for calls in (*site.problem.at_once, *((n,) for n in range(len(answers)) if n not in crowded)):
        _verify(site, calls, answers)


def verify_listeners(call: LiveCall, links: Sequence[PlannedLink]) -> None:
    """Let the separate verifier see that each link is told by the worst of those who listen. Raises PlanFault."""
    told = {link.link: link.in_hand_db for link in links}
    each = [(link.link, listener.in_hand_db) for link in links for listener in link.listeners or ()]
    listener_fault = next(listener_faults(told, each), None)
    if listener_fault is not None:
        raise PlanFault(f'call "{call.name}": {listener_fault}')


def _verify(site: SiteProblem, calls: Sequence[int], answers: Sequence[CallAnswer]) -> None:
    """Let the separate verifier look at calls that run at once. Raises PlanFault with what it found."""
    placed = {}
    for n, i in [(call, link) for call in calls for link in site.problem.calls[call]]:
        chain, tuning, answer = site.chains[i], site.tunings[i], answers[n]
        carrier = answer.carriers_khz[chain.name]
        if carrier is not None:
            spares, spacing_khz = answer.spares_khz[chain.name], chain.transmitter.spacing_khz
            # A link that had two carriers at once would be found to be too near to itself, or in its own way.
            placed[i, carrier] = Placed(chain.name, carrier, spares, spacing_khz, tuning.legal_khz)
    guards = (site.problem.guard_two_khz, site.problem.guard_three_khz)
    others = {f"other {place}": khz for place, khz in enumerate(site.problem.makers_at(calls), start=1)}
    clean = all(answers[n].criterion == "clean" for n in calls)
    in_order = [placed[key] for key in sorted(placed)] if len(calls) > 1 else list(placed.values())
    fault = next(faults(in_order, clean, *guards, others), None)
    if fault is not None:
        raise PlanFault(f'call "{site.calls[calls[0]].name}": {fault}')
