"""What links at other sites bring a link of an event, reckoned from nothing but the shoot and the carriers: plain
loops over every pair of assignments. Shares no code with the plan but the reading of equipment.

Loss: free space, plane earth with both ends at 1.5 m, ITU-R P.1411 section 4.3.1 without sight (median), as
docs/event.md says which counts where.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from linkwright.plan.chain import Scene
from linkwright.plan.model import Plan, PlannedLink
from linkwright.reach.body import facing_db
from linkwright.shoot.models import Call
from linkwright.shoot.place import Site
from linkwright.shoot.view import transmitter_of

#: What is weaker than this below the noise is not told [dB].
TOLD_DB = 10.0
URBAN_DB = {"street": 6.8, "residential": 0.0}


@dataclass(frozen=True)
class Sent:
    """An assignment on the air: its call and carrier [kHz], how wide it is [kHz], and what it radiates [dBm]."""

    call: Call
    khz: int
    wide_khz: float
    dbm: float


def assignments(scene: Scene, plan: Plan) -> Iterator[tuple[Sent, PlannedLink]]:
    """Every link of every call, at its highest step."""
    calls = {call.name: call for call in scene.shoot.call}
    for planned in plan.calls:
        for link in planned.links:
            kit = transmitter_of(scene.shoot, scene.shoot.link_named(link.link))
            dbm = 10.0 * math.log10(max(kit.powers_mw)) + kit.antenna_gain_dbi + kit.output_db[1] - facing_db(kit)
            yield Sent(calls[planned.call], link.carrier_khz, kit.bandwidth_khz, dbm), link


def at_once(a: Call, b: Call) -> bool:
    """Whether two calls are on at the same time on one day."""
    assert a.starts is not None
    assert a.ends is not None
    assert b.starts is not None
    assert b.ends is not None
    return a.date == b.date and a.starts < b.ends and b.starts < a.ends


def away_m(a: Site, b: Site) -> float:
    """How far two sites are from each other [m]: haversine, on a sphere of 6371 km."""
    assert a.latitude is not None
    assert b.latitude is not None
    north, south = math.radians(a.latitude), math.radians(b.latitude)
    east = math.radians((a.longitude or 0.0) - (b.longitude or 0.0))
    half = math.sin((north - south) / 2) ** 2 + math.cos(north) * math.cos(south) * math.sin(east / 2) ** 2
    return 2 * 6_371_000.0 * math.asin(math.sqrt(half))


def loss_db(a: Site, b: Site, mhz: float) -> float:
    """Loss from one site to another [dB]."""
    d = max(away_m(a, b), 30.0)
    free = 20 * math.log10(d) + 20 * math.log10(mhz) - 27.55
    built = [URBAN_DB[site.surroundings] for site in (a, b) if site.surroundings in URBAN_DB]
    if built:
        return max(free, 9.5 + 45 * math.log10(mhz) + 40 * math.log10(d / 1000) + min(built))
    return max(free, 40 * math.log10(d) - 20 * math.log10(1.5 * 1.5))


def inside(one: Sent, khz: int, wide_khz: float) -> float:
    """Which share of what is sent falls into a filter."""
    low = max(one.khz - one.wide_khz / 2, khz - wide_khz / 2)
    high = min(one.khz + one.wide_khz / 2, khz + wide_khz / 2)
    return max(0.0, high - low) / one.wide_khz


def from_elsewhere(scene: Scene, every: list[Sent], at: Sent, link: PlannedLink) -> dict[str, float]:
    """What each other site brings a link's receiver [dBm], where that counts."""
    sites = {site.name: site for site in scene.used_sites}
    here = sites[at.call.site or ""]
    chain = scene.chain(scene.shoot.link_named(link.link), here)
    found: dict[str, float] = {}
    for one in every:
        there = sites[one.call.site or ""]
        share = inside(one, at.khz, at.wide_khz)
        if there.name != here.name and share > 0.0 and at_once(one.call, at.call):
            dbm = one.dbm - loss_db(here, there, one.khz / 1000) + chain.heard_gain_db
            found[there.name] = found.get(there.name, 0.0) + 10 ** (dbm / 10) * share
    told = {name: 10 * math.log10(mw) for name, mw in found.items()}
    return {name: dbm for name, dbm in told.items() if dbm > chain.noise_dbm - TOLD_DB}
