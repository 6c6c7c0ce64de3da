"""Spares that a plan gave up because somebody came on them while a sweep looked: told wherever the plan is."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Final

from linkwright.plan.findings import finding
from linkwright.units import mhz_text, minus

if TYPE_CHECKING:
    from linkwright.air.readers import Readout
    from linkwright.plan.model import Plan

#: Whoever is heard so near to a spare that was given up is why [kHz].
NEAR_KHZ: Final = 400.0

#: Call, link and carrier of a spare [kHz], and why it was given up, a sentence.
GivenUp = Mapping[tuple[str, str, int], str]


def given_up(earlier: Plan | None, plan: Plan, heard: Mapping[str, Readout]) -> GivenUp:
    """The spares of an earlier plan that the new one has not, where somebody is heard now."""
    before = (
        {}
        if earlier is None
        else {(call.call, planned.link): planned for call in earlier.calls for planned in call.links}
    )
    given = {}
    for call in plan.calls:
        others = (
            [other for other in heard[call.site].heard if other.level_db is not None] if call.site in heard else []
        )
        for link in call.links:
            old = before.get((call.call, link.link))
            for khz in () if old is None else set(old.spares_khz) - {*link.spares_khz, link.carrier_khz}:
                near = min(others, key=lambda other: abs(other.centre_khz - khz), default=None)
                if near is None or abs(near.centre_khz - khz) > NEAR_KHZ:
                    continue
                level = minus(f"{near.level_db:.0f} {near.unit}")
                given[call.call, link.link, khz] = (
                    f"The spare {mhz_text(khz)} of {link.link} was given up: somebody came there, {level} at "
                    f"{near.centre_khz / 1000:.3f} MHz in the live sweep"
                )
    return given


def with_findings(plan: Plan, given: GivenUp) -> Plan:
    """The plan, which tells what was given up and what stands in its place."""
    spares = {(call.call, planned.link): planned for call in plan.calls for planned in call.links}
    more = []
    for (call, link, khz), why in given.items():
        now = spares.get((call, link))
        if now is not None and khz not in {now.carrier_khz, *now.spares_khz}:
            instead = f"its spares are {', then '.join(now.spares)}" if now.spares else "it has no spare any more"
            more.append(finding("spare-replaced", link, f"{why}; {instead}."))
    return plan.model_copy(update={"findings": (*plan.findings, *_once(more))}) if more else plan


def without_findings(plan: Plan) -> Plan:
    """The plan without what was told of spares that were given up."""
    findings = tuple(finding for finding in plan.findings if finding.code != "spare-replaced")
    return plan.model_copy(update={"findings": findings})


def _once(findings: Iterable[object]) -> tuple[object, ...]:
    return tuple(dict.fromkeys(findings))
