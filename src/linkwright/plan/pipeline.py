"""From a shoot to a plan: the whole main job, as one function of values."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from linkwright import __version__
from linkwright.air.predicted import Predicted
from linkwright.air.report import Stepping
from linkwright.assign.bound import bounds_of_call
from linkwright.assign.calls import CallAnswer
from linkwright.plan.air import missed_during, needed_s
from linkwright.plan.at_once import ProvedCall, call_by_call, to_prove
from linkwright.plan.batteries import batteries_of
from linkwright.plan.by_itself import by_themselves
from linkwright.plan.chain import Scene, Sweeps, scene_of
from linkwright.plan.crowded import clean_together, crowds, what_helps
from linkwright.plan.findings import GRAVITY, finding
from linkwright.plan.input_findings import (
    input_findings,
    opened_findings,
    permit_findings,
    stepping_receivers,
    time_findings,
)
from linkwright.plan.ledger import Set, planned
from linkwright.plan.model import Finding, Move, Plan, PlannedCall, PlannedLink, Rule, Unplaced
from linkwright.plan.moves import moves_of
from linkwright.plan.neighbours import positions
from linkwright.plan.periods import periods
from linkwright.plan.plan_findings import (
    assumed_rows,
    changing_findings,
    fewest_finding,
    link_findings,
    moved_findings,
    power_finding,
    receiver_findings,
    unplaced_findings,
    unplaced_reason,
    unseated_reason,
)
from linkwright.plan.products import products_of
from linkwright.plan.prove import decided, prove_calls
from linkwright.plan.reach_findings import site_reach_findings
from linkwright.plan.site import SiteProblem, Slots, kept_on, most_links, site_problem, verify_listeners
from linkwright.plan.solve import Runner, Solved, here, solve_sites
from linkwright.plan.sound_findings import sound_findings
from linkwright.plan.tuning import Tuning
from linkwright.progress import Tell, quiet
from linkwright.rules import Row
from linkwright.shoot.end import RECORDED, SPOKEN
from linkwright.shoot.models import Shoot
from linkwright.sound.settings import delays_ms
from linkwright.units import number_word


def make_plan(
    shoot: Shoot,
    sweeps: Sweeps,
    keep: Plan | None = None,
    tell: Tell = quiet,
    *,
    tv: Mapping[str, Predicted] | None = None,
    run: Runner | None = None,
    effort: float = 0.25,
) -> Plan:
    """Plan a shoot.

    `sweeps` are the sweeps that were read, `tv` what is predicted of TV, by name of the site; `keep` is an earlier
    plan whose carriers stay where they can; `tell` hears what is being done and may raise to stop it; `run` carries
    the sites' searches and the proofs elsewhere; `effort` scales how long is searched (0: the first complete plan).
    The same values give the same plan, whatever carries it. Raises InputError for a region, permit or TV channel
    that the rules do not know.
    """
    scene = scene_of(shoot, sweeps, tv)
    made = _Made([*positions(scene), *time_findings(shoot)])
    parts = periods(scene)
    slots = None
    for n, part in enumerate(parts):
        slots = Slots.of(part) if slots is None else slots.of_period(part)
        made.add(part, slots, keep, tell if len(parts) == 1 else _part_of(tell, n, len(parts)), run, effort)
    made.findings += assumed_rows(scene, made.decided)
    made.findings += permit_findings(
        scene, [link.carrier_khz for call in made.calls.values() for link in call.links]
    )
    batteries, found = batteries_of(shoot, scene.calls, made.calls.values())
    return Plan(
        made_with=__version__,
        shoot=shoot.shoot.title,
        region=shoot.shoot.region,
        rule=Rule(
            criterion="power" if "power" in made.criteria else "clean", orders=(3,), guard_khz=shoot.shoot.guard_khz
        ),
        calls=tuple(made.calls[call.name] for call in scene.calls),
        batteries=batteries,
        moves=tuple(made.moves),
        findings=sorted_findings([*made.findings, *found]),
    )


def _part_of(tell: Tell, n: int, count: int) -> Tell:
    """What is told of one of several parts: its share of the whole."""
    return lambda what, share: tell(f"{what}, {n + 1} of {count}", (n + share) / count)


@dataclass
class _Made:
    """What a plan is made of, period by period."""

    findings: list[Finding]
    calls: dict[str, PlannedCall] = field(default_factory=dict)
    moves: list[Move] = field(default_factory=list)
    criteria: set[str] = field(default_factory=set)
    decided: list[tuple[str, Row | None]] = field(default_factory=list)

    def add(
        self, scene: Scene, slots: Slots, keep: Plan | None, tell: Tell, run: Runner | None, effort: float
    ) -> None:
        """Plan a period."""
        kept_by_site = {site.name: kept_on(scene, keep, site) for site in scene.used_sites}
        solved = solve_sites(scene, slots, kept_by_site, tell, run, effort)
        proved = _proved(scene, slots, solved, tell, run or here)
        calls: dict[str, PlannedCall] = {}
        for site in scene.used_sites:
            problem, answers = solved[site.name]
            kept = kept_by_site[site.name]
            self.findings += [*input_findings(scene, problem), *site_reach_findings(problem)]
            if kept:
                stepped = moves_of(scene, problem, kept, answers, slots.afar(site))
                stepped = [move for move in stepped if keep is not None or move.from_khz is not None]
                self.moves += stepped
                self.findings += moved_findings(kept, stepped)
                self.findings += fewest_finding(site.name, stepped, answers)
            for n, (answer, proof) in enumerate(zip(answers, next(proved), strict=True)):
                call, found = _planned_call(scene, problem, n, answer, proof)
                calls[call.call] = call
                self.findings += found
                self.criteria.add(answer.criterion)
            self.findings += opened_findings(scene, problem, [calls[call.name] for call in problem.calls])
        self.findings += changing_findings(scene, solved, calls)
        self.decided += _decided(solved, calls)
        self.calls |= calls


def check_shoot(shoot: Shoot, sweeps: Sweeps, tv: Mapping[str, Predicted] | None = None) -> tuple[Finding, ...]:
    """What can be said of a shoot without planning it. Raises InputError as `make_plan` does."""
    findings = list(time_findings(shoot))
    scene = scene_of(shoot, sweeps, tv)
    for problem in _problems(scene):
        findings += [*input_findings(scene, problem), *site_reach_findings(problem)]
    return sorted_findings(findings)


def receivers_stepping(shoot: Shoot) -> list[Stepping]:
    """The receivers of a shoot that could sweep by themselves, with their lawful slots. Raises as `make_plan`."""
    slowest: dict[str, Stepping] = {}
    for problem in _problems(scene_of(shoot, {})):
        for stepping in stepping_receivers(problem):
            known = slowest.setdefault(stepping.receiver, stepping)
            if stepping.slots > known.slots:
                slowest[stepping.receiver] = stepping
    return list(slowest.values())


def _problems(scene: Scene) -> Iterator[SiteProblem]:
    """The assignment problem of every site in use, with nothing kept."""
    slots = Slots.of(scene)
    for site in scene.used_sites:
        yield site_problem(scene, site, slots, {})


def sorted_findings(findings: Sequence[Finding]) -> tuple[Finding, ...]:
    """Each finding once, the gravest first, otherwise in the order in which they were made."""
    return tuple(sorted(dict.fromkeys(findings), key=lambda found: GRAVITY[found.severity]))


def _proved(scene: Scene, slots: Slots, solved: Solved, tell: Tell, run: Runner) -> Iterator[list[ProvedCall]]:
    """The calls of each site with their proofs, site by site: nobody keeps them longer than they are told."""
    tasks = []
    for site in scene.used_sites:
        problem, answers = solved[site.name]
        tasks.append(to_prove(scene, problem, answers, slots.afar(site)))
    for n, (site, proofs) in enumerate(zip(scene.used_sites, run(prove_calls, tasks), strict=True), start=1):
        tell(f"proved {site.name}", n / len(tasks))
        yield call_by_call(solved[site.name][0], tasks[n - 1], proofs)


def _with_lawful_spares(link: PlannedLink, tuning: Tuning) -> PlannedLink:
    """The link with its spares up to the first on which its power may not be used."""
    lawful = [tuning.most_mw[tuning.index(khz) or 0] >= link.power_mw for khz in link.spares_khz]
    first = lawful.index(False) if False in lawful else len(lawful)
    return link if first == len(lawful) else link.model_copy(update={"spares_khz": link.spares_khz[:first]})


def _planned_call(
    scene: Scene, problem: SiteProblem, n: int, answer: CallAnswer, proved: ProvedCall
) -> tuple[PlannedCall, list[Finding]]:
    """One call with its findings, from its proof."""
    call = problem.calls[n]
    each = decided(proved.standing, proved.proofs)
    chains = [one.standing.chain for one in each]
    sound = {chain.link.name: chain.sound for chain in chains if chain.link.serves in SPOKEN | RECORDED}
    delays = delays_ms({chain.link.name: chain.sound for chain in chains if chain.link.serves in RECORDED})
    links = [
        _with_lawful_spares(link, problem.tunings[problem.index(link.link)])
        for link in planned(
            each,
            [
                Set(answer.spares_khz[chain.name], call.seats[chain.link.name], delays.get(chain.link.name))
                for chain in chains
            ],
        )
    ]
    verify_listeners(call, links)
    live = {link.name for link in call.links}
    unplaced = [
        Unplaced(link=way.link.name, because=unplaced_reason(scene, problem, name, answer))
        for name, carrier in answer.carriers_khz.items()
        if carrier is None
        for way in problem.chains[problem.index(name)].first_ways
        if way.link.name in live
    ]
    unplaced += [Unplaced(link=name, because=unseated_reason(scene, name)) for name in call.unseated]
    place = {link.name: at for at, link in enumerate(call.links)}
    # A block's carrier stands once, whichever of its links has it.
    once = {chain.name: (chain, link) for chain, link in zip(reversed(chains), reversed(links), strict=True)}
    once = dict(reversed(once.items()))
    alone = by_themselves(scene, call)
    done = PlannedCall(
        call=call.name,
        site=call.site.name,
        bound=None
        if answer.bound is None
        else most_links(problem, problem.problem.calls[n], answer.bound, answer.criterion),
        criterion=answer.criterion,
        other_criterion_db=_other_db(answer),
        other_criterion_holding=answer.compared.other_holding if answer.compared else None,
        missed=_rounded(missed_during(scene.air[call.site.name])),
        look_s=_rounded(needed_s(scene.air[call.site.name])),
        products=products_of(
            [link for _, link in once.values()],
            [chain.transmitter.bandwidth_khz for chain, _ in once.values()],
            proved.others,
            scene.shoot.shoot.guard_khz,
            proved.beside_khz,
        ),
        links=tuple(sorted(links, key=lambda planned: place[planned.link])),
        unplaced=tuple(sorted(unplaced, key=lambda gone: place.get(gone.link, len(place)))),
        by_themselves=tuple(alone.links) or None,
    )
    found = [
        finding_
        for one, link in zip(each, links, strict=True)
        for finding_ in link_findings(call.name, one.standing, one.proof, link)
    ]
    found += alone.findings
    found += receiver_findings(call, scene.shoot)
    found += sound_findings(call.name, [chain.link for chain in chains if chain.spoken], sound)
    found += unplaced_findings(call.name, unplaced)
    for crowd in crowds(problem, n) if unplaced else ():
        where = f'call "{call.name}"' + (" and at the same time" if crowd.beside(call) else "")
        says = f"{number_word(len(crowd.chains)).capitalize()} links want carriers in {where}. "
        helps = what_helps(crowd, links, *clean_together(scene, problem, n, crowd))
        found.append(finding("crowded", call.name, says + " ".join(helps)))
    if answer.criterion == "power":
        found.append(power_finding(done, answer, bounds_of_call(problem.problem, problem.problem.calls[n])[0]))
    return done, found


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 3)


def _other_db(answer: CallAnswer) -> float | None:
    """What the other criterion would have given the worst link [dB]."""
    compared = answer.compared
    if compared is None or compared.other_worst_db is None:
        return None
    return round(compared.other_worst_db - compared.worst_db, 2)


def _decided(solved: Solved, calls: Mapping[str, PlannedCall]) -> list[tuple[str, Row | None]]:
    """Which row of the rules decided for each placed link."""
    return [
        (link.link, problem.tunings[problem.index(link.link)].row_at(link.carrier_khz))
        for problem, _ in solved.values()
        for call in problem.calls
        for link in calls[call.name].links
    ]
