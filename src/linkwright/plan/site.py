"""Carriers for one site: the shoot's links as an assignment problem, and its answer, checked by the verifier."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from linkwright.assign.bound import bounds_of_call
from linkwright.assign.clean import Tell
from linkwright.assign.problem import Assignment, Criterion, Problem, Wish
from linkwright.assign.search import solve
from linkwright.assign.verify import Placed, faults
from linkwright.plan.chain import Chain, Scene
from linkwright.plan.model import Plan
from linkwright.plan.tuning import Tuning, tuning_of
from linkwright.shoot.models import Link
from linkwright.shoot.place import Site
from linkwright.shoot.view import LiveCall
from linkwright.units import IntArray, khz_from_mhz


class PlanFault(AssertionError):
    """The verifier found a plan to be wrong: a bug in the program, told instead of written."""


@dataclass(frozen=True, slots=True)
class Kept:
    """What a link had in an earlier plan."""

    carrier_khz: int
    spares_khz: tuple[int, ...]


@dataclass(frozen=True, eq=False)
class SiteProblem:
    """The links of one site as wishes: chains, slots, and which call has whom."""

    site: Site
    calls: tuple[LiveCall, ...]
    chains: tuple[Chain, ...]
    tunings: tuple[Tuning, ...]
    problem: Problem

    def index(self, link: str) -> int:
        """Where a link stands among the wishes."""
        return next(n for n, chain in enumerate(self.chains) if chain.link.name == link)


@dataclass(frozen=True, slots=True)
class CallAnswer:
    """Carriers and spares of one call, by name of the link; None for a link that has none."""

    criterion: Criterion
    proved: bool
    bound: int | None
    carriers_khz: Mapping[str, int | None]
    spares_khz: Mapping[str, tuple[int, ...]]


@dataclass
class Slots:
    """Keeps one array of slots for each kind of link, so that equal kinds are seen to be equal."""

    scene: Scene
    _tunings: dict[tuple[object, ...], Tuning] = field(default_factory=dict)
    _arrays: dict[int, tuple[IntArray, np.ndarray]] = field(default_factory=dict)

    def tuning(self, chain: Chain, calls: Sequence[LiveCall]) -> Tuning:
        """The tuning of a link over its calls on this site."""
        link = chain.link
        key = (link.transmitter, link.receiver, chain.site.name, chain.at.name, tuple(c.name for c in calls))
        if key not in self._tunings:
            self._tunings[key] = tuning_of(self.scene, chain, calls)
        return self._tunings[key]

    def wish(self, chain: Chain, tuning: Tuning, kept: Kept | None) -> Wish:
        """The link as a wish. Without one quiet slot it takes the legal ones; without one of those, none."""
        if id(tuning) not in self._arrays:
            chosen = tuning.usable if tuning.usable.any() else tuning.legal
            self._arrays[id(tuning)] = (tuning.carriers_khz[chosen], tuning.cost_db[chosen])
        slots, rise = self._arrays[id(tuning)]
        locked = locked_khz(chain.link)
        if locked is not None:
            at = tuning.index(locked)
            if at is None or not tuning.legal[at]:
                slots, rise, locked = slots[:0], rise[:0], None
            elif locked not in slots:
                here = int(np.searchsorted(slots, locked))
                slots, rise = np.insert(slots, here, locked), np.insert(rise, here, tuning.cost_db[at])
        return Wish(
            chain.link.name,
            slots,
            rise,
            chain.transmitter.spacing_khz,
            chain.link.spares,
            locked,
            kept.carrier_khz if kept and locked is None else None,
            kept.spares_khz if kept else (),
        )


def locked_khz(link: Link) -> int | None:
    """The carrier that a link is locked to [kHz]."""
    return None if link.locked_mhz is None else khz_from_mhz(link.locked_mhz)


def kept_on(plan: Plan | None, site: Site) -> dict[str, Kept]:
    """What the links of a site had in an earlier plan, by the first call that has them there."""
    kept: dict[str, Kept] = {}
    for call in plan.calls if plan else ():
        if call.site == site.name:
            for link in call.links:
                kept.setdefault(link.link, Kept(link.carrier_khz, link.spares_khz))
    return kept


def site_problem(scene: Scene, site: Site, slots: Slots, kept: Mapping[str, Kept]) -> SiteProblem:
    """The assignment problem of one site over all its calls."""
    calls = scene.calls_on(site)
    live = {link.name: link for call in calls for link in call.links}
    chains = tuple(scene.chain(link, site) for link in live.values())
    calls_of = {name: [call for call in calls if any(x.name == name for x in call.links)] for name in live}
    tunings = tuple(slots.tuning(chain, calls_of[chain.link.name]) for chain in chains)
    wishes = tuple(
        slots.wish(chain, tuning, kept.get(chain.link.name)) for chain, tuning in zip(chains, tunings, strict=True)
    )
    number = {name: n for n, name in enumerate(live)}
    members = tuple(tuple(number[link.name] for link in call.links) for call in calls)
    guard = scene.shoot.shoot.guard_khz
    return SiteProblem(site, calls, chains, tunings, Problem(wishes, members, guard.im3_two, guard.im3_three))


def answer_site(site: SiteProblem, tell: Tell) -> list[CallAnswer]:
    """Carriers for every call of the site, verified.

    All calls are solved together first, so that a link keeps its carrier across them. Only where that leaves
    somebody out or is not clean is each call solved by itself, as near to the one before as it can be.
    """
    whole = solve(replace(site.problem, calls=tuple(dict.fromkeys(site.problem.calls))), tell)
    together = [_of_call(site, site.problem, whole, n) for n in range(len(site.calls))]
    distinct = len(set(site.problem.calls)) > 1
    if distinct and (whole.criterion != "clean" or whole.placed < len(site.problem.wishes)):
        apart = _call_by_call(site, tell)
        if _worth(apart) > _worth(together):
            together = apart
    for n, call_answer in enumerate(together):
        _verify(site, n, call_answer)
    return together


def _worth(answers: Sequence[CallAnswer]) -> tuple[int, int]:
    """What makes one way of solving the calls better than another: who is placed, then how many are clean."""
    placed = sum(carrier is not None for answer in answers for carrier in answer.carriers_khz.values())
    return placed, sum(answer.criterion == "clean" for answer in answers)


def _call_by_call(site: SiteProblem, tell: Tell) -> list[CallAnswer]:
    """Each call by itself; a link that was live before keeps its carrier where that stays clean."""
    answers: list[CallAnswer] = []
    before: dict[str, Kept] = {}
    for n, members in enumerate(site.problem.calls):
        wishes = [site.problem.wishes[i] for i in members]
        near = [
            replace(w, keep_khz=before[w.name].carrier_khz, keep_spares_khz=before[w.name].spares_khz)
            if w.name in before and w.locked_khz is None
            else w
            for w in wishes
        ]
        alone = replace(site.problem, wishes=tuple(near), calls=(tuple(range(len(near))),))
        found = solve(alone, tell)
        if found.criterion != "clean" and any(w.keep_khz is not None for w in near):
            fresh = tuple(replace(w, keep_khz=None) for w in wishes)
            found = min(
                (found, solve(replace(alone, wishes=fresh), tell)),
                key=lambda a: (-a.placed, a.criterion != "clean"),
            )
        answers.append(_answer(site, n, wishes, found))
        for wish, carrier, spares in zip(wishes, found.carriers_khz, found.spares_khz, strict=True):
            if carrier is not None:
                before[wish.name] = Kept(carrier, spares)
    return answers


def _of_call(site: SiteProblem, problem: Problem, whole: Assignment, n: int) -> CallAnswer:
    members = problem.calls[n]
    part = replace(
        whole,
        carriers_khz=tuple(whole.carriers_khz[i] for i in members),
        spares_khz=tuple(whole.spares_khz[i] for i in members),
    )
    return _answer(site, n, [problem.wishes[i] for i in members], part)


def _answer(site: SiteProblem, n: int, wishes: Sequence[Wish], found: Assignment) -> CallAnswer:
    clean, any_ = bounds_of_call(site.problem, site.problem.calls[n])
    names = [wish.name for wish in wishes]
    return CallAnswer(
        found.criterion,
        found.proved,
        clean if found.criterion == "clean" else any_,
        dict(zip(names, found.carriers_khz, strict=True)),
        dict(zip(names, found.spares_khz, strict=True)),
    )


def _verify(site: SiteProblem, n: int, answer: CallAnswer) -> None:
    """Let the separate verifier look at a call. Raises PlanFault with what it found."""
    placed = []
    for i in site.problem.calls[n]:
        chain, tuning = site.chains[i], site.tunings[i]
        carrier = answer.carriers_khz[chain.link.name]
        if carrier is not None:
            allowed = frozenset(tuning.carriers_khz[tuning.legal].tolist())
            spares = answer.spares_khz[chain.link.name]
            placed.append(Placed(chain.link.name, carrier, spares, chain.transmitter.spacing_khz, allowed))
    guards = (site.problem.guard_two_khz, site.problem.guard_three_khz)
    found = next(faults(placed, answer.criterion == "clean", *guards), None)
    if found is not None:
        raise PlanFault(f'call "{site.calls[n].name}": {found}')
