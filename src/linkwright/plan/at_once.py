"""What is proved of a site: its calls one by one, and those that run at the same time together.

A link that meets others only for a part of its call stands once for each moment, with who is on then; the worst of
its moments is what is told of it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from linkwright.assign.calls import CallAnswer
from linkwright.plan.chain import Scene
from linkwright.plan.neighbours import Afar
from linkwright.plan.prove import CallToProve, Proof, Standing
from linkwright.plan.radio import narrow
from linkwright.plan.site import SiteProblem
from linkwright.shoot.place import Other


@dataclass(frozen=True, eq=False, slots=True)
class ProvedCall:
    """A call with the proofs of its ways; the narrow others that are on during it, and of links of calls at the
    same time the carrier and its width [kHz]."""

    standing: tuple[Standing, ...]
    proofs: tuple[Proof, ...]
    others: tuple[Other, ...]
    beside_khz: tuple[tuple[int, int], ...] = ()


def to_prove(
    scene: Scene, problem: SiteProblem, answers: Sequence[CallAnswer], afar: Afar
) -> tuple[CallToProve, ...]:
    """The links of a site that have a carrier, group by group of the calls that run at the same time, as the proof
    wants them."""
    return tuple(
        _of_group(scene, problem, calls, answers, afar)
        if len(calls) > 1
        else _of_call(scene, problem, calls[0], answers[calls[0]], afar)
        for calls in problem.problem.groups
    )


def _of_call(scene: Scene, problem: SiteProblem, n: int, answer: CallAnswer, afar: Afar) -> CallToProve:
    """A call that runs alone."""
    call = problem.calls[n]
    live = afar.during([call])
    names = {link.name for link in call.links}
    standing = [
        way
        for i in problem.problem.calls[n]
        if (carrier := answer.carriers_khz[problem.chains[i].name]) is not None
        for way in Standing.all_of(problem.chains[i], problem.tunings[i], carrier, afar, live, names)
    ]
    return CallToProve(tuple(standing), narrow(scene.others_during(call)), scene.large)


def moments_of_group(problem: SiteProblem, calls: Sequence[int]) -> list[tuple[int, ...]]:
    """The moments of a group, each the calls that are on in it, by index."""
    return [moment for moment in problem.problem.at_once if moment[0] in calls]


def _of_group(
    scene: Scene, problem: SiteProblem, calls: Sequence[int], answers: Sequence[CallAnswer], afar: Afar
) -> CallToProve:
    """Calls that run at the same time, or are joined by such: carrier by carrier, moment by moment."""
    moments = moments_of_group(problem, calls)
    others = {other.name: other for n in calls for other in narrow(scene.others_during(problem.calls[n]))}
    number = {name: at for at, name in enumerate(others)}
    during = {n: {number[o.name] for o in narrow(scene.others_during(problem.calls[n]))} for n in calls}
    others_on: list[tuple[int, ...]] = []
    standing: list[Standing] = []
    moment_of: list[int] = []
    for i in problem.problem.meeting(calls):
        chain, tuning = problem.chains[i], problem.tunings[i]
        for at, moment in enumerate(moments):
            mine = [n for n in moment if i in problem.problem.calls[n]]
            carrier = answers[mine[0]].carriers_khz[chain.name] if mine else None
            if carrier is not None:
                names = {link.name for n in mine for link in problem.calls[n].links}
                live = afar.during([problem.calls[n] for n in mine])
                ways = Standing.all_of(chain, tuning, carrier, afar, live, names)
                standing += ways
                moment_of += [at] * len(ways)
                others_on += [tuple(sorted(set().union(*(during[n] for n in mine))))] * len(ways)
    return CallToProve(tuple(standing), tuple(others.values()), scene.large, tuple(moment_of), tuple(others_on))


def call_by_call(
    problem: SiteProblem, groups: Sequence[CallToProve], proofs: Sequence[Sequence[Proof]]
) -> list[ProvedCall]:
    """The proofs of a site call by call, in their order: of a way that was proved for several moments the worst."""
    proved_calls: dict[int, ProvedCall] = {}
    for calls, group, proved in zip(problem.problem.groups, groups, proofs, strict=True):
        if len(calls) == 1:
            proved_calls[calls[0]] = ProvedCall(group.standing, tuple(proved), group.others)
            continue
        moments = moments_of_group(problem, calls)
        for n in calls:
            proved_calls[n] = _of_moments(problem, n, moments, group, proved)
    return [proved_calls[n] for n in range(len(problem.calls))]


def _of_moments(
    problem: SiteProblem,
    n: int,
    moments: Sequence[tuple[int, ...]],
    group: CallToProve,
    proofs: Sequence[Proof],
) -> ProvedCall:
    """One call of a group, with the worst of its moments for each way."""
    live = {link.name for link in problem.calls[n].links}
    worst: dict[tuple[str, str], tuple[Standing, Proof]] = {}
    beside: dict[str, tuple[int, int]] = {}
    on: set[int] = set()
    for standing, proof, at, others in zip(group.standing, proofs, group.moments, group.others_on, strict=True):
        who = standing.chain.link.name, standing.chain.listener_name
        if n in moments[at] and who[0] in live:
            known = worst.get(who)
            if known is None or proof.told.in_hand_db < known[1].told.in_hand_db:
                worst[who] = standing, proof
            on.update(others)
        elif n in moments[at]:
            beside[standing.chain.name] = standing.carrier_khz, standing.chain.transmitter.bandwidth_khz
    for standing, _ in worst.values():
        beside.pop(standing.chain.name, None)
    return ProvedCall(
        tuple(standing for standing, _ in worst.values()),
        tuple(proof for _, proof in worst.values()),
        tuple(group.others[other] for other in sorted(on)),
        tuple(beside.values()),
    )
