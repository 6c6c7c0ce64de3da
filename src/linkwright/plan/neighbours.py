"""Sites that hear each other: carriers are used again by distance and by time, as far as the levels allow it.

A site is planned after others; what those transmit is on the air here, and what would disturb those is not used
here. Both follow from where the sites lie and when their calls are, not from a table of who may share.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from linkwright.air.others import overlap_share
from linkwright.physics.noise import thermal_noise_dbm
from linkwright.plan.chain import Chain, Scene
from linkwright.plan.findings import finding
from linkwright.plan.heard import Heard
from linkwright.plan.model import Finding
from linkwright.reach.between import between_sites_db
from linkwright.reach.budget import facing_db
from linkwright.rules.distance import great_circle_km
from linkwright.shoot.place import Site
from linkwright.shoot.view import LiveCall
from linkwright.units import BoolArray, IntArray, dbm_from_mw, mw_from_dbm

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
    transmitter = chain.transmitter
    return mw_from_dbm(
        dbm_from_mw(max(transmitter.powers_mw)) + transmitter.antenna_gain_dbi - facing_db(transmitter)
    )


def hear_each_other(scene: Scene, a: Site, b: Site) -> bool:
    """Whether anybody of one site could matter at the other: by distance, and by calls at the same time."""
    away = distance_m(a, b)
    if away is None or not any(together(x, y) for x in scene.calls_on(a) for y in scene.calls_on(b)):
        return False
    chains = [scene.chain(link, site) for site in (a, b) for call in scene.calls_on(site) for link in call.links]
    lowest = min(low for chain in chains for low, _ in chain.transmitter.tunes_khz)
    loss = float(between_sites_db(a, b, away, np.array([lowest / 1000.0]))[0])
    strongest = max(dbm_from_mw(strongest_mw(chain)) for chain in chains)
    quietest = min(_noise_dbm(chain) for chain in chains)
    return strongest - loss > quietest - HEARD_BELOW_NOISE_DB


def _noise_dbm(chain: Chain) -> float:
    return thermal_noise_dbm(chain.transmitter.bandwidth_khz, chain.receiver.noise_figure_db)


def classes(scene: Scene) -> list[list[Site]]:
    """The sites in classes, none of which holds two that hear each other: each class can be planned at once.

    Greedy colouring, sites with the most neighbours first (Welsh and Powell 1967); in the order of the file.
    """
    sites = scene.used_sites
    neighbours: dict[str, set[str]] = {site.name: set() for site in sites}
    for n, a in enumerate(sites):
        for b in sites[n + 1 :]:
            if hear_each_other(scene, a, b):
                neighbours[a.name].add(b.name)
                neighbours[b.name].add(a.name)
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
    noise_mw = mw_from_dbm(_noise_dbm(chain))
    for name, links in far.items():
        live = [one for one in links if any(together(one.call, call) for call in calls)]
        away = distance_m(chain.site, links[0].chain.site) if links else None
        if not live or away is None:
            continue
        carriers = np.array([one.carrier_khz for one in live], dtype=np.int64)
        loss = between_sites_db(chain.site, live[0].chain.site, away, carriers / 1000.0)
        power_mw = np.zeros(slots_khz.size)
        for one, lost in zip(live, loss, strict=True):
            gain = mw_from_dbm(chain.receiver.antenna_gain_dbi - float(lost))
            window = _window(slots_khz, one, chain)
            share = overlap_share(slots_khz[window], chain.transmitter.bandwidth_khz, *_band(one))
            power_mw[window] += strongest_mw(one.chain) * gain * share
            ours = strongest_mw(chain) * mw_from_dbm(one.chain.receiver.antenna_gain_dbi - float(lost)) * share
            limit = mw_from_dbm(_noise_dbm(one.chain)) * (10.0 ** (MAY_RAISE_DB / 10.0) - 1.0)
            disturbs[window] |= ours > limit
        if power_mw.max(initial=0.0) > noise_mw * mw_from_dbm(-HEARD_BELOW_NOISE_DB):
            source = f"{away / 1000:.2f} km away, at their highest step"
            heard.append(Heard(f"links at {name}", REUSE, power_mw, "modelled", source))
    return heard, disturbs


def _band(one: Far) -> tuple[float, float]:
    half = one.chain.transmitter.bandwidth_khz / 2.0
    return one.carrier_khz - half, one.carrier_khz + half


def _window(slots_khz: IntArray, one: Far, chain: Chain) -> slice:
    """The slots that a far carrier can touch at all."""
    reach = (one.chain.transmitter.bandwidth_khz + chain.transmitter.bandwidth_khz) // 2 + 1
    low, high = np.searchsorted(slots_khz, [one.carrier_khz - reach, one.carrier_khz + reach + 1])
    return slice(int(low), int(high))


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
