"""One call of a plan, from its answer and its proofs: links, who has no carrier, and what was found of them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from linkwright.assign.bound import bounds_of_call
from linkwright.assign.calls import CallAnswer
from linkwright.plan.air import missed_during, needed_s
from linkwright.plan.at_once import ProvedCall
from linkwright.plan.by_itself import by_themselves
from linkwright.plan.chain import Chain, Scene
from linkwright.plan.findings import finding
from linkwright.plan.ledger import Set, planned
from linkwright.plan.model import Finding, PlannedCall, PlannedLink, Products, Unplaced
from linkwright.plan.plan_findings import (
    link_findings,
    power_finding,
    receiver_findings,
    unplaced_findings,
    unplaced_reason,
    unseated_reason,
)
from linkwright.plan.products import products_of
from linkwright.plan.prove import Decided, decided
from linkwright.plan.shortage import clean_together, crowds, what_helps
from linkwright.plan.site import SiteProblem, most_links, verify_listeners
from linkwright.plan.sound_findings import sound_findings
from linkwright.plan.tuning import Tuning
from linkwright.shoot.end import RECORDED, SPOKEN
from linkwright.shoot.view import LiveCall
from linkwright.sound.settings import delays_ms
from linkwright.units import number_word


def _with_lawful_spares(link: PlannedLink, tuning: Tuning) -> PlannedLink:
    """The link with its spares up to the first on which its power may not be used."""
    lawful = [tuning.most_mw[tuning.index(khz) or 0] >= link.power_mw for khz in link.spares_khz]
    first = lawful.index(False) if False in lawful else len(lawful)
    return link if first == len(lawful) else link.model_copy(update={"spares_khz": link.spares_khz[:first]})


def planned_call(
    scene: Scene, problem: SiteProblem, n: int, answer: CallAnswer, proved: ProvedCall
) -> tuple[PlannedCall, list[Finding]]:
    """One call with its findings, from its proof."""
    call = problem.calls[n]
    each = decided(proved.standing, proved.proofs)
    chains = [proved_link.standing.chain for proved_link in each]
    sound = {chain.link.name: chain.sound for chain in chains if chain.link.serves in SPOKEN | RECORDED}
    links = _links(problem, call, answer, each)
    verify_listeners(call, links)
    unplaced = _unplaced(scene, problem, call, answer)
    place = {link.name: at for at, link in enumerate(call.links)}
    alone = by_themselves(scene, call)
    bound = answer.bound
    if bound is not None:
        bound = most_links(problem, problem.problem.calls[n], bound, answer.criterion)
    done = PlannedCall(
        call=call.name,
        site=call.site.name,
        bound=bound,
        criterion=answer.criterion,
        other_criterion_db=_other_db(answer),
        other_criterion_holding=answer.compared.other_holding if answer.compared else None,
        missed=_rounded(missed_during(scene.air[call.site.name])),
        look_s=_rounded(needed_s(scene.air[call.site.name])),
        products=_products(scene, proved, chains, links),
        links=tuple(sorted(links, key=lambda planned: place[planned.link])),
        unplaced=tuple(sorted(unplaced, key=lambda gone: place.get(gone.link, len(place)))),
        by_themselves=tuple(alone.links) or None,
    )
    findings: list[Finding] = []
    for proved_link, link in zip(each, links, strict=True):
        findings += link_findings(call.name, proved_link.standing, proved_link.proof, link)
    findings += [*alone.findings, *receiver_findings(call, scene.shoot)]
    findings += sound_findings(call.name, [chain.link for chain in chains if chain.spoken], sound)
    findings += unplaced_findings(call.name, unplaced)
    if unplaced:
        findings += _crowded(scene, problem, n, links)
    if answer.criterion == "power":
        findings.append(power_finding(done, answer, bounds_of_call(problem.problem, problem.problem.calls[n])[0]))
    return done, findings


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 3)


def _other_db(answer: CallAnswer) -> float | None:
    """What the other criterion would have given the worst link [dB]."""
    compared = answer.compared
    if compared is None or compared.other_worst_db is None:
        return None
    return round(compared.other_worst_db - compared.worst_db, 2)


def _unplaced(scene: Scene, problem: SiteProblem, call: LiveCall, answer: CallAnswer) -> list[Unplaced]:
    """Who has no carrier in the call, and why: those without a slot, then those without a receiver."""
    live = {link.name for link in call.links}
    unplaced = []
    for carrier_name in (name for name, carrier in answer.carriers_khz.items() if carrier is None):
        for way in problem.chains[problem.index(carrier_name)].first_ways:
            if way.link.name in live:
                because = unplaced_reason(scene, problem, carrier_name, answer)
                unplaced.append(Unplaced(link=way.link.name, because=because))
    return unplaced + [Unplaced(link=name, because=unseated_reason(scene, name)) for name in call.unseated]


def _products(scene: Scene, proved: ProvedCall, chains: Sequence[Chain], links: Sequence[PlannedLink]) -> Products:
    """The products of a call; a block's carrier stands once, whichever of its links has it."""
    once = {chain.name: (chain, link) for chain, link in zip(reversed(chains), reversed(links), strict=True)}
    once = dict(reversed(once.items()))
    return products_of(
        [link for _, link in once.values()],
        [chain.transmitter.bandwidth_khz for chain, _ in once.values()],
        proved.others,
        scene.shoot.shoot.guard_khz,
        proved.beside_khz,
    )


def _crowded(scene: Scene, problem: SiteProblem, n: int, links: Sequence[PlannedLink]) -> Iterator[Finding]:
    """What would help each crowd of a call where somebody has no carrier."""
    call = problem.calls[n]
    for crowd in crowds(problem, n):
        where = f'call "{call.name}"' + (" and at the same time" if crowd.beside(call) else "")
        says = f"{number_word(len(crowd.chains)).capitalize()} links want carriers in {where}. "
        helps = what_helps(crowd, links, *clean_together(scene, problem, n, crowd))
        yield finding("crowded", call.name, says + " ".join(helps))


def _links(problem: SiteProblem, call: LiveCall, answer: CallAnswer, each: Sequence[Decided]) -> list[PlannedLink]:
    """The links of a call that have a carrier, with their spares, receivers and delays."""
    chains = [proved_link.standing.chain for proved_link in each]
    delays = delays_ms({chain.link.name: chain.sound for chain in chains if chain.link.serves in RECORDED})
    sets = [
        Set(answer.spares_khz[chain.name], call.seats[chain.link.name], delays.get(chain.link.name))
        for chain in chains
    ]
    tunings = [problem.tunings[problem.index(chain.link.name)] for chain in chains]
    return [_with_lawful_spares(link, tuning) for link, tuning in zip(planned(each, sets), tunings, strict=True)]
