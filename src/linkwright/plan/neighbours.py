"""Sites that hear each other: carriers are used again by distance and by time, as far as the levels allow it.

A site is planned after others; what those transmit is on the air here, and what would disturb those is not used
here. Both follow from where the sites lie and when their calls are, not from a table of who may share.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from linkwright.air.others import overlap_share
from linkwright.physics.geodesy import great_circles_km
from linkwright.plan.chain import Chain, Scene
from linkwright.plan.contributions import Arrival
from linkwright.plan.findings import finding
from linkwright.plan.model import Finding
from linkwright.reach.site_to_site import between_sites_db
from linkwright.shoot.place import Site
from linkwright.shoot.view import LiveCall
from linkwright.units import BoolArray, FloatArray, IntArray, dbm_from_mw, mw_from_dbm, mw_from_dbm_array

#: A transmitter of another site counts when it is heard stronger than this below the noise [dB].
HEARD_BELOW_NOISE_DB: Final = 10.0
#: The code of what is heard from other sites.
REUSE: Final = "reuse"
#: A carrier is not used here where it would raise the noise of a receiver at another site by more than this [dB].
MAY_RAISE_DB: Final = 1.0
#: From so many links of other sites on a loop over them is compiled.
MANY_FAR: Final = 40


@dataclass(frozen=True, slots=True)
class Far:
    """A way of a link of a planned site with the carrier that it has there in some call; `sends` for one of the
    ways of a carrier, as one transmitter is on."""

    chain: Chain
    carrier_khz: int
    call: LiveCall
    sends: bool = True


@dataclass(frozen=True, eq=False, slots=True)
class FarSite:
    """The links of one planned site as arrays, one entry (f,) a link in a call.

    carriers_khz, widths_khz : [kHz]. sent_mw : the most that they radiate. room_mw : what may arrive at their
    receivers' antennas before it raises the noise too much. starts, ends : of their calls [s, POSIX].
    """

    site: Site
    carriers_khz: IntArray
    widths_khz: FloatArray
    sent_mw: FloatArray
    room_mw: FloatArray
    starts: FloatArray
    ends: FloatArray

    @classmethod
    def of(cls, site: Site, links: Sequence[Far]) -> FarSite:
        """From the links of a site."""
        spare_db = np.array([link.chain.noise_dbm - link.chain.heard_gain_db for link in links])
        spans = np.array([link.call.span_s for link in links]).reshape(-1, 2)
        return cls(
            site,
            np.array([link.carrier_khz for link in links], dtype=np.int64),
            np.array([link.chain.transmitter.bandwidth_khz for link in links], dtype=np.float64),
            np.array([strongest_mw(link.chain) if link.sends else 0.0 for link in links], dtype=np.float64),
            mw_from_dbm_array(spare_db) * (10.0 ** (MAY_RAISE_DB / 10.0) - 1.0),
            spans[:, 0],
            spans[:, 1],
        )


def distances_m(site: Site, others: Sequence[Site]) -> FloatArray:
    """How far other sites are from one (n,) [m]; NaN where either has no position."""
    here, *there = ((place.latitude, place.longitude) for place in (site, *others))
    positions = np.array(there, dtype=np.float64).reshape(-1, 2)
    latitude, longitude = np.array(here, dtype=np.float64)
    return 1000.0 * great_circles_km(latitude, longitude, positions[:, 0], positions[:, 1])


def moments(calls: Sequence[LiveCall]) -> list[tuple[int, ...]]:
    """Which of some calls, by index, run at the same moment: each largest set of several. Calls without times are
    taken to follow each other."""
    timed = [(call.starts, call.ends, n) for n, call in enumerate(calls) if call.starts and call.ends]
    begins = sorted((starts, n) for starts, _, n in timed)
    ends = sorted((ends, n) for _, ends, n in timed)
    on: set[int] = set()
    sets: list[tuple[int, ...]] = []
    grown, at = False, 0
    for end, n in ends:
        while at < len(begins) and begins[at][0] < end:
            on.add(begins[at][1])
            grown, at = True, at + 1
        if grown and len(on) > 1:
            sets.append(tuple(sorted(on)))
        grown = False
        on.discard(n)
    return sets


def together(a: LiveCall, b: LiveCall) -> bool:
    """Whether two calls run at the same time at some moment; a call without times always does."""
    (a_starts, a_ends), (b_starts, b_ends) = a.span_s, b.span_s
    return a_starts < b_ends and b_starts < a_ends


def strongest_mw(chain: Chain) -> float:
    """The most that a link's transmitter radiates towards far away [mW]."""
    return mw_from_dbm(dbm_from_mw(max(chain.transmitter.powers_mw)) + chain.facing_gain_db)


@dataclass(frozen=True, slots=True)
class Reach:
    """A site as far as hearing goes: lowest frequency, strongest transmitter, quietest receiver of its links."""

    site: Site
    spans: tuple[tuple[float, float], ...]
    lowest_khz: int
    strongest_dbm: float
    quietest_dbm: float


def reach_of(scene: Scene, site: Site) -> Reach:
    """What of a site decides whether it and another hear each other."""
    calls = scene.calls_on(site)
    links = {link.name: link for call in calls for link in call.links}
    chains = [scene.chain(link, site) for link in links.values()]
    kinds = {id(chain.transmitter): chain for chain in chains}.values()
    return Reach(
        site,
        tuple(call.span_s for call in calls),
        min(low for chain in kinds for low, _ in chain.transmitter.tunes_khz),
        max(dbm_from_mw(strongest_mw(chain)) for chain in kinds),
        min(chain.noise_dbm for chain in chains),
    )


def heard_of(a: Reach, others: Sequence[Reach]) -> list[Reach]:
    """Of which other sites anybody could matter at a site, or the other way round: by distance, and by calls at the
    same time."""
    others = [
        b for b in others if any(x < b_ends and y > b_starts for x, y in a.spans for b_starts, b_ends in b.spans)
    ]
    distances = distances_m(a.site, [b.site for b in others])
    away = [b for b, known in zip(others, np.isfinite(distances), strict=True) if known]
    if not away:
        return []
    lowest = np.array([min(a.lowest_khz, b.lowest_khz) / 1000.0 for b in away])
    distances = distances[np.isfinite(distances)]
    loss = between_sites_db(a.site, [b.site for b in away], distances, np.arange(distances.size), lowest)
    return [
        b
        for b, loss_db in zip(away, loss.tolist(), strict=True)
        if max(a.strongest_dbm, b.strongest_dbm) - loss_db
        > min(a.quietest_dbm, b.quietest_dbm) - HEARD_BELOW_NOISE_DB
    ]


def hearing(scene: Scene) -> dict[str, set[str]]:
    """For each site in use, by name, those that it and they hear of each other."""
    heard: dict[str, set[str]] = {site.name: set() for site in scene.used_sites}
    reaches = [reach_of(scene, site) for site in scene.used_sites]
    for n, a in enumerate(reaches):
        for b in heard_of(a, reaches[n + 1 :]):
            heard[a.site.name].add(b.site.name)
            heard[b.site.name].add(a.site.name)
    return heard


def classes(sites: Sequence[Site], hearing: Mapping[str, set[str]]) -> list[list[Site]]:
    """The sites in classes, none of which holds two that hear each other: each class can be planned at once.

    Greedy colouring, sites with the most neighbours first (Welsh and Powell 1967); in the order of the file.
    """
    colour: dict[str, int] = {}
    for site in sorted(sites, key=lambda site: -len(hearing[site.name])):
        taken = {colour[name] for name in hearing[site.name] if name in colour}
        colour[site.name] = next(c for c in range(len(sites)) if c not in taken)
    return [[s for s in sites if colour[s.name] == c] for c in range(max(colour.values(), default=-1) + 1)]


@dataclass(frozen=True, eq=False, slots=True)
class Afar:
    """The links of other sites as one site has them: arrays over all of them (f,), site after site.

    carriers_khz, widths_khz : [kHz]. heard_mw : at an isotropic antenna here, from their highest step.
    may_hear_mw : what may be radiated here into their filters before it raises the noise of their receivers by more
        than `MAY_RAISE_DB`.
    starts, ends : of their calls [s, POSIX]; infinite for a call without times. begins : where each site begins.
    names, away_m : of the sites.
    """

    carriers_khz: IntArray
    widths_khz: FloatArray
    heard_mw: FloatArray
    may_hear_mw: FloatArray
    starts: FloatArray
    ends: FloatArray
    begins: IntArray
    names: tuple[str, ...]
    away_m: tuple[float, ...]
    _touching: dict[tuple[int, int], tuple[IntArray, IntArray, IntArray, FloatArray]] = field(default_factory=dict)

    @classmethod
    def of(cls, site: Site, far: Sequence[FarSite]) -> Afar:
        """What of the planned sites `far` this site may hear or disturb: those with a known distance."""
        away = distances_m(site, [far_link.site for far_link in far])
        parts = [distant for distant, known in zip(far, np.isfinite(away), strict=True) if known]
        sizes = [part.carriers_khz.size for part in parts]
        carriers = np.concatenate([np.zeros(0, dtype=np.int64), *(part.carriers_khz for part in parts)])
        distances, of = away[np.isfinite(away)], np.repeat(np.arange(len(parts)), sizes)
        loss = between_sites_db(site, [part.site for part in parts], distances, of, carriers / 1000.0)
        gain = mw_from_dbm_array(-loss)
        begins = np.cumsum([0, *sizes])[:-1]
        return cls(
            carriers,
            _together([part.widths_khz for part in parts]),
            _together([part.sent_mw for part in parts]) * gain,
            _together([part.room_mw for part in parts]) / gain,
            _together([part.starts for part in parts]),
            _together([part.ends for part in parts]),
            begins,
            tuple(part.site.name for part in parts),
            tuple(distances.tolist()),
        )

    def during(self, calls: Sequence[LiveCall]) -> BoolArray:
        """Which of them (f,) are live while any of these calls is."""
        spans = [call.span_s for call in calls]
        live = [(self.starts < ends) & (starts < self.ends) for starts, ends in spans]
        return np.asarray(np.any(live, axis=0)) if live else np.zeros(self.starts.shape, dtype=np.bool_)

    def over_slots(self, chain: Chain, live: BoolArray, slots_khz: IntArray) -> tuple[FloatArray, BoolArray]:
        """What those of them who are `live` (f,) bring a link on each of its slots (m,) [mW], and where the link
        would disturb one of them (m,).

        Only the few slots about each far carrier are looked at, all carriers at once.
        """
        bandwidth_khz = chain.transmitter.bandwidth_khz
        if self.carriers_khz.size >= MANY_FAR:
            from linkwright.air.others_compiled import over_slots

            power_mw, disturbs = np.zeros(slots_khz.size), np.zeros(slots_khz.size, dtype=np.bool_)
            heard_mw = mw_from_dbm(chain.heard_gain_db) * self.heard_mw
            over_slots(
                slots_khz, float(bandwidth_khz), self.carriers_khz, self.widths_khz, heard_mw, live,
                strongest_mw(chain), self.may_hear_mw, power_mw, disturbs,
            )  # fmt: skip
            return power_mw, disturbs
        key = (id(slots_khz), bandwidth_khz)
        if key not in self._touching:
            self._touching[key] = slots_khz, *self._touched(bandwidth_khz, slots_khz)
        _, of, slot, share = self._touching[key]
        on = live[of]
        of, slot, share = of[on], slot[on], share[on]
        heard_mw = mw_from_dbm(chain.heard_gain_db) * self.heard_mw[of] * share
        power_mw = np.bincount(slot, weights=heard_mw, minlength=slots_khz.size).astype(np.float64)
        disturbs = np.zeros(slots_khz.size, dtype=np.bool_)
        disturbs[slot[strongest_mw(chain) * share > self.may_hear_mw[of]]] = True
        return power_mw, disturbs

    def _touched(self, bandwidth_khz: int, slots_khz: IntArray) -> tuple[IntArray, IntArray, FloatArray]:
        """Whose carriers touch which slots, pair by pair, and which share of each falls into the slot."""
        touch = (self.widths_khz + bandwidth_khz) / 2.0
        first = np.searchsorted(slots_khz, self.carriers_khz - touch)
        count = np.searchsorted(slots_khz, self.carriers_khz + touch, side="right") - first
        of = np.repeat(np.arange(count.size), count)
        slot = np.arange(of.size) - np.repeat(np.cumsum(count) - count, count) + first[of]
        half = self.widths_khz / 2.0
        low, high = (self.carriers_khz - half)[of], (self.carriers_khz + half)[of]
        return of, slot, overlap_share(slots_khz[slot], bandwidth_khz, low, high)

    def on(self, chain: Chain, live: BoolArray, carrier_khz: int) -> list[Arrival]:
        """What those who are `live` (f,) bring a link on one carrier, a line for each site that counts."""
        touch = (self.widths_khz + chain.transmitter.bandwidth_khz) / 2.0
        which = np.flatnonzero(live & (np.abs(self.carriers_khz - carrier_khz) < touch))
        if not which.size:
            return []
        half = self.widths_khz[which] / 2.0
        low, high = self.carriers_khz[which] - half, self.carriers_khz[which] + half
        share = overlap_share(np.array([carrier_khz]), chain.transmitter.bandwidth_khz, low, high)
        power = mw_from_dbm(chain.heard_gain_db) * self.heard_mw[which] * share
        site = np.searchsorted(self.begins, which, side="right") - 1
        by_site = np.bincount(site, weights=power, minlength=len(self.names))
        least = mw_from_dbm(chain.noise_dbm - HEARD_BELOW_NOISE_DB)
        return [
            Arrival(
                f"links at {self.names[n]}",
                REUSE,
                float(by_site[n]),
                "modelled",
                f"{self.away_m[n] / 1000:.2f} km away, at their highest step",
            )
            for n in np.flatnonzero(by_site > least)
        ]


def _together(parts: Sequence[FloatArray]) -> FloatArray:
    return np.concatenate([np.zeros(0), *parts])


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
