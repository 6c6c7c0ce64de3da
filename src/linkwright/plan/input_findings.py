"""What can be said of a shoot before anything is planned: rules, permits, tuning, locks, sweeps, warnings."""

from __future__ import annotations

import datetime
from collections.abc import Iterator
from typing import Final

import numpy as np

from linkwright.plan.chain import Chain, Scene
from linkwright.plan.findings import finding
from linkwright.plan.model import Finding
from linkwright.plan.site import SiteProblem, locked_khz
from linkwright.plan.tuning import Tuning
from linkwright.rules import closed_ranges, hard_warnings, range_text, why_not
from linkwright.shoot.view import LiveCall
from linkwright.units import mhz_text

#: A sweep further from its call than this is old: transmitters come and go (common practice, no source).
OLD_AFTER: Final = datetime.timedelta(hours=12)


def input_findings(scene: Scene, problem: SiteProblem) -> Iterator[Finding]:
    """The findings of one site's input; links of one kind are told together."""
    for names, chain, tuning in kinds(problem):
        yield from _tuning(scene, names, chain, tuning)
    for chain, tuning in zip(problem.chains, problem.tunings, strict=True):
        yield from _lock(scene, chain, tuning)
    yield from _sweeps(scene, problem)
    yield from _warnings(scene, problem)


def kinds(problem: SiteProblem) -> list[tuple[str, Chain, Tuning]]:
    """The links of a site by kind (one transmitter, one tuning), as names together, a chain and the tuning."""
    groups: dict[tuple[str, int], list[int]] = {}
    for n, (chain, tuning) in enumerate(zip(problem.chains, problem.tunings, strict=True)):
        groups.setdefault((chain.link.transmitter, id(tuning)), []).append(n)
    return [
        (
            together([problem.chains[n].link.name for n in members]),
            problem.chains[members[0]],
            problem.tunings[members[0]],
        )
        for members in groups.values()
    ]


def together(names: list[str]) -> str:
    """Several names as people say them: "Pilot, Cook and 3 others"."""
    if len(names) <= 3:
        return " and ".join(filter(None, [", ".join(names[:-1]), names[-1]]))
    return f"{', '.join(names[:2])} and {len(names) - 2} others"


def _tuning(scene: Scene, names: str, chain: Chain, tuning: Tuning) -> Iterator[Finding]:
    kind = f"{chain.link.transmitter} of {names}"
    if not tuning.carriers_khz.size:
        yield finding(
            "tuning",
            names,
            f"Transmitter {chain.link.transmitter} and receiver {chain.link.receiver} have no carrier in common.",
        )
        return
    if not np.any(tuning.most_mw > 0.0):
        middle = int(tuning.carriers_khz[tuning.carriers_khz.size // 2])
        reason = rule_reason(scene, chain, middle)
        code = "permit" if "permit" in reason else "closed"
        yield finding(code, names, f"Nothing that {kind} tunes may be used here: {reason}", severity="stop")
        return
    yield from _closed(scene, names, chain, tuning)
    if not tuning.legal.any():
        channels = ", ".join(channel.number for channel in tuning.tv)
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
                f"Of {range_text(low, high)}, which {chain.link.transmitter} tunes, {left} is left.",
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
            "locked", name, f"{name} is locked to {mhz_text(locked)} MHz, which is no carrier of its equipment."
        )
    elif tuning.most_mw[at] <= 0.0:
        yield finding(
            "locked",
            name,
            f"{name} is locked to a carrier that may not be used: {rule_reason(scene, chain, locked)}",
        )
    elif tuning.in_tv[at] >= 0 or tuning.at_edge[at]:
        channel = tuning.tv[int(tuning.in_tv[at])].number if tuning.in_tv[at] >= 0 else None
        where = f"in TV channel {channel}, which is on the air" if channel else "too near to a TV channel's edge"
        yield finding("tv-cochannel", name, f"{name} is locked to {mhz_text(locked)} MHz, {where}.")


def _sweeps(scene: Scene, problem: SiteProblem) -> Iterator[Finding]:
    """Whether the site was swept, in time and over what the links tune."""
    site = problem.site.name
    sweeps = scene.sweeps.get(site, ())
    if not sweeps:
        yield finding("sweep-missing", site, f"There is no sweep of {site}.")
        return
    for names, _, tuning in kinds(problem):
        missed = tuning.legal & ~tuning.covered
        if missed.any():
            share = round(100.0 * float(missed.sum()) / float(tuning.legal.sum()))
            yield finding(
                "sweep-partial",
                site,
                f"The sweep of {site} does not cover {max(share, 1)} % of the slots of {names} "
                f"(within {range_of(tuning.carriers_khz[missed])}).",
            )
    for call in problem.calls:
        for sweep in sweeps:
            away = _age(sweep.started, call)
            if away is not None and away > OLD_AFTER:
                hours = away.total_seconds() / 3600.0
                yield finding(
                    "sweep-old", site, f'The sweep {sweep.path} lies {hours:.0f} h from the call "{call.name}".'
                )


def _age(started: datetime.datetime | None, call: LiveCall) -> datetime.timedelta | None:
    """How far a sweep lies from its call; None where one of the two has no time.

    A sweep's own clock carries no zone: it is read in the shoot's.
    """
    if started is None or call.starts is None or call.ends is None:
        return None
    at = started if started.tzinfo else started.replace(tzinfo=call.starts.tzinfo)
    zero = datetime.timedelta(0)
    return max(call.starts - at, at - call.ends, zero)


def _warnings(scene: Scene, problem: SiteProblem) -> Iterator[Finding]:
    """The hard warnings for what the links could be given here."""
    ranges: list[tuple[int, int]] = []
    for _, _, tuning in kinds(problem):
        ranges += contiguous(tuning.carriers_khz[tuning.legal])
    if not ranges:
        return
    site = problem.site
    for warning in hard_warnings(scene.law.territory, site.latitude, site.longitude, ranges):
        yield finding(
            "hard-warning",
            warning.about,
            f"{warning.says} ({warning.source})",
            do=warning.do,
            severity=warning.severity,
        )


def contiguous(carriers_khz: np.ndarray) -> list[tuple[int, int]]:
    """Ascending carriers as ranges (from, to) that hold no gap wider than 1 MHz [kHz]."""
    if not carriers_khz.size:
        return []
    breaks = np.flatnonzero(np.diff(carriers_khz) > 1000)
    first = np.concatenate([[0], breaks + 1])
    last = np.concatenate([breaks, [carriers_khz.size - 1]])
    return [(int(carriers_khz[a]), int(carriers_khz[b])) for a, b in zip(first, last, strict=True)]
