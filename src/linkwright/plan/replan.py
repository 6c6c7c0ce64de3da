"""A planned shoot in which something changed: only the calls that it touches are planned again.

Everything else stands as it is: links of the same site and period keep what they had as far as they can (as with
`keep`), other sites are neighbours on fixed carriers. What is heard there is proved again where it is not the same.
"""

from __future__ import annotations

import functools
import re
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Final

from linkwright.assign.calls import CallAnswer
from linkwright.plan.chain import Scene
from linkwright.plan.model import Finding, Plan, PlannedCall
from linkwright.plan.neighbours import Afar, FarSite, hearing
from linkwright.plan.periods import periods
from linkwright.plan.pieces import Making, Piece, Pieces, make_pieces, named
from linkwright.plan.plan_findings import changing_findings
from linkwright.plan.prove import prove_calls
from linkwright.plan.site import SiteProblem, Slots, kept_of_calls, site_problem
from linkwright.plan.solve import Runner, Solved, far_of_calls, here, solve_sites
from linkwright.plan.tuning import SharedTunings
from linkwright.progress import Tell, quiet
from linkwright.rules import Row
from linkwright.shoot.place import Other, Site
from linkwright.shoot.view import LiveCall, others_by_site, others_during


def replan(
    before: Pieces,
    scene: Scene,
    changed: Collection[str] = (),
    tell: Tell = quiet,
    *,
    run: Runner | None = None,
    effort: float = 0.25,
) -> Pieces:
    """The pieces of a scene of which little differs from that of `before`: calls that are new or other than they
    were, and those named `changed`, are planned again with the calls of their site that belong to the same period.

    The scene has the same sites and law. All that a plan promises holds of the whole: every link is proved against
    all others, and the separate verifier has seen what was planned again. Raises as `make_plan` does.
    """
    making, were = Making(), {call.name: call for call in before.scene.calls}
    # What `changes` and `hit_by` leave alone is the very same, which is seen at once.
    others = (call for call in scene.calls if (was := were.get(call.name)) is not call and was != call)
    changed = {*changed, *(call.name for call in others)}
    for part in periods(scene):
        keys = [named(part, site) for site in part.used_sites]
        stands = named(part) in before.between and all(key in before.pieces for key in keys)
        if stands and part.named.isdisjoint(changed):
            making.pieces |= {key: before.pieces[key] for key in keys}
            making.between[named(part)] = before.between[named(part)]
        else:
            _again(making, before, part, changed, tell, run, effort)
    return Pieces(scene, making.pieces, making.between)


# long: each step looks at what the one before it left
def _again(
    making: Making,
    before: Pieces,
    part: Scene,
    changed: Collection[str],
    tell: Tell,
    run: Runner | None,
    effort: float,
) -> None:
    """Plan those sites of a period again that something touches."""
    touched = {
        site.name
        for site in part.used_sites
        if (key := named(part, site)) not in before.pieces or not set(key).isdisjoint(changed)
    }
    there = {name: call for name, call in before.calls.items() if name in part.named}
    earlier = _in_time_of(part, before)
    gone = {call.site.name for call in earlier} - {site.name for site in part.used_sites}
    slots = Slots(part, hearing(part), stays=_last_carriers(before, part), earlier=True)
    slots.far.update(_far(part, there, [site for site in part.used_sites if site.name not in touched]))
    kept = {site.name: kept_of_calls(part, there.values(), site) for site in part.used_sites}
    solved = solve_sites(part, slots, kept, tell, run, effort, touched)
    every = {site.name for site in part.used_sites}
    heard = every if gone else set().union(*(slots.hearing[name] for name in touched))
    old = _far_before(before, earlier, touched | gone)
    for site in part.used_sites:
        if site.name in heard - touched and _hears_otherwise(part, site, slots, old, gone, there):
            problem = site_problem(part, site, slots, {})
            solved[site.name] = problem, [answer_of(part, problem, n, there) for n in range(len(problem.calls))]
    new = Making()
    of_touched = {name: kept[name] if name in touched else {} for name in kept}
    prove = functools.partial(run or here, prove_calls)
    planned = there | make_pieces(new, part, slots, solved, of_touched, tell, prove, again=True)
    for site in part.used_sites:
        key = named(part, site)
        if site.name in touched:
            making.pieces[key] = new.pieces[key]
        elif site.name in solved:
            making.pieces[key] = _as_chosen(new.pieces[key], before.pieces[key])
        else:
            making.pieces[key] = before.pieces[key]
    making.between[named(part)] = tuple(_between(before, part, slots, solved, planned))


def _between(
    before: Pieces, part: Scene, slots: Slots, solved: Solved, planned: Mapping[str, PlannedCall]
) -> Iterator[Finding]:
    """What is found between the sites of a period: anew of links that were planned again, of others as before."""

    @functools.cache
    def problem_at(name: str) -> SiteProblem:
        site = next(site for site in part.used_sites if site.name == name)
        return solved[name][0] if name in solved else site_problem(part, site, slots, {})

    again = {link.name for problem, _ in solved.values() for call in problem.calls for link in call.links}
    none = {link.name for link in before.scene.shoot.link} - {link.name for link in part.shoot.link}
    for names, findings in before.between.items():
        if not part.named.isdisjoint(names):
            yield from (finding for finding in findings if finding.about not in again | none)
    yield from changing_findings(part, problem_at, planned, again)


def _last_carriers(before: Pieces, part: Scene) -> dict[str, int]:
    """The carriers that the links of a period have in their last calls [kHz]: who is new in it stays on his."""
    names = {link.name for call in part.calls for link in call.links}
    planned = (link for call in before.calls.values() for link in call.links if link.link in names)
    return {part.blocks.carrier_of(link.link): link.carrier_khz for link in planned}


def _as_chosen(piece: Piece, before: Piece) -> Piece:
    """A piece that was only proved again, with what was said when its carriers were chosen."""
    said = {call.call: call for call in before.calls}
    keys = ("bound", "other_criterion_db", "other_criterion_holding")
    calls = tuple(
        call.model_copy(update={key: getattr(said[call.call], key) for key in keys}) for call in piece.calls
    )
    return replace(piece, calls=calls)


def _only(scene: Scene, sites: Collection[str]) -> Scene:
    return replace(scene, calls=tuple(call for call in scene.calls if call.site.name in sites))


def _far(scene: Scene, planned: dict[str, PlannedCall], sites: Sequence[Site]) -> dict[str, FarSite]:
    """The links of some sites as they are planned, as others see them."""
    some = _only(scene, {site.name for site in sites})
    return far_of_calls(some, [planned[call.name] for call in some.calls])


def _far_before(before: Pieces, earlier: Sequence[LiveCall], sites: Collection[str]) -> dict[str, FarSite]:
    """What was on the air of some sites in the calls of before."""
    calls, there = tuple(call for call in earlier if call.site.name in sites), before.calls
    return far_of_calls(replace(before.scene, calls=calls), [there[call.name] for call in calls])


def _in_time_of(part: Scene, before: Pieces) -> list[LiveCall]:
    """The calls that were in the time of a period."""
    spans = [call.span_s for call in part.calls]
    begins, ends = min(begin for begin, _ in spans), max(end for _, end in spans)
    return [call for call in before.scene.calls if call.span_s[0] < ends and begins < call.span_s[1]]


def _hears_otherwise(
    part: Scene,
    site: Site,
    slots: Slots,
    old: dict[str, FarSite],
    gone: Collection[str],
    there: dict[str, PlannedCall],
) -> bool:
    """Whether a link of a site that stands hears anything else than before on its carrier."""
    now = slots.afar(site)
    was = [far for name, far in {**slots.far, **old}.items() if name in {*slots.hearing[site.name], *gone}]
    return list(_heard(part, site, now, there)) != list(_heard(part, site, Afar.of(site, was), there))


def _heard(part: Scene, site: Site, afar: Afar, there: dict[str, PlannedCall]) -> Iterator[object]:
    for call in part.calls_on(site):
        live, links = afar.during([call]), {link.name: link for link in call.links}
        for planned in there[call.name].links:
            for way in part.chain(links[planned.link], site).ways:
                yield afar.on(way, live, planned.carrier_khz)


def answer_of(part: Scene, problem: SiteProblem, n: int, there: Mapping[str, PlannedCall]) -> CallAnswer:
    """What was answered for a call, from its plan."""
    call = there[problem.calls[n].name]
    by_name = {part.blocks.carrier_of(link.link): link for link in reversed(call.links)}
    names = [problem.chains[i].name for i in problem.problem.calls[n]]
    return CallAnswer(
        call.criterion or "clean",
        False,
        None,
        {name: by_name[name].carrier_khz if name in by_name else None for name in names},
        {name: by_name[name].spares_khz if name in by_name else () for name in names},
        None,
    )


#: What the whole plan is told of, and is worked out anew whenever it is put together.
OF_THE_WHOLE: Final = frozenset({
    "site-position", "timezone", "permit-unfit", "permit-left", "battery-in-take", "battery-short", "cells-unknown",
    "set-up-short", "link-twice", "assumed-rule",
})  # fmt: skip
_IN_CALL: Final = re.compile(r'"([^"]{1,80})"')


def pieces_of(scene: Scene, plan: Plan) -> Pieces:
    """The pieces of a plan that was read, as far as its findings tell whose they are: a finding that names a call
    is of its piece, any other of every piece that has what it is about; the rest is of the first period."""
    calls, making, known = {call.call: call for call in plan.calls}, Making(), SharedTunings()
    of_call: dict[str, tuple[str, ...]] = {}
    of_name: dict[str, set[tuple[str, ...]]] = {}
    for part in periods(scene):
        making.between[named(part)] = ()
        for site in part.used_sites:
            key = named(part, site)
            of_call |= dict.fromkeys(key, key)
            links = {link.name for call in part.calls_on(site) for link in call.links}
            for name in (*links, site.name, *key):
                of_name.setdefault(name, set()).add(key)
            planned = tuple(calls[name] for name in key)
            making.pieces[key] = Piece(planned, (), (), tuple(_decided(part, site, planned, known)))
    of_key: dict[tuple[str, ...], list[Finding]] = {}
    rest: list[Finding] = []
    for finding in plan.findings:
        if finding.code in OF_THE_WHOLE:
            continue
        keys = {of_call[name] for name in _IN_CALL.findall(finding.says) if name in of_call}
        keys = keys or of_name.get(finding.about, set())
        for key in keys:
            of_key.setdefault(key, []).append(finding)
        rest += [] if keys else [finding]
    pieces = {key: replace(piece, findings=tuple(of_key.get(key, ()))) for key, piece in making.pieces.items()}
    first = next(iter(making.between))
    return Pieces(scene, pieces, {**making.between, first: tuple(rest)})


def _decided(
    part: Scene, site: Site, planned: Sequence[PlannedCall], known: SharedTunings
) -> Iterator[tuple[str, Row | None]]:
    """Which row of the rules decides for each placed link of a site."""
    calls = part.calls_on(site)
    for live, call in zip(calls, planned, strict=True):
        links = {link.name: link for link in live.links}
        for link in call.links:
            chain = part.live_chain(links[link.link], site)
            mine = [other for other in calls if any(way.link in other.links for way in chain.ways)]
            yield link.link, known.allowed_to(part.law, chain, part.terms(chain, mine)).row_at(link.carrier_khz)


def hit_by(scene: Scene, other: Other) -> tuple[Scene, tuple[str, ...]]:
    """The scene with somebody more on the air, and the names of the calls that may hear him."""
    shoot = scene.shoot.model_copy(update={"other": (*scene.shoot.other, other)})
    with_other = replace(scene, shoot=shoot, others=others_by_site(shoot))
    site = other.site or with_other.used_sites[0].name
    return with_other, tuple(
        call.name for call in with_other.calls if call.site.name == site and others_during((other,), call)
    )
