"""Carriers for every site of a shoot, those that hear each other in turn."""

from __future__ import annotations

import functools
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from typing import Protocol, TypeVar

from linkwright.assign.calls import CallAnswer, Kept, answer_calls
from linkwright.plan.chain import Scene
from linkwright.plan.groups import Way, in_groups
from linkwright.plan.model import Plan, PlannedCall
from linkwright.plan.neighbours import Far, FarSite, classes
from linkwright.plan.site import SiteProblem, Slots, site_problem, site_task, verify_site
from linkwright.progress import Tell

Task = TypeVar("Task")
Done = TypeVar("Done")


class Runner(Protocol):
    """Does the same to each of several things, wherever that is done (`work/`); results come in their order."""

    def __call__(self, job: Callable[[Task], Done], tasks: Iterable[Task]) -> Iterable[Done]:
        """Begin with each task as it comes, and hand over what comes of it as soon as it and those before it are
        done."""


def here(job: Callable[[Task], Done], tasks: Iterable[Task]) -> Iterable[Done]:
    """One after the other, in this process."""
    return map(job, tasks)


Solved = dict[str, tuple[SiteProblem, list[CallAnswer]]]


def solve_sites(
    scene: Scene,
    slots: Slots,
    kept: Mapping[str, Mapping[str, Kept]],
    tell: Tell,
    run: Runner | None,
    effort: float,
    only: Collection[str] | None = None,
) -> Solved:
    """Carriers for every site, or for those named in `only`, class by class: sites of one class do not hear each
    other."""
    solved: Solved = {}
    today: set[str] = set()
    asked = [site for site in scene.used_sites if only is None or site.name in only]
    count = len(asked)
    together = _with_shared_links(scene, slots.hearing)
    for sites in classes(asked, together):
        tell(f"planning {sites[0].name}", len(solved) / count)
        problems = [site_problem(scene, site, slots, kept[site.name]) for site in sites]
        tasks = [site_task(problem, slots, effort) for problem in problems]
        job = answer_calls if run is not None else functools.partial(answer_calls, tell=tell)
        for problem, task, first in zip(problems, tasks, (run or here)(job, tasks), strict=True):
            plain = Way(problem, task, first)
            way = in_groups(scene, slots, plain, kept[problem.site.name], effort, answer_calls)
            problem, answers = way.problem, way.answers
            verify_site(problem, answers)
            solved[problem.site.name] = (problem, answers)
            slots.far[problem.site.name] = FarSite.of(problem.site, _far(problem, answers))
            for answer in answers:
                for name, khz in answer.carriers_khz.items():
                    if khz is not None and name not in today:
                        slots.stays[name] = khz
                        today.add(name)
            tell(f"planned {problem.site.name}", len(solved) / count)
    return solved


def _with_shared_links(scene: Scene, hearing: Mapping[str, set[str]]) -> dict[str, set[str]]:
    """The sites that cannot be planned at once: they hear each other, or a link has calls on both."""
    on: dict[str, list[str]] = {}
    for call in scene.calls:
        for link in call.links:
            on.setdefault(link.name, []).append(call.site.name)
    beside = {name: set(others) for name, others in hearing.items()}
    for names in on.values():
        for name in set(names):
            beside[name] |= set(names) - {name}
    return beside


def _far(problem: SiteProblem, answers: Sequence[CallAnswer]) -> list[Far]:
    """The links of a planned site as other sites see them."""
    far = []
    for call, members, answer in zip(problem.calls, problem.problem.calls, answers, strict=True):
        for chain in (problem.chains[i] for i in members):
            carrier = answer.carriers_khz[chain.name]
            if carrier is not None:
                far += [Far(way, carrier, call, way is chain) for way in chain.ways]
    return far


def far_of_plan(scene: Scene, plan: Plan) -> dict[str, FarSite]:
    """The links of a plan as other sites see them, by name of their site."""
    return far_of_calls(scene, plan.calls)


def far_of_calls(scene: Scene, calls: Sequence[PlannedCall]) -> dict[str, FarSite]:
    """The same of the calls of a scene, as they are planned."""
    far: dict[str, list[Far]] = {site.name: [] for site in scene.used_sites}
    for live, planned in zip(scene.calls, calls, strict=True):
        by_name = {link.name: link for link in live.links}
        chains = {scene.blocks.carrier_of(link.link): link for link in reversed(planned.links)}
        far[live.site.name] += [
            Far(way, link.carrier_khz, live, n == 0)
            for link in chains.values()
            for n, way in enumerate(scene.chain(by_name[link.link], live.site).ways)
        ]
    return {site.name: FarSite.of(site, far[site.name]) for site in scene.used_sites}
