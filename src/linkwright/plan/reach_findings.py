"""What reach has to tell of a site: antennas with too little or too much gain, remote setting, walks not read."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from linkwright.plan.chain import Chain
from linkwright.plan.findings import finding
from linkwright.plan.model import Finding, PlannedLink
from linkwright.plan.site import SiteProblem
from linkwright.reach.control import USUAL_REACH_M, control
from linkwright.reach.feed import Judged, judged
from linkwright.reach.path import taken
from linkwright.shoot.view import ASSUMED_DISTANCE_M
from linkwright.units import together

#: Shares of time from which a squelch that opens or cuts is told.
SQUELCH_RISK: Final = 0.001
#: A preamplifier of less than this is not worth its name [dB].
LEAST_GAIN_DB: Final = 0.5


def site_reach_findings(problem: SiteProblem) -> Iterator[Finding]:
    """The findings of a site, links of one kind told together."""
    site = problem.site
    if site.measured is not None and site.learnt is None:
        yield finding(
            "walk-unread", site.name, f'What the walk test "{site.measured}" taught about {site.name} was not read.'
        )
    yield from _assumed(problem)
    yield from _feeds(problem)
    yield from _controls(problem)


def _assumed(problem: SiteProblem) -> Iterator[Finding]:
    """What is taken of a site where its drawing does not say it: how far talents go, and how far there is sight."""
    site = problem.site
    undrawn = [chain for chain in problem.chains if not chain.link.within_m and chain.goes[0] not in site.spots]
    if undrawn:
        names = together([chain.link.name for chain in undrawn])
        says = f"Nothing says how far {names} go at {site.name}: {ASSUMED_DISTANCE_M:g} m is taken."
        if len(undrawn) == 1:
            says = f"Nothing says how far {names} goes at {site.name}: {ASSUMED_DISTANCE_M:g} m is taken."
        yield finding("distance-assumed", site.name, says)
    sight = taken(site)
    if sight and not site.walls_complete:
        yield finding("sight-assumed", site.name, f"{site.name} is taken as {sight}.")


def _feeds(problem: SiteProblem) -> Iterator[Finding]:
    """Each antenna of the site with the receivers on it, each verdict once."""
    if not problem.site.antennas:
        return
    told: dict[tuple[str, str], tuple[Judged, list[str]]] = {}
    for chain in problem.chains:
        for ear in (ear for branch in chain.ends.branches for ear in branch):
            if ear.antenna is None:
                continue
            feed = judged(ear.antenna, chain.receiver, chain.middle_mhz, ear.combined)
            if feed is not None:
                told.setdefault((ear.antenna.name, feed.verdict), (feed, []))[1].append(chain.link.name)
    for feed, names in told.values():
        says = f"For {together(names)} {feed.says}."
        do = f"A preamplifier of {feed.better_gain_db:.0f} dB at the antenna would make up for what follows it."
        better = do if feed.better_gain_db >= LEAST_GAIN_DB else None
        if feed.verdict == "too little":
            yield finding("feeder-loss", problem.site.name, says, do=better)
        else:
            yield finding("gain-excess", problem.site.name, says, do=better)


def _controls(problem: SiteProblem) -> Iterator[Finding]:
    """Whose remote setting does not reach along the whole route."""
    short: dict[str, tuple[Chain, list[str], float]] = {}
    for chain in problem.chains:
        weak = [controlled for controlled in control(chain.ends, chain.route) if controlled.margin_db < 0.0]
        if weak:
            worst = min(weak, key=lambda controlled: controlled.margin_db)
            entry = short.setdefault(f"{worst.spot} from {chain.at.name}", (chain, [], worst.distance_m))
            entry[1].append(chain.link.name)
    for where, (chain, names, distance) in short.items():
        stated = chain.transmitter.control_reach_m
        reach = f"about {USUAL_REACH_M:g} m is usual" if stated is None else f"{stated:g} m in the open, as stated"
        says = f"{together(names)} cannot be set remotely at {where}: {distance:.0f} m ({reach})."
        yield finding("control-short", together(names), says)


def squelch_finding(link: PlannedLink, distant: str) -> Iterator[Finding]:
    """Whether somebody else opens a link's squelch, or it cuts the talent, for more than a second in a thousand."""
    if link.squelch_dbm is None or link.squelch_opens is None or link.squelch_cuts is None:
        return
    if distant and max(link.squelch_opens, link.squelch_cuts) > SQUELCH_RISK:
        says = (
            f"{distant} opens the squelch of {link.link} for {100 * link.squelch_opens:.2f} % of the time while "
            f"its transmitter is off, and at {link.squelch_dbm:g} dBm it cuts the talent for "
            f"{100 * link.squelch_cuts:.2f} % at {link.worst_place}."
        )
        yield finding("squelch-risk", link.link, says)
