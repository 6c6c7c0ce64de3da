"""Sites that hear each other: carriers are used again by distance and by time, as far as the levels allow it.

A site is planned after others; what those transmit is on the air here, and what would disturb those is not used
here. Both follow from where the sites lie and when their calls are, not from a table of who may share.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from linkwright.air.others import overlap_share
from linkwright.physics.geodesy import great_circle_km
from linkwright.plan.chain import Chain, Scene
from linkwright.plan.findings import finding
from linkwright.plan.heard import Heard
from linkwright.plan.model import Finding
from linkwright.reach.between import between_sites_db
from linkwright.shoot.place import Site
from linkwright.shoot.view import LiveCall
from linkwright.units import BoolArray, FloatArray, IntArray, dbm_from_mw, mw_from_dbm, mw_from_dbm_array

#: A transmitter of another site counts when it is heard stronger than this below the noise [dB].
HEARD_BELOW_NOISE_DB: Final = 10.0
#: The code of what is heard from other sites.
REUSE: Final = "reuse"
#: A carrier is not used here where it would raise the noise of a receiver at another site by more than this [dB].
MAY_RAISE_DB: Final = 1.0


@dataclass(frozen=True, slots=True)
class Far:
    """A link of another site with the carrier that it has there in some call."""

    chain: Chain
    carrier_khz: int
    call: LiveCall


def distance_m(a: Site, b: Site) -> float | None:
    """How far two sites are from each other [m]; None where one has no position."""
    if None in (a.latitude, a.longitude, b.latitude, b.longitude):
        return None
    here = (float(a.latitude or 0.0), float(a.longitude or 0.0))
    there = (float(b.latitude or 0.0), float(b.longitude or 0.0))
    return 1000.0 * great_circle_km(*here, *there)


def together(a: LiveCall, b: LiveCall) -> bool:
    """Whether two calls run at the same time at some moment; a call without times always does."""
    if a.starts is None or a.ends is None or b.starts is None or b.ends is None:
        return True
    return a.starts < b.ends and b.starts < a.ends


def strongest_mw(chain: Chain) -> float:
    """The most that a link's transmitter radiates towards far away [mW]."""
    return mw_from_dbm(dbm_from_mw(max(chain.transmitter.powers_mw)) + chain.facing_gain_db)


@dataclass(frozen=True, slots=True)
class Reach:
    """A site as far as hearing goes: lowest frequency, strongest transmitter, quietest receiver of its links."""

    site: Site
    calls: tuple[LiveCall, ...]
    lowest_khz: int
    strongest_dbm: float
    quietest_dbm: float


def reach_of(scene: Scene, site: Site) -> Reach:
    """What of a site decides whether it and another hear each other."""
    calls = scene.calls_on(site)
    chains = [scene.chain(link, site) for call in calls for link in call.links]
    return Reach(
        site,
        calls,
        min(low for chain in chains for low, _ in chain.transmitter.tunes_khz),
        max(dbm_from_mw(strongest_mw(chain)) for chain in chains),
        min(chain.noise_dbm for chain in chains),
    )


def hear_each_other(a: Reach, b: Reach) -> bool:
    """Whether anybody of one site could matter at the other: by distance, and by calls at the same time."""
    away = distance_m(a.site, b.site)
    if away is None or not any(together(x, y) for x in a.calls for y in b.calls):
        return False
    lowest_mhz = np.array([min(a.lowest_khz, b.lowest_khz) / 1000.0])
    loss = float(between_sites_db(a.site, b.site, away, lowest_mhz)[0])
    strongest = max(a.strongest_dbm, b.strongest_dbm)
    return strongest - loss > min(a.quietest_dbm, b.quietest_dbm) - HEARD_BELOW_NOISE_DB


def classes(scene: Scene) -> list[list[Site]]:
    """The sites in classes, none of which holds two that hear each other: each class can be planned at once.

    Greedy colouring, sites with the most neighbours first (Welsh and Powell 1967); in the order of the file.
    """
    sites = scene.used_sites
    neighbours: dict[str, set[str]] = {site.name: set() for site in sites}
    for a, b in itertools.combinations([reach_of(scene, site) for site in sites], 2):
        if hear_each_other(a, b):
            neighbours[a.site.name].add(b.site.name)
            neighbours[b.site.name].add(a.site.name)
    colour: dict[str, int] = {}
    for site in sorted(sites, key=lambda site: -len(neighbours[site.name])):
        taken = {colour[name] for name in neighbours[site.name] if name in colour}
        colour[site.name] = next(c for c in range(len(sites)) if c not in taken)
    return [[s for s in sites if colour[s.name] == c] for c in range(max(colour.values(), default=-1) + 1)]


def heard_from(
    chain: Chain, calls: Sequence[LiveCall], far: Mapping[str, Sequence[Far]], slots_khz: IntArray
) -> tuple[list[Heard], BoolArray]:
    """What a link hears of other sites on each of its slots, a line a site; and where it would disturb them (m,).

    `far` are the links of other sites by name of the site, `calls` those in which this link is live.
    """
    heard, disturbs = [], np.zeros(slots_khz.size, dtype=np.bool_)
    noise_mw = mw_from_dbm(chain.noise_dbm)
    for name, links in far.items():
        live = [one for one in links if any(together(one.call, call) for call in calls)]
        away = distance_m(chain.site, links[0].chain.site) if links else None
        if not live or away is None:
            continue
        power_mw = _add_up(chain, live, away, slots_khz, disturbs)
        if power_mw.max(initial=0.0) > noise_mw * mw_from_dbm(-HEARD_BELOW_NOISE_DB):
            source = f"{away / 1000:.2f} km away, at their highest step"
            heard.append(Heard(f"links at {name}", REUSE, power_mw, "modelled", source))
    return heard, disturbs


def _add_up(
    chain: Chain, live: Sequence[Far], away_m: float, slots_khz: IntArray, disturbs: BoolArray
) -> FloatArray:
    """What the links of one site bring on each slot (m,) [mW]; marks in `disturbs` (m,) where ours would disturb.

    Only the few slots about each far carrier are looked at, all carriers at once: shape (links, slots about one).
    """
    carriers = np.array([one.carrier_khz for one in live], dtype=np.int64)
    width = np.array([one.chain.transmitter.bandwidth_khz for one in live], dtype=np.int64)
    loss = between_sites_db(chain.site, live[0].chain.site, away_m, carriers / 1000.0)
    theirs = np.array([strongest_mw(one.chain) for one in live])
    gain_here = mw_from_dbm_array(chain.receiver.antenna_gain_dbi - loss)
    gain_there = mw_from_dbm_array(np.array([one.chain.receiver.antenna_gain_dbi for one in live]) - loss)
    limit = mw_from_dbm_array(np.array([one.chain.noise_dbm for one in live])) * (
        10.0 ** (MAY_RAISE_DB / 10.0) - 1.0
    )
    touch = (width + chain.transmitter.bandwidth_khz) // 2 + 1
    first = np.searchsorted(slots_khz, carriers - touch)
    behind = np.searchsorted(slots_khz, carriers + touch + 1)
    slot = first[:, None] + np.arange(int((behind - first).max(initial=0)))
    link, at = np.nonzero(slot < behind[:, None])
    slot = slot[link, at]
    low, high = carriers - width / 2.0, carriers + width / 2.0
    share = overlap_share(slots_khz[slot], chain.transmitter.bandwidth_khz, low[link], high[link])
    power_mw = np.zeros(slots_khz.size)
    np.add.at(power_mw, slot, (theirs * gain_here)[link] * share)
    disturbs[slot[(strongest_mw(chain) * gain_there)[link] * share > limit[link]]] = True
    return power_mw


def positions(scene: Scene) -> Iterator[Finding]:
    """Whether sites whose calls overlap in time lack a position."""
    lacking = [site for site in scene.used_sites if site.latitude is None]
    for site in lacking:
        at_once = [
            other.name
            for other in scene.used_sites
            if other.name != site.name
            and any(together(a, b) for a in scene.calls_on(site) for b in scene.calls_on(other))
        ]
        if at_once:
            says = f"{site.name} has no position; it is taken to be out of reach of {', '.join(at_once[:3])}."
            yield finding("site-position", site.name, says)
