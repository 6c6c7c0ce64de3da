"""Going over from an earlier plan: who moves, in which order, and why each does not stay."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from linkwright.assign.calls import CallAnswer, Kept
from linkwright.assign.keep import switch_order
from linkwright.assign.problem import distinct
from linkwright.plan.chain import Scene
from linkwright.plan.model import Move
from linkwright.plan.neighbours import Afar
from linkwright.plan.prove import CallToProve, Proof, Standing, decided, prove, verdict
from linkwright.plan.radio import narrow
from linkwright.plan.site import RANKS, SiteProblem
from linkwright.plan.why import slot_reasons
from linkwright.units import together


def moves_of(
    scene: Scene, problem: SiteProblem, kept: Mapping[str, Kept], answers: Sequence[CallAnswer], afar: Afar
) -> list[Move]:
    """The steps from an earlier plan of a site to this one, for the links that have one carrier in all calls."""
    names = [wish.name for wish in problem.problem.wishes]
    given: dict[str, set[int | None]] = {name: set() for name in names}
    for answer in answers:
        for name, carrier in answer.carriers_khz.items():
            given[name].add(carrier)
    before = [kept[name].carrier_khz if name in kept else None for name in names]
    after = [next(iter(given[name])) if len(given[name]) == 1 else None for name in names]
    whole = distinct(problem.problem) if problem.problem.at_once else problem.problem
    return [
        Move(
            step=number,
            site=problem.site.name,
            link=step.link,
            links=_members(problem, step.link),
            from_khz=step.from_khz,
            to_khz=step.to_khz,
            clean=step.clean,
            because="" if step.from_khz is None else _because(scene, problem, kept, answers, afar, step.link),
            labels=problem.chains[problem.index(step.link)].labels((step.from_khz, step.to_khz)),
        )
        for number, step in enumerate(switch_order(whole, before, after), start=1)
    ]


def _members(problem: SiteProblem, name: str) -> tuple[str, ...] | None:
    """The links that share the carrier of a block; None for a link with its own."""
    chain = problem.chains[problem.index(name)]
    return tuple(way.link.name for way in chain.first_ways) if chain.name != chain.link.name else None


def _because(
    scene: Scene,
    problem: SiteProblem,
    kept: Mapping[str, Kept],
    answers: Sequence[CallAnswer],
    afar: Afar,
    name: str,
) -> str:
    """Why a link does not stay on its earlier carrier, the others being where they go."""
    index = problem.index(name)
    chain, tuning, home_khz = problem.chains[index], problem.tunings[index], kept[name].carrier_khz
    at = tuning.index(home_khz)
    if chain.link.locked_mhz is not None:
        return "it is locked there"
    if at is None or not tuning.legal[at]:
        said = next((reason.says for reason in slot_reasons(scene, chain, tuning, home_khz)), "")
        return _plain(said) or f"{chain.shown(home_khz)} MHz is none of its carriers any more"
    for n, answer in enumerate(answers):
        if name in answer.carriers_khz:
            for says in _if_it_stayed(scene, problem, n, {**answer.carriers_khz, name: home_khz}, afar, kept, name):
                return says
    return "where it was, not everybody would keep what they had"


def _plain(sentence: str) -> str:
    return sentence.rstrip(".")


def _if_it_stayed(
    scene: Scene,
    problem: SiteProblem,
    n: int,
    carriers_khz: Mapping[str, int | None],
    afar: Afar,
    kept: Mapping[str, Kept],
    name: str,
) -> Iterator[str]:
    """What would be wrong in a call with the link on its earlier carrier."""
    call = problem.calls[n]
    placed = {other: khz for other, khz in carriers_khz.items() if khz is not None}
    for other, khz in placed.items():
        a, b = problem.index(name), problem.index(other)
        if other != name and abs(khz - placed[name]) < problem.problem.spacing_khz(a, b):
            yield f"{other} is now {abs(khz - placed[name])} kHz from there"
    live = afar.during([call])
    standing = []
    for other, khz in placed.items():
        chain, tuning = problem.chains[problem.index(other)], problem.tunings[problem.index(other)]
        standing += Standing.all_of(chain, tuning, khz, afar, live, {link.name for link in call.links})
    to_prove = CallToProve(tuple(standing), narrow(scene.others_during(call)), scene.large)
    proofs = {proved.standing.chain.link.name: proved.proof for proved in decided(standing, prove(to_prove))}
    less = {
        other: word
        for other, proof in proofs.items()
        if (carrier := problem.chains[problem.index(other)].name) in kept
        and RANKS[word := _verdict(problem, other, proof)] < kept[carrier].rank
    }
    mine = next((other for other in _members(problem, name) or (name,) if other in less), None)
    if mine is not None:
        who = "it" if mine == name else mine
        yield f"there {who} {_would(less[mine])}{_strongest(proofs[mine])}"
    elif less:
        yield f"it makes room for {together(list(less))}, who {_would(next(iter(less.values())))} otherwise"


def _verdict(problem: SiteProblem, name: str, proof: Proof) -> str:
    return verdict(proof.told.sure, problem.chains[problem.index(name)].wanted.sure)


def _would(word: str) -> str:
    return "would be thin" if word == "thin" else "would fail"


def _strongest(proof: Proof) -> str:
    """The strongest thing in a link's channel, whose it is and its level."""
    lines = [(line.dbm, line.part) for line in proof.interference if line.dbm is not None]
    return f", with {max(lines)[1]} at {max(lines)[0]:.0f} dBm in its channel" if lines else ""
