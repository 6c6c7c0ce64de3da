"""A plan in its pieces, each the calls of one site in one period with all that was found of them; a whole is put
together from them.

So a long event is planned piece by piece, and what changes in one is planned again while all others stand.
"""

from __future__ import annotations

import functools
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from linkwright import __version__
from linkwright.assign.calls import Kept
from linkwright.plan.at_once import ProvedCall, call_by_call, to_prove
from linkwright.plan.batteries import batteries_of
from linkwright.plan.chain import Scene
from linkwright.plan.findings import sorted_findings
from linkwright.plan.input_findings import input_findings, opened_findings, permit_findings, time_findings
from linkwright.plan.model import Finding, Move, Plan, PlannedCall, Rule
from linkwright.plan.moves import moves_of
from linkwright.plan.neighbours import positions
from linkwright.plan.plan_findings import assumed_rows, fewest_finding, moved_findings
from linkwright.plan.planned_call import planned_call
from linkwright.plan.prove import CallToProve, Proof
from linkwright.plan.reach_findings import site_reach_findings
from linkwright.plan.site import SiteProblem, Slots
from linkwright.plan.solve import Solved
from linkwright.progress import Tell
from linkwright.rules import Row
from linkwright.shoot.place import Site

#: Proves what is to be proved of each of several sites, in their order.
Prover = Callable[[Sequence[tuple[CallToProve, ...]]], Iterable[list[list[Proof]]]]
#: The calls of a piece, by name, in the order of the shoot.
Named = tuple[str, ...]


@dataclass(frozen=True, eq=False, slots=True)
class Piece:
    """The calls of a site in a period as planned, what was found of them, the moves from an earlier plan, and which
    row of the rules decided for each placed link."""

    calls: tuple[PlannedCall, ...]
    findings: tuple[Finding, ...]
    moves: tuple[Move, ...]
    decided: tuple[tuple[str, Row | None], ...]


@dataclass(frozen=True, eq=False)
class Pieces:
    """A planned shoot: its scene, the pieces by the names of their calls, and what was found between the sites of
    each period (by the names of its calls)."""

    scene: Scene
    pieces: Mapping[Named, Piece]
    between: Mapping[Named, tuple[Finding, ...]]

    @functools.cached_property
    def calls(self) -> dict[str, PlannedCall]:
        """All calls as planned, by name."""
        return {call.call: call for piece in self.pieces.values() for call in piece.calls}

    @functools.cached_property
    def plan(self) -> Plan:
        """The whole, put together when it is asked for: of a long event that takes longer than planning a piece."""
        return _whole(self)


@dataclass
class Making:
    """Pieces as they are made."""

    pieces: dict[Named, Piece] = field(default_factory=dict)
    between: dict[Named, tuple[Finding, ...]] = field(default_factory=dict)


def named(scene: Scene, site: Site | None = None) -> Named:
    """The names of a scene's calls, all or those of a site."""
    return tuple(call.name for call in (scene.calls if site is None else scene.calls_on(site)))


# wide: the period, what was solved and kept of it, where the pieces go, and who proves and tells
def make_pieces(
    making: Making,
    scene: Scene,
    slots: Slots,
    solved: Solved,
    kept_by_site: Mapping[str, Mapping[str, Kept]],
    tell: Tell,
    prove: Prover,
    *,
    again: bool,
) -> dict[str, PlannedCall]:
    """Prove what was solved of a period, and add its pieces; the calls by name. `again` tells that there is an
    earlier plan."""
    sites = [site for site in scene.used_sites if site.name in solved]
    calls: dict[str, PlannedCall] = {}
    for site, proved in zip(sites, _proved(scene, sites, slots, solved, tell, prove), strict=True):
        problem, answers = solved[site.name]
        kept, stepped = kept_by_site[site.name], list[Move]()
        findings = [*input_findings(scene, problem), *site_reach_findings(problem)]
        if kept:
            stepped = moves_of(scene, problem, kept, answers, slots.afar(site))
            stepped = [move for move in stepped if again or move.from_khz is not None]
            findings += moved_findings(kept, stepped)
            findings += fewest_finding(site.name, stepped, answers)
        done = []
        for n, (answer, proof) in enumerate(zip(answers, proved, strict=True)):
            call, told = planned_call(scene, problem, n, answer, proof)
            done.append(call)
            findings += told
        findings += opened_findings(scene, problem, done)
        rows = _decided(problem, done)
        making.pieces[named(scene, site)] = Piece(tuple(done), tuple(findings), tuple(stepped), rows)
        calls |= {call.call: call for call in done}
    return calls


def _proved(
    scene: Scene, sites: Sequence[Site], slots: Slots, solved: Solved, tell: Tell, prove: Prover
) -> Iterator[list[ProvedCall]]:
    """The calls of each site with their proofs, site by site: nobody keeps them longer than they are told."""
    tasks = []
    for site in sites:
        problem, answers = solved[site.name]
        tasks.append(to_prove(scene, problem, answers, slots.afar(site)))
    for n, (site, proofs) in enumerate(zip(sites, prove(tasks), strict=True), start=1):
        tell(f"proved {site.name}", n / len(tasks))
        yield call_by_call(solved[site.name][0], tasks[n - 1], proofs)


def _decided(problem: SiteProblem, calls: Sequence[PlannedCall]) -> tuple[tuple[str, Row | None], ...]:
    """Which row of the rules decided for each placed link."""
    return tuple(
        (link.link, problem.tunings[problem.index(link.link)].row_at(link.carrier_khz))
        for call in calls
        for link in call.links
    )


def _whole(made: Pieces) -> Plan:
    """The plan of all pieces."""
    scene, shoot, pieces, calls = made.scene, made.scene.shoot, made.pieces, made.calls
    in_order = [calls[call.name] for call in scene.calls]
    findings = [*positions(scene), *time_findings(shoot)]
    findings += [finding for piece in pieces.values() for finding in piece.findings]
    findings += [finding for several in made.between.values() for finding in several]
    findings += assumed_rows(scene, [link for piece in pieces.values() for link in piece.decided])
    findings += permit_findings(scene, [link.carrier_khz for call in calls.values() for link in call.links])
    batteries, told = batteries_of(shoot, scene.calls, calls.values())
    power = any(call.criterion == "power" for call in in_order)
    return Plan(
        made_with=__version__,
        shoot=shoot.shoot.title,
        region=shoot.shoot.region,
        rule=Rule(criterion="power" if power else "clean", orders=(3,), guard_khz=shoot.shoot.guard_khz),
        calls=tuple(in_order),
        batteries=batteries,
        moves=tuple(move for piece in pieces.values() for move in piece.moves),
        findings=sorted_findings([*findings, *told]),
    )
