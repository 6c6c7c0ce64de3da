"""What a plan comes to crew by crew: who fits, who does not, and what would help."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from linkwright.plan.findings import GRAVITY
from linkwright.plan.model import Plan
from linkwright.shoot.models import Shoot

#: What belongs to no crew.
OWN: Final = "the event's own"
#: How many sentences of help a crew is told.
MOST_TOLD: Final = 12
#: What of the findings says what would help a link that has no place or does not hold.
HELPING: Final = frozenset({
    "unplaced", "crowded", "power-short", "reach-short", "intermodulation", "near-far", "adjacent", "tv-cochannel",
    "other-cochannel", "reuse", "busy", "locked", "spare-missing", "permit", "closed",
})  # fmt: skip


@dataclass(frozen=True, slots=True)
class CrewResult:
    """A crew in a plan: how many assignments it has, how many hold, are thin or fail; those without a carrier
    (call, link, why); and what was found of its links, each with what to do."""

    crew: str
    assignments: int
    holds: int
    thin: int
    fails: int
    unplaced: tuple[tuple[str, str, str], ...]
    helps: tuple[str, ...]

    @property
    def fits(self) -> bool:
        """Whether all of its links have a carrier and hold."""
        return self.holds == self.assignments


def crews_of(shoot: Shoot, plan: Plan) -> tuple[CrewResult, ...]:
    """The crews of a shoot in its order, and the event's own where it has links."""
    crew_of = {link.name: link.crew or OWN for link in shoot.link}
    verdicts: dict[str, dict[str, int]] = {}
    gone: dict[str, list[tuple[str, str, str]]] = {}
    for call in plan.calls:
        for link in call.told:
            counts = verdicts.setdefault(crew_of[link.link], {})
            counts[link.verdict] = counts.get(link.verdict, 0) + 1
        for missing in call.unplaced:
            gone.setdefault(crew_of[missing.link], []).append((call.call, missing.link, missing.because))
    helps = _helps(plan, crew_of, {call.name: call.crew or OWN for call in shoot.call})
    results = []
    for name in (*(crew.name for crew in shoot.crew), OWN):
        counts, missing_ = verdicts.get(name, {}), tuple(gone.get(name, ()))
        total = sum(counts.values()) + len(missing_)
        if total or name != OWN:
            holds, thin, fails = (counts.get(verdict, 0) for verdict in ("holds", "thin", "fails"))
            says = tuple(helps.get(name, ())) if holds < total else ()
            results.append(CrewResult(name, total, holds, thin, fails, missing_, says))
    return tuple(results)


def _helps(plan: Plan, crew_of: Mapping[str, str], crew_of_call: Mapping[str, str]) -> dict[str, list[str]]:
    """What was found and what to do, the gravest first, by crew."""
    told: dict[str, list[str]] = {}
    for finding in sorted(plan.findings, key=lambda finding: GRAVITY[finding.severity]):
        crew = crew_of.get(finding.about) or crew_of_call.get(finding.about)
        if crew is None or finding.code not in HELPING:
            continue
        says = told.setdefault(crew, [])
        if len(says) < MOST_TOLD:
            says.append(f"{finding.says} {finding.do}")
        elif len(says) == MOST_TOLD:
            says.append("More stands in the plan's findings.")
    return told
