"""From a shoot to a plan: the whole main job, as one function of values."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from linkwright.air.predicted import Predicted
from linkwright.air.report import Stepping
from linkwright.plan.chain import Scene, Sweeps, scene_of
from linkwright.plan.findings import sorted_findings
from linkwright.plan.input_findings import input_findings, stepping_receivers, time_findings
from linkwright.plan.legs import plan_in_pieces
from linkwright.plan.model import Finding, Plan
from linkwright.plan.reach_findings import site_reach_findings
from linkwright.plan.site import SiteProblem, Slots, site_problem
from linkwright.plan.solve import Runner
from linkwright.progress import Tell, quiet
from linkwright.shoot.models import Shoot


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
    return plan_in_pieces(scene_of(shoot, sweeps, tv), keep, tell, run=run, effort=effort).plan


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
