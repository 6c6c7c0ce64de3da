"""From a shoot to a plan: the whole main job, as one function of values."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from linkwright import __version__
from linkwright.air.sweep import Sweep
from linkwright.assign.bound import bounds_of_call
from linkwright.assign.clean import Tell, quiet
from linkwright.plan.chain import Scene, scene_of
from linkwright.plan.findings import GRAVITY, finding
from linkwright.plan.input_findings import input_findings
from linkwright.plan.model import Finding, Plan, PlannedCall, Rule, Unplaced
from linkwright.plan.plan_findings import (
    assumed_rows,
    link_findings,
    moved_findings,
    power_finding,
    unplaced_reason,
)
from linkwright.plan.prove import Standing, planned, prove
from linkwright.plan.site import CallAnswer, SiteProblem, Slots, answer_site, kept_on, site_problem
from linkwright.rules import Row
from linkwright.shoot.models import Shoot

Sweeps = Mapping[str, Sequence[Sweep]]


def make_plan(shoot: Shoot, sweeps: Sweeps, keep: Plan | None = None, tell: Tell = quiet) -> Plan:
    """Plan a shoot.

    `sweeps` are the sweeps that were read, by name of their site; `keep` is an earlier plan whose carriers stay
    where they can; `tell` hears what is being done and may raise to stop it. The same values give the same plan.
    Raises InputError for a region, permit or TV channel that the rules do not know.
    """
    scene = scene_of(shoot, sweeps)
    slots = Slots(scene)
    calls: dict[str, PlannedCall] = {}
    findings: list[Finding] = []
    criteria = set()
    for site in scene.used_sites:
        tell(f"planning {site.name}", 0.0)
        kept = kept_on(keep, site)
        problem = site_problem(scene, site, slots, kept)
        answers = answer_site(problem, tell)
        findings += input_findings(scene, problem)
        findings += moved_findings(kept, answers)
        for n, answer in enumerate(answers):
            tell(f"proving {problem.calls[n].name}", n / len(answers))
            call, found = _planned_call(scene, problem, n, answer)
            calls[call.call] = call
            findings += found
            criteria.add(answer.criterion)
    findings += assumed_rows(scene, _decided(scene, slots, calls))
    return Plan(
        made_with=__version__,
        shoot=shoot.shoot.title,
        region=shoot.shoot.region,
        rule=Rule(
            criterion="power" if "power" in criteria else "clean", orders=(3,), guard_khz=shoot.shoot.guard_khz
        ),
        calls=tuple(calls[call.name] for call in scene.calls),
        findings=sorted_findings(findings),
    )


def check_shoot(shoot: Shoot, sweeps: Sweeps) -> tuple[Finding, ...]:
    """What can be said of a shoot without planning it. Raises InputError as `make_plan` does."""
    scene = scene_of(shoot, sweeps)
    slots = Slots(scene)
    findings: list[Finding] = []
    for site in scene.used_sites:
        findings += input_findings(scene, site_problem(scene, site, slots, {}))
    return sorted_findings(findings)


def sorted_findings(findings: Sequence[Finding]) -> tuple[Finding, ...]:
    """Each finding once, the gravest first, otherwise in the order in which they were made."""
    return tuple(sorted(dict.fromkeys(findings), key=lambda found: GRAVITY[found.severity]))


def _planned_call(
    scene: Scene, problem: SiteProblem, n: int, answer: CallAnswer
) -> tuple[PlannedCall, list[Finding]]:
    """One call, proved, with its findings."""
    target = scene.shoot.shoot.target
    call = problem.calls[n]
    standing = [
        Standing(problem.chains[i], problem.tunings[i], carrier)
        for i in problem.problem.calls[n]
        if (carrier := answer.carriers_khz[problem.chains[i].link.name]) is not None
    ]
    proofs = prove(standing, target) if standing else []
    links = [
        planned(s, p, answer.spares_khz[s.chain.link.name], target) for s, p in zip(standing, proofs, strict=True)
    ]
    unplaced = [
        Unplaced(link=name, because=unplaced_reason(scene, problem, name, answer))
        for name, carrier in answer.carriers_khz.items()
        if carrier is None
    ]
    done = PlannedCall(
        call=call.name,
        site=call.site.name,
        bound=answer.bound,
        links=tuple(links),
        unplaced=tuple(unplaced),
    )
    found = [
        one
        for s, p, link in zip(standing, proofs, links, strict=True)
        for one in link_findings(call.name, s, p, link, target)
    ]
    found += [
        finding("unplaced", gone.link, f'{gone.link} has no carrier in call "{call.name}": {gone.because}.')
        for gone in unplaced
    ]
    if answer.criterion == "power":
        found.append(power_finding(done, answer, bounds_of_call(problem.problem, problem.problem.calls[n])[0]))
    return done, found


def _decided(scene: Scene, slots: Slots, calls: Mapping[str, PlannedCall]) -> list[tuple[str, Row | None]]:
    """Which row of the rules decided for each placed link."""
    decided = []
    for call in scene.calls:
        by_name = {link.name: link for link in call.links}
        for link in calls[call.name].links:
            chain = scene.chain(by_name[link.link], call.site)
            live = [c for c in scene.calls_on(call.site) if any(x.name == link.link for x in c.links)]
            decided.append((link.link, slots.tuning(chain, live).row_at(link.carrier_khz)))
    return decided
