"""A long event in legs: some of its periods first, then those between, which do not wait for each other.

A pack keeps its carrier from one period to the next where that is clean, so a period waits for the one before.
Every eighth is planned after the one eight before; each leg between two of them then keeps to what links have on
either side. How a shoot is cut hangs on nothing but its calls, so whoever carries the legs, the plan is the same.
"""

from __future__ import annotations

import functools
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

from linkwright.plan.chain import Chain, Scene
from linkwright.plan.model import Plan, PlannedCall
from linkwright.plan.neighbours import hearing
from linkwright.plan.periods import periods
from linkwright.plan.pieces import Making, Pieces, make_pieces, named
from linkwright.plan.plan_findings import changing_findings
from linkwright.plan.prove import prove_calls
from linkwright.plan.radio import KnownBudgets
from linkwright.plan.site import Slots, kept_of_calls
from linkwright.plan.solve import Runner, here, solve_sites
from linkwright.plan.tuning import SharedTunings
from linkwright.progress import Tell, quiet

#: A leg begins at every so many periods: about three days of three sessions.
LEG: Final = 8


@dataclass(frozen=True, eq=False, slots=True)
class Period:
    """A period to plan, and its calls in an earlier plan, None where there is no such plan."""

    scene: Scene
    earlier: tuple[PlannedCall, ...] | None


@dataclass(frozen=True, eq=False, slots=True)
class Leg:
    """Periods to plan one after the other, and the carriers that links had before [kHz], None where nothing was
    planned."""

    periods: tuple[Period, ...]
    stays: Mapping[str, int] | None
    effort: float


def plan_in_pieces(
    scene: Scene, keep: Plan | None = None, tell: Tell = quiet, *, run: Runner | None = None, effort: float = 0.25
) -> Pieces:
    """Plan a scene: as `make_plan`, with the pieces."""
    made, parts = Making(), _periods(scene, keep)
    if len(parts) <= 2 * LEG:
        _add_leg(made, Leg(parts, None, effort), tell, run)
    else:
        _add_legs(made, parts, tell, run or here, effort)
    return Pieces(scene, made.pieces, made.between)


def _periods(scene: Scene, keep: Plan | None) -> tuple[Period, ...]:
    """The periods of a scene, in the order of time."""
    parts = periods(scene)
    if keep is None:
        return tuple(Period(part, None) for part in parts)
    if len(parts) == 1:
        return (Period(scene, keep.calls),)
    kept = {call.call: call for call in keep.calls}
    return tuple(Period(part, tuple(kept[call.name] for call in part.calls if call.name in kept)) for part in parts)


def _add_legs(made: Making, parts: Sequence[Period], tell: Tell, run: Runner, effort: float) -> None:
    """Plan the periods of a long event in legs."""
    firsts: list[Making] = []

    def legs() -> Iterator[Leg]:
        before: Mapping[str, int] | None = None
        for at in range(0, len(parts), LEG):
            firsts.append(Making())
            told = _part_of(tell, len(firsts) - 1, len(parts))
            stays = _add_leg(firsts[-1], Leg((parts[at],), before, effort), told)
            if before is not None:
                yield Leg(_apart(parts[at - LEG + 1 : at]), {**stays, **before}, effort)
            before = stays
        yield Leg(_apart(parts[at + 1 :]), before, effort)

    for n, leg in enumerate(run(plan_leg, legs())):
        for pieces in (firsts[n], leg):
            made.pieces |= pieces.pieces
            made.between |= pieces.between
        tell(f"planned {len(made.between)} periods of {len(parts)}", len(made.between) / len(parts))


def _apart(parts: Sequence[Period]) -> tuple[Period, ...]:
    """Periods with nothing worked out yet, so that they are small where they are sent elsewhere."""
    chains: dict[tuple[str, str], Chain] = {}
    scenes = [replace(part.scene, _chains=chains, _readings={}) for part in parts]
    return tuple(Period(scene, part.earlier) for scene, part in zip(scenes, parts, strict=True))


def plan_leg(leg: Leg) -> Making:
    """The pieces of a leg."""
    made = Making()
    _add_leg(made, leg)
    return made


def _add_leg(made: Making, leg: Leg, tell: Tell = quiet, run: Runner | None = None) -> dict[str, int]:
    """Plan the periods of a leg; the carriers that links had last [kHz]."""
    stays, known, budgets = leg.stays, SharedTunings(), KnownBudgets()
    # Most packs keep their carriers, and with them their budgets, which are not sent elsewhere.
    prove = functools.partial(run or here, functools.partial(prove_calls, known=budgets if run is None else None))
    for n, period in enumerate(leg.periods):
        part, earlier = period.scene, period.earlier
        slots = Slots(
            part, hearing(part), stays=dict(stays or {}), known=known, budgets=budgets, earlier=stays is not None
        )
        told = tell if len(leg.periods) == 1 else _part_of(tell, n, len(leg.periods))
        kept = {site.name: kept_of_calls(part, earlier or (), site) for site in part.used_sites}
        solved = solve_sites(part, slots, kept, told, run, leg.effort)
        calls = make_pieces(made, part, slots, solved, kept, told, prove, again=earlier is not None)
        problems = {name: problem for name, (problem, _) in solved.items()}
        made.between[named(part)] = tuple(changing_findings(part, problems.__getitem__, calls))
        stays = slots.stays
    return dict(stays or {})


def _part_of(tell: Tell, n: int, count: int) -> Tell:
    """What is told of one of several parts: its share of the whole."""
    return lambda what, share: tell(f"{what}, {n + 1} of {count}", (n + share) / count)
