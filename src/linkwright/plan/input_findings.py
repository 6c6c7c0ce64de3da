"""What can be said of a shoot before anything is planned: rules, permits, tuning, locks, sweeps, warnings."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import numpy as np

from linkwright.air.looks import CERTAINTY
from linkwright.air.report import Stepping, passes
from linkwright.plan.air import OLD_AFTER, SiteAir, age, missed_during, needed_s
from linkwright.plan.chain import Chain, Scene
from linkwright.plan.findings import finding
from linkwright.plan.model import Finding, PlannedCall, Severity
from linkwright.plan.site import SiteProblem, locked_khz
from linkwright.plan.tuning import Tuning
from linkwright.rules import (
    acceptable,
    closed_ranges,
    hard_warnings,
    licence_text,
    misfit,
    opened_by,
    openings,
    place_of,
    range_text,
    why_not,
)
from linkwright.shoot.catalogue import called
from linkwright.shoot.clock import chosen, zone_of
from linkwright.shoot.models import Shoot
from linkwright.shoot.permits import PermitHeld
from linkwright.shoot.zones import zones_of
from linkwright.units import counted, khz_from_mhz, mhz_text, together


def input_findings(scene: Scene, problem: SiteProblem) -> Iterator[Finding]:
    """The findings of one site's input; links of one kind are told together."""
    for names, chain, tuning in kinds(problem):
        yield from _tuning(scene, names, chain, tuning)
    for chain, tuning in zip(problem.chains, problem.tunings, strict=True):
        yield from _lock(scene, chain, tuning)
    yield from _sweeps(scene, problem)
    yield from _others(scene, problem)
    yield from _warnings(scene, problem)


def time_findings(shoot: Shoot) -> Iterator[Finding]:
    """Whether it had to be chosen in which time zone the times of a shoot are."""
    zone, several = chosen(shoot), len(zones_of(shoot.shoot.region))
    if zone.how in ("said", "region") or not any(call.starts or call.ends for call in shoot.call):
        return
    why = f"the nearest to the site of the {several} of {shoot.shoot.region}"
    if zone.how == "unknown":
        why = f"one of the {several} of {shoot.shoot.region}" if several else "as nothing is known of its region"
    severity: Severity = "note" if zone.how == "place" else "warn"
    says = f"All times are taken as those of {zone.zone}, {why}."
    yield finding("timezone", str(zone.zone), says, severity=severity)


def kinds(problem: SiteProblem) -> list[tuple[str, Chain, Tuning]]:
    """The links of a site by kind (one transmitter, one tuning), as names together, a chain and the tuning."""
    groups: dict[tuple[str, int], list[int]] = {}
    for n, (chain, tuning) in enumerate(zip(problem.chains, problem.tunings, strict=True)):
        groups.setdefault((chain.link.sends.kit, id(tuning)), []).append(n)
    return [
        (
            together([problem.chains[n].link.name for n in members]),
            problem.chains[members[0]],
            problem.tunings[members[0]],
        )
        for members in groups.values()
    ]


def _tuning(scene: Scene, names: str, chain: Chain, tuning: Tuning) -> Iterator[Finding]:
    kind = f"{called(chain.link.sends.kit)} of {names}"
    if not tuning.carriers_khz.size:
        yield finding(
            "tuning",
            names,
            f"Transmitter {called(chain.link.sends.kit)} and receiver {called(chain.link.hears[0].kit)} have no "
            "carrier in common.",
        )
        return
    if not np.any(tuning.most_mw > 0.0):
        middle = int(tuning.carriers_khz[tuning.carriers_khz.size // 2])
        reason = rule_reason(scene, chain, middle)
        code = "permit" if "needs the permit" in reason else "closed"
        yield finding(code, names, f"Nothing that {kind} tunes may be used here: {reason}", severity="stop")
        return
    yield from _closed(scene, names, chain, tuning)
    if not tuning.legal.any():
        channels = ", ".join(taken.channel.number for taken in tuning.tv)
        yield finding(
            "tv-cochannel",
            names,
            f"TV channels on the air here ({channels}) leave no carrier for {kind}.",
            do="Take equipment that tunes outside these channels.",
        )


def rule_reason(scene: Scene, chain: Chain, carrier_khz: int) -> str:
    """What the rules say of a carrier for this transmitter, as a sentence."""
    law, transmitter = scene.law, chain.transmitter
    return why_not(
        law.territory,
        law.permits,
        carrier_khz,
        transmitter.bandwidth_khz,
        transmitter.form,
        transmitter.antenna_gain_dbi,
        law.on,
        kind=chain.kind,
        terms=scene.terms(chain),
        least_mw=min(transmitter.powers_mw),
    )


def _closed(scene: Scene, names: str, chain: Chain, tuning: Tuning) -> Iterator[Finding]:
    """The closed ranges inside what a kind of link tunes."""
    low, high = int(tuning.carriers_khz[0]), int(tuning.carriers_khz[-1])
    for closed in closed_ranges(scene.law.territory, scene.law.on):
        inside = (tuning.carriers_khz >= closed.from_khz) & (tuning.carriers_khz <= closed.to_khz)
        if closed.from_khz < high and closed.to_khz > low and inside.any():
            left = range_of(tuning.carriers_khz[tuning.most_mw > 0.0])
            yield finding(
                "closed",
                names,
                f"{range_text(closed.from_khz, closed.to_khz)} is closed: {closed.why} ({closed.source}). "
                f"Of {range_text(low, high)}, which {called(chain.link.sends.kit)} tunes, {left} is left.",
                severity="note",
            )


def range_of(carriers_khz: np.ndarray) -> str:
    """The span of some carriers in words; "nothing" for none."""
    return "nothing" if not carriers_khz.size else range_text(int(carriers_khz[0]), int(carriers_khz[-1]))


def _lock(scene: Scene, chain: Chain, tuning: Tuning) -> Iterator[Finding]:
    """Whether a locked carrier can be used at all."""
    locked = locked_khz(chain.link)
    if locked is None:
        return
    at, name = tuning.index(locked), chain.link.name
    if at is None:
        yield finding(
            "locked", name, f"{name} is locked to {chain.shown(locked)} MHz, which is no carrier of its equipment."
        )
    elif tuning.most_mw[at] <= 0.0:
        yield finding(
            "locked",
            name,
            f"{name} is locked to a carrier that may not be used: {rule_reason(scene, chain, locked)}",
        )
    elif tuning.in_tv[at] >= 0 or tuning.at_edge[at]:
        taken = tuning.tv[int(tuning.in_tv[at])] if tuning.in_tv[at] >= 0 else None
        where = (
            f"in TV channel {taken.channel.number}, which {taken.says}"
            if taken
            else "too near to a TV channel's edge"
        )
        yield finding("tv-cochannel", name, f"{name} is locked to {chain.shown(locked)} MHz, {where}.")


def _sweeps(scene: Scene, problem: SiteProblem) -> Iterator[Finding]:
    """Whether the site was swept, in time and over what the links tune, and how much that says."""
    site, air = problem.site.name, scene.air[problem.site.name]
    yield from air.findings
    if air.survey is None or not (air.survey.judged or air.survey.heard):
        yield finding("sweep-missing", site, f"There is no sweep of {site}.", do=_by_itself(problem))
        return
    for names, _, tuning in kinds(problem):
        unseen = tuning.legal & ~tuning.covered
        if unseen.any():
            share = round(100.0 * float(unseen.sum()) / float(tuning.legal.sum()))
            yield finding(
                "sweep-partial",
                site,
                f"The sweep of {site} does not cover {max(share, 1)} % of the slots of {names} "
                f"(within {range_of(tuning.carriers_khz[unseen])}).",
            )
    for judged in air.survey.judged:
        sweep = judged.sweep
        for call in problem.calls:
            away = age(sweep.started, call)
            if away is not None and away > OLD_AFTER:
                hours = away.total_seconds() / 3600.0
                yield finding(
                    "sweep-old", site, f'The sweep {sweep.path} lies {hours:.0f} h from the call "{call.name}".'
                )
        if not sweep.calibrated:
            yield finding(
                "sweep-relative",
                site,
                f"The levels of {sweep.path} are relative: they tell stronger from weaker, and no more.",
            )
    yield from _brief(air, site)


def _others(scene: Scene, problem: SiteProblem) -> Iterator[Finding]:
    """Others of whom something had to be assumed."""
    told = {other.name: other for other in scene.shoot.other}
    for other in scene.others[problem.site.name]:
        given = told.get(other.name, other)
        if given.heard_dbm is None and given.at is None:
            power = f"{given.radiated_mw:g} mW" + ("" if "radiated_mw" in given.model_fields_set else ", assumed")
            says = f"Nobody said where {other.name} stands: taken to be 10 m from the receivers, with {power}."
            yield finding("other-assumed", other.name, says)


def stepping_receivers(problem: SiteProblem) -> list[Stepping]:
    """The receivers of a site that could step through the slots of their links by themselves, each once."""
    slots: dict[str, Stepping] = {}
    for _, chain, tuning in kinds(problem):
        count, name = int(np.count_nonzero(tuning.legal)), chain.link.hears[0].kit
        if count > (slots[name].slots if name in slots else 0):
            slots[name] = Stepping(name, count, chain.receiver.look_s)
    return list(slots.values())


def _by_itself(problem: SiteProblem) -> str | None:
    """What a receiver that steps through its slots by itself can find; None where none tunes anything."""
    slowest = max(stepping_receivers(problem), key=lambda stepping: stepping.slots, default=None)
    if slowest is None:
        return None
    once, enough = passes(slowest)
    return (
        f"Sweep the site on arrival and name the file in sweeps. The {called(slowest.receiver)} steps through its "
        f"{slowest.slots} slots by itself: that takes {_duration(enough.every_s)} a pass and misses somebody who "
        f"is on 5 % of the time in {100.0 * once:.0f} % of cases; {enough.count} passes find them in 95 %."
    )


def _brief(air: SiteAir, site: str) -> Iterator[Finding]:
    """Whether the site was looked at for long enough to rely on what was not seen."""
    chance, needed = missed_during(air), needed_s(air)
    if chance is not None and chance > 1.0 - CERTAINTY:
        says = f"The sweep of {site} misses somebody who is on 5 % of the time in {100.0 * chance:.0f} % of cases."
        advice = None if needed is None else f"Sweep for {_duration(needed)} in the same way to find them in 95 %."
        yield finding("sweep-brief", site, says, do=advice)


def _duration(seconds: float) -> str:
    return f"{seconds / 60.0:.0f} minutes" if seconds >= 120.0 else f"{seconds:.0f} seconds"


def _warnings(scene: Scene, problem: SiteProblem) -> Iterator[Finding]:
    """The hard warnings for what the links tune here, and whether anything opens what they close."""
    ranges: list[tuple[int, int]] = []
    for _, _, tuning in kinds(problem):
        ranges += contiguous(tuning.carriers_khz)
    if not ranges:
        return
    site, law = problem.site, scene.law
    names = acceptable(law.territory)
    for warning in hard_warnings(law.territory, site.latitude, site.longitude, ranges):
        do = warning.do
        if warning.closes:
            by = warning.opened_by(law.permits | law.accepts)
            accept = f' accepts = ["{warning.id}"] under [shoot] opens it,' if warning.id in names else ""
            do += (
                f". {by} opens it." if by else f". Closed here:{accept} or a [[permit]] that outranks {warning.id}."
            )
        yield finding(
            "hard-warning", warning.about, f"{warning.says} ({warning.source})", do=do, severity=warning.severity
        )


def opened_findings(scene: Scene, problem: SiteProblem, calls: Iterable[PlannedCall]) -> Iterator[Finding]:
    """The planned links of a site that stand where somebody had to open it, and by what."""
    law = scene.law
    for link in dict.fromkeys(
        (planned_link.link, khz) for call in calls for planned_link in call.links for khz in planned_link.all_khz
    ):
        name, khz = link
        n = problem.index(name)
        chain, row = problem.chains[n], problem.tunings[n].row_at(khz)
        terms = scene.terms(chain)
        if row is not None:
            opened = openings(law.territory, law.on, law.permits, terms)
            for says in opened_by(opened, row, khz, chain.transmitter.bandwidth_khz, terms):
                yield finding("opened", name, f"{name} stands on {chain.shown(khz)} MHz because {says}.")


def permit_findings(scene: Scene, used_khz: Iterable[int]) -> Iterator[Finding]:
    """Of each permit that lists carriers, which are left."""
    used = set(used_khz)
    for permit in scene.shoot.permit:
        whys = list(_misfits(scene, permit))
        if whys and all(whys):
            yield finding("permit-unfit", permit.name, f"{licence_text(permit)} opens nothing here: {whys[0]}.")
    for permit in scene.law.licences:
        left = [khz for khz in sorted(map(khz_from_mhz, permit.carriers_mhz)) if khz not in used]
        if permit.carriers_mhz:
            are = "is" if len(left) == 1 else "are"
            free = f"{', '.join(map(mhz_text, left))} MHz {are} left" if left else "none is left"
            count = len(permit.carriers_mhz)
            gone = count - len(left)
            used_up = f"{gone} {'is' if gone == 1 else 'are'} used"
            says = f"Of {counted(count, 'carrier')} on {licence_text(permit)}, {used_up}; {free}."
            yield finding("permit-left", permit.name, says)


def _misfits(scene: Scene, permit: PermitHeld) -> Iterator[str]:
    """Why a permit does not hold, for each site and day; "" where it does."""
    header = scene.shoot.shoot
    days = {header.date, *(call.starts.date() for call in scene.calls if call.starts is not None)}
    for site in scene.used_sites:
        known = site.latitude is not None and site.longitude is not None
        place = (site.latitude or 0.0, site.longitude or 0.0) if known else None
        for day in sorted(days):
            why = misfit(permit, header.region, place, day, zone_of(scene.shoot))
            lacks = permit.place is not None and place is None
            yield why or (f"{place_of(permit)}, and where {site.name} is was not said" if lacks else "")


def contiguous(carriers_khz: np.ndarray) -> list[tuple[int, int]]:
    """Ascending carriers as ranges (from, to) that hold no gap wider than 1 MHz [kHz]."""
    if not carriers_khz.size:
        return []
    breaks = np.flatnonzero(np.diff(carriers_khz) > 1000)
    first = np.concatenate([[0], breaks + 1])
    last = np.concatenate([breaks, [carriers_khz.size - 1]])
    return [(int(carriers_khz[a]), int(carriers_khz[b])) for a, b in zip(first, last, strict=True)]
