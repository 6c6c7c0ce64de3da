"""The calls of one site together: the unit of work of a plan, numbers in, carriers out."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from linkwright.assign.bound import bounds_of_call
from linkwright.assign.criterion import Comparison, choose, standing
from linkwright.assign.locks import going_together
from linkwright.assign.placement import CallLevels, Outcome, Placement
from linkwright.assign.problem import Assignment, Criterion, Problem, Wish, distinct
from linkwright.assign.products import is_clean
from linkwright.assign.regain import Regain
from linkwright.assign.search import solve
from linkwright.progress import Tell, quiet


@dataclass(frozen=True, slots=True)
class Kept:
    """What a link had in an earlier plan."""

    carrier_khz: int
    spares_khz: tuple[int, ...]
    rank: int = 2


@dataclass(frozen=True, slots=True)
class CallAnswer:
    """Carriers and spares of one call, by name of the link; None for a link that has none."""

    criterion: Criterion
    proved: bool
    bound: int | None
    carriers_khz: Mapping[str, int | None]
    spares_khz: Mapping[str, tuple[int, ...]]
    compared: Comparison | None
    fewest: bool = True


@dataclass(frozen=True, eq=False, slots=True)
class SiteTask:
    """A site to be solved: its problem over all calls, and the levels of each distinct call.

    `effort` scales how long a clean set is looked for; 0 takes the first placement that comes. `earlier` tells that
    links stay on carriers of an earlier period, which may not go together now.
    """

    problem: Problem
    levels: tuple[CallLevels, ...]
    effort: float = 0.25
    earlier: bool = False


def answer_calls(task: SiteTask, tell: Tell = quiet) -> list[CallAnswer]:
    """Carriers for every call of a site.

    A pack has one carrier all day, unless that costs it more than it is ready to give (`stay_db`), or somebody a
    place: what links have elsewhere they keep, and all calls are solved together, by clean sets and by power, the
    better of the two. Only where that is too dear is each call solved by itself, near to the one before.
    A plan that keeps to an earlier one only moves those who no longer hold.
    """
    staying = [i for i, wish in enumerate(task.problem.wishes) if _may_stay(wish)]
    if task.earlier and staying:
        return _with_earlier(task, going_together(task.problem, staying, limit=1), tell)
    staying = going_together(task.problem, staying) if staying else []
    while staying:
        answers = _solved(replace(task, problem=_locked(task.problem, staying)), tell)
        dear = _dear(task, answers)
        if not any(i in dear for i in staying):
            if not dear and _all_placed(answers):
                return answers
            free = _solved(task, tell)
            return answers if _placed(answers) >= _placed(free) else free
        staying = [i for i in staying if i not in dear]
    return _solved(task, tell)


def _with_earlier(task: SiteTask, staying: Sequence[int], tell: Tell) -> list[CallAnswer]:
    """The calls with those who can on their carriers of an earlier period; with nobody bound to them where that
    places more, or leaves more calls clean."""
    if not staying:
        return _solved(task, tell)
    answers = _solved(replace(task, problem=_locked(task.problem, staying)), tell)
    if _all_placed(answers) and all(answer.criterion == "clean" for answer in answers):
        return answers
    free = _solved(task, tell)
    return answers if _clean_worth(answers) >= _clean_worth(free) else free


def _clean_worth(answers: Sequence[CallAnswer]) -> tuple[int, int]:
    """How many are placed, then how many calls are clean."""
    return _placed(answers), sum(answer.criterion == "clean" for answer in answers)


def _may_stay(wish: Wish) -> bool:
    return (
        wish.stay_khz is not None
        and wish.locked_khz is None
        and wish.keep_khz is None
        and _is_slot(wish, wish.stay_khz)
    )


def _is_slot(wish: Wish, carrier_khz: int) -> bool:
    """Whether a carrier is one of a link's slots."""
    at = int(wish.slots_khz.searchsorted(carrier_khz))
    return at < wish.slots_khz.size and int(wish.slots_khz[at]) == carrier_khz


def _locked(problem: Problem, staying: Sequence[int]) -> Problem:
    wishes = list(problem.wishes)
    for i in staying:
        wishes[i] = replace(wishes[i], locked_khz=wishes[i].stay_khz)
    return replace(problem, wishes=tuple(wishes))


def _dear(task: SiteTask, answers: Sequence[CallAnswer]) -> set[int]:
    """Links that are short, and whose noise interference and air raise by more than they are ready to give: another
    carrier might help them. Those without a place too."""
    wishes = task.problem.wishes
    dear = {
        i
        for members, answer in zip(task.problem.calls, answers, strict=True)
        for i in members
        if answer.carriers_khz[wishes[i].name] is None
    }
    for live, outcome in _outcomes(task, answers):
        limit_db = np.array([wishes[i].stay_db for i in live.members])
        dear |= set(live.members[(outcome.excess_db < 0.0) & (outcome.rise_db > limit_db)].tolist())
    return dear


def _outcomes(task: SiteTask, answers: Sequence[CallAnswer]) -> Iterator[tuple[CallLevels, Outcome]]:
    """What comes of each call, for the links that have a carrier."""
    wishes = task.problem.wishes
    for calls in (*((n,) for n in range(len(answers))), *task.problem.at_once):
        members = task.problem.meeting(calls)
        slots = np.full(len(wishes), -1)
        carriers_khz = {name: khz for n in calls for name, khz in answers[n].carriers_khz.items()}
        for i in members:
            khz = carriers_khz[wishes[i].name]
            slots[i] = -1 if khz is None else int(np.searchsorted(wishes[i].slots_khz, khz))
        for call in task.levels:
            if set(call.members.tolist()) <= set(members):
                live = call.only([slots[i] >= 0 for i in call.members])
                yield live, Placement(task.problem, [live], slots).outcomes[0]


def least_over_db(task: SiteTask, answers: Sequence[CallAnswer]) -> float:
    """How far the weakest link that has a carrier is over what it is to hold with [dB], at most 0; 0 where no
    levels are known."""
    return min((float(outcome.excess_db.min(initial=0.0)) for _, outcome in _outcomes(task, answers)), default=0.0)


def _all_placed(answers: Sequence[CallAnswer]) -> bool:
    return all(carrier is not None for answer in answers for carrier in answer.carriers_khz.values())


def _placed(answers: Sequence[CallAnswer]) -> int:
    return sum(carrier is not None for answer in answers for carrier in answer.carriers_khz.values())


def _solved(task: SiteTask, tell: Tell) -> list[CallAnswer]:
    """All calls together, else each by itself where that places more or helps somebody who is short."""
    site = task.problem
    problem = distinct(site, site.elsewhere)
    whole, compared = _weighed(replace(task, problem=problem), tell)
    if site.elsewhere and whole.criterion != "clean":
        problem = distinct(site)
        whole, compared = _weighed(replace(task, problem=problem), tell)
    known: dict[tuple[int, ...], Criterion] = {}
    together = [_of_call(site, whole, n, compared, known=known) for n in range(len(site.calls))]
    if len(problem.calls) == 1 or (_all_placed(together) and not _dear(task, together)):
        return together
    apart = _call_by_call(task, tell)
    return apart if _worth(task, apart) > _worth(task, together) else together


def _with_carrier(task: SiteTask, has: Sequence[bool]) -> list[CallLevels]:
    """The levels of each distinct call, for the links that have a carrier (links,)."""
    with_carrier = [call.only([has[int(i)] for i in call.members]) for call in task.levels]
    return [call for call in with_carrier if call.members.size]


def _worth(task: SiteTask, answers: Sequence[CallAnswer]) -> tuple[int, int]:
    """What makes one way of solving the calls better than another: who is placed, then how few are dear."""
    return _placed(answers), -len(_dear(task, answers))


def _call_by_call(task: SiteTask, tell: Tell) -> list[CallAnswer]:
    """Each call by itself, those that run at the same time together; a link that was live before keeps its carrier
    where that stays clean and holds."""
    site = task.problem
    answers: dict[int, CallAnswer] = {}
    before: dict[str, Kept] = {}
    for calls in site.groups:
        members = site.meeting(calls) if len(calls) > 1 else site.calls[calls[0]]
        wishes = [site.wishes[i] for i in members]
        near = [
            replace(w, keep_khz=before[w.name].carrier_khz, keep_spares_khz=before[w.name].spares_khz)
            if w.name in before and w.locked_khz is None
            else w
            for w in wishes
        ]
        alone = _alone(site, calls, members, near)
        levels = _levels_alone(task, members)
        answer, compared = _weighed(replace(task, problem=alone, levels=levels), tell)
        if answer.criterion != "clean" and any(w.keep_khz is not None for w in near):
            fresh = replace(alone, wishes=tuple(replace(w, keep_khz=None) for w in wishes))
            again = _weighed(replace(task, problem=fresh, levels=levels), tell)
            if again[0].placed > answer.placed or (
                again[0].placed == answer.placed and again[0].criterion == "clean"
            ):
                answer, compared = again
        by_link = {i: n for n, i in enumerate(members)}
        for n in calls:
            answers[n] = _of_call(site, answer, n, compared, by_link)
        for wish, carrier, spares in zip(wishes, answer.carriers_khz, answer.spares_khz, strict=True):
            if carrier is not None:
                before[wish.name] = Kept(carrier, spares)
    return [answers[n] for n in range(len(site.calls))]


def _alone(site: Problem, calls: Sequence[int], members: Sequence[int], wishes: Sequence[Wish]) -> Problem:
    """The problem of calls that run at the same time, its links counted from nothing."""
    number, place = {i: n for n, i in enumerate(members)}, {call: n for n, call in enumerate(calls)}
    mine = tuple(tuple(number[i] for i in site.calls[call]) for call in calls)
    moments = tuple(tuple(place[call] for call in moment) for moment in site.at_once if moment[0] in place)
    makers = tuple(site.makers_in(call) for call in calls)
    alone = replace(site, wishes=tuple(wishes), calls=mine, makers_khz=makers, at_once=moments)
    return distinct(alone) if moments else alone


def _levels_alone(task: SiteTask, members: tuple[int, ...]) -> tuple[CallLevels, ...]:
    """The levels of the call of those members, who are counted from nothing there; of calls at the same time, of
    all that are among them."""
    number = {i: n for n, i in enumerate(members)}
    able = {i for i in members if task.problem.wishes[i].slots_khz.size}
    return tuple(
        replace(call, members=np.array([number[int(i)] for i in call.members], dtype=np.int64))
        for call in task.levels
        if (live := set(call.members.tolist())) == able or (task.problem.at_once and live <= able)
    )


def _weighed(task: SiteTask, tell: Tell) -> tuple[Assignment, Comparison | None]:
    """A problem solved by clean sets or fewest products, then weighed by level: kept to, or the better chosen."""
    if task.levels and any(wish.keep_khz is not None for wish in task.problem.wishes):
        regain = Regain(task.problem, task.levels, tell, quick=task.effort <= 0.0)
        slots = regain.slots()
        if slots is not None:
            live = _with_carrier(task, [slot >= 0 for slot in slots])
            stands = standing(task.problem, live, slots, weighed=task.effort > 0.0)
            return replace(stands, fewest=regain.proved), None
    solved = solve(task.problem, tell, task.effort)
    return choose(task.problem, _with_carrier(task, [khz is not None for khz in solved.carriers_khz]), solved, tell)


def _of_call(
    site: Problem,
    whole: Assignment,
    n: int,
    compared: Comparison | None,
    place: Mapping[int, int] | None = None,
    known: dict[tuple[int, ...], Criterion] | None = None,
) -> CallAnswer:
    """The answer of one call from that of several; `place` is where each link stands in it, the links themselves
    unless said; `known` are the moments that were looked at before."""

    def part(links: Sequence[int]) -> Assignment:
        at = links if place is None else [place[i] for i in links]
        return replace(
            whole,
            carriers_khz=tuple(whole.carriers_khz[i] for i in at),
            spares_khz=tuple(whole.spares_khz[i] for i in at),
        )

    members, known = site.calls[n], {} if known is None else known
    for calls in site.moments_of(n):
        if calls not in known:
            known[calls] = _criterion(site, part(site.meeting(calls)), site.makers_at(calls))
    clean = all(known[calls] == "clean" for calls in site.moments_of(n))
    criterion: Criterion = "clean" if clean else "power"
    return _answer(site, n, [site.wishes[i] for i in members], part(members), criterion, compared)


#: In a call of up to so many links every product is enumerated to say whether it is clean; in a larger one the
#: search's own books say it.
ENUMERATE_UP_TO = 64


def _criterion(site: Problem, assignment: Assignment, makers_khz: Sequence[int]) -> Criterion:
    """What the links of a moment really are, whatever they were looked for as."""
    placed = [
        (khz, spares)
        for khz, spares in zip(assignment.carriers_khz, assignment.spares_khz, strict=True)
        if khz is not None
    ]
    if len(placed) > ENUMERATE_UP_TO:
        return assignment.criterion
    carriers, spares_khz = [khz for khz, _ in placed], [spares for _, spares in placed]
    guards = (site.guard_two_khz, site.guard_three_khz)
    return "clean" if is_clean(carriers, spares_khz, makers_khz, *guards) else "power"


def _answer(
    site: Problem,
    n: int,
    wishes: Sequence[Wish],
    assignment: Assignment,
    criterion: Criterion,
    compared: Comparison | None,
) -> CallAnswer:
    clean, any_ = bounds_of_call(site, site.calls[n])
    names = [wish.name for wish in wishes]
    return CallAnswer(
        criterion,
        assignment.proved,
        clean if criterion == "clean" else any_,
        dict(zip(names, assignment.carriers_khz, strict=True)),
        dict(zip(names, assignment.spares_khz, strict=True)),
        compared,
        assignment.fewest,
    )
