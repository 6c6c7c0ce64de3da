"""The receiver that is broken, and how strong it has everybody who may be on."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from linkwright.plan.chain import Chain, Scene
from linkwright.plan.hunt.case import Case
from linkwright.plan.model import Plan, PlannedLink
from linkwright.plan.neighbours import distances_m, strongest_mw
from linkwright.reach.received_levels import Radiator, heard_gains_db
from linkwright.reach.site_to_site import between_sites_db
from linkwright.shoot.errors import InputError, did_you_mean
from linkwright.shoot.place import Site
from linkwright.shoot.view import LiveCall, sites
from linkwright.units import FloatArray, dbm_from_mw

#: Loss across another site, where its own receivers stand [dB]: free space over 50 m at 600 MHz (ITU-R P.525).
ACROSS_DB: Final = 62.0


@dataclass(frozen=True, eq=False, slots=True)
class HeardSender:
    """A link of a call as it may be on: its chain, its plan, its call, and whether that runs at the moment."""

    chain: Chain
    planned: PlannedLink
    call: LiveCall
    now: bool

    @property
    def name(self) -> str:
        """The link's name."""
        return self.chain.link.name


@dataclass(frozen=True, eq=False)
class HuntListener:
    """The receiver that is broken: the link's, or one like those of the site."""

    scene: Scene
    site: Site
    chain: Chain
    carrier_khz: int
    victim: str | None

    @classmethod
    def of(cls, scene: Scene, case: Case, senders: Sequence[HeardSender]) -> HuntListener:
        """The receiver of the link that is broken; else of the one whose carrier it is at the site now, else of
        that on the nearest carrier there. Raises InputError for a site that is none, or on which the link, or
        nothing, was ever planned."""
        names = [site.name for site in sites(scene.shoot)]
        if case.site not in names:
            near = did_you_mean(case.site, names) or f"; the sites are {', '.join(names[:12])}"
            raise InputError(f'there is no site "{case.site}"{near}')
        here = [
            sender for sender in senders if sender.chain.site.name == case.site and case.link in (None, sender.name)
        ]
        if not here:
            who = "no link" if case.link is None else f'not "{case.link}"'
            raise InputError(f'{who} of the plan is at "{case.site}"; expected a site and a link with a call there')
        nearest = min(
            here,
            key=lambda sender: (not sender.now, abs(sender.planned.carrier_khz - case.carrier_khz), sender.name),
        )
        on_it = nearest.now and nearest.planned.carrier_khz == case.carrier_khz
        victim = nearest.name if on_it or case.link is not None else None
        return cls(scene, nearest.chain.site, nearest.chain, case.carrier_khz, victim)

    @property
    def width_khz(self) -> float:
        """The width of its filter [kHz]."""
        return float(self.chain.transmitter.bandwidth_khz)

    def levels_dbm(self, senders: Sequence[HeardSender], at: Site | None = None) -> FloatArray:
        """How strong the senders (n,) are at its input, or at a like one on another site [dBm]; at most."""
        site = at or self.site
        levels = np.empty(len(senders))
        mhz = self.carrier_khz / 1000.0
        mine = [n for n, sender in enumerate(senders) if sender.chain.site.name == site.name]
        if mine and site.name == self.site.name:
            radiators = [Radiator(senders[n].chain.route, mhz, senders[n].chain.facing_gain_db) for n in mine]
            gains = heard_gains_db([self.chain.ends], [mhz], radiators)[:, 0]
            levels[mine] = gains + [dbm_from_mw(senders[n].planned.power_mw) for n in mine]
        elif mine:
            levels[mine] = [dbm_from_mw(strongest_mw(senders[n].chain)) - ACROSS_DB for n in mine]
        away = [n for n in range(len(senders)) if n not in set(mine)]
        if away:
            places = list({senders[n].chain.site.name: senders[n].chain.site for n in away}.values())
            number = {place.name: k for k, place in enumerate(places)}
            distance = np.nan_to_num(distances_m(site, places), nan=50_000.0)
            of = np.array([number[senders[n].chain.site.name] for n in away])
            loss = between_sites_db(site, places, distance, of, np.full(len(away), mhz))
            sent = np.array([dbm_from_mw(strongest_mw(senders[n].chain)) for n in away])
            levels[away] = sent - loss + self.chain.heard_gain_db
        return levels


def senders_of(scene: Scene, plan: Plan, since: datetime.datetime) -> list[HeardSender]:
    """Every link of every call of a plan, with whether it is meant to be on at a moment."""
    heard_senders = []
    for live, planned in zip(scene.calls, plan.calls, strict=True):
        now = live.starts is None or live.ends is None or live.starts <= since < live.ends
        by_name = {link.name: link for link in live.links}
        heard_senders += [
            HeardSender(scene.chain(by_name[link.link], live.site), link, live, now) for link in planned.links
        ]
    return heard_senders
