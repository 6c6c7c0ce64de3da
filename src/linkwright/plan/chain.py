"""The shoot with everything looked up once: each link's equipment and places, the law, and the measured air."""

from __future__ import annotations

import datetime
import functools
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Final

from linkwright.air.predicted import Predicted
from linkwright.air.readers import Readout
from linkwright.air.sweep import Sweep
from linkwright.plan.air import SiteAir, airs
from linkwright.plan.law import Law, law_of
from linkwright.reach.body import facing_db
from linkwright.reach.budget import Budget, BudgetRequest, budgets_of
from linkwright.reach.ends import MOUNTED, Carried, Ends, Inside
from linkwright.reach.hand import USUAL, Wanted
from linkwright.reach.spot_levels import Learned, MeasuredLevels, learned, readings_of, taken_of, walked_levels
from linkwright.rules import Kind, Terms, licences_for
from linkwright.shoot.blocks import Blocks
from linkwright.shoot.clock import zone_of
from linkwright.shoot.end import SPOKEN, TO_LISTENERS, End, Worn
from linkwright.shoot.equipment import Microphone, Receiver, Recorder, Transmitter, shown
from linkwright.shoot.models import Header, Link, Power, Shoot
from linkwright.shoot.permits import PermitHeld
from linkwright.shoot.place import MeasuredLevel, Other, Site, Spot
from linkwright.shoot.view import (
    LiveCall,
    heard_worn,
    live_calls,
    microphone_of,
    others_by_site,
    others_during,
    receiver_named,
    receiving_points,
    recorder_of,
    route_points,
    sites,
    transmitter_of,
    worn_of,
)
from linkwright.sound.settings import SoundSettings, sound_settings

#: Surroundings that are a building, for rules that open frequencies indoors only.
INDOORS: Final = ("office", "hall")
#: The sweeps of each site, by its name.
Sweeps = Mapping[str, Sequence[Sweep | Readout]]
#: More links than this, all calls together, are worth the half second that loading compiled code takes.
MANY_LINKS: Final = 40


@dataclass(frozen=True)
class Chain:
    """A link on one site with everything that it consists of, as one of its listeners hears it.

    `also` are the other ways on the same carrier: the link's other listeners, and the other links of its block,
    which have the air in turns. `name` is whose carrier it is: the link's, or the block's.
    """

    link: Link
    site: Site
    transmitter: Transmitter
    receiver: Receiver
    microphone: Microphone | None
    recorder: Recorder | None
    worn: Worn
    route: tuple[Spot, ...]
    heard_at: tuple[Spot, ...]
    listener: Carried = MOUNTED
    listener_name: str = ""
    name: str = ""
    also: tuple[Chain, ...] = ()
    wanted: Wanted = USUAL
    power: Power = "least"
    reserve_db: float = 3.0
    stay_db: float = 6.0
    readings: Learned | None = field(default=None, repr=False, compare=False)

    @property
    def at(self) -> Spot:
        """Where the receiver's antennas stand, or where its way begins."""
        return self.heard_at[0]

    @property
    def ways(self) -> tuple[Chain, ...]:
        """All ways on its carrier, this one first."""
        return (self, *self.also)

    @property
    def goes(self) -> tuple[Spot, ...]:
        """The spots of whichever end goes: of the receiver where the transmitter stands and is listened to."""
        return self.route if self.ends.sent_from is None else self.heard_at

    @property
    def own_ways(self) -> tuple[Chain, ...]:
        """The ways of its own link, one for each who listens."""
        return tuple(way for way in self.ways if way.link.name == self.link.name)

    @property
    def first_ways(self) -> tuple[Chain, ...]:
        """One way of each link on its carrier."""
        return tuple({way.link.name: way for way in reversed(self.ways)}.values())[::-1]

    def live(self, links: Collection[str]) -> Chain:
        """The same with those ways only whose links are live, of which there is one."""
        here = [way for way in self.ways if way.link.name in links]
        return self if len(here) == len(self.ways) else replace(here[0], also=tuple(here[1:]))

    @functools.cached_property
    def hearing(self) -> tuple[object, ...]:
        """What decides how it hears others: its receiver, where that is, and how it is carried."""
        return self.link.hears[0].kit, *(spot.name for spot in self.heard_at), self.listener.worn

    def budget(self, carrier_khz: int) -> Budget:
        """The budget along the route on one carrier."""
        return budgets_of([self.asked(carrier_khz)])[0]

    def asked(self, carrier_khz: int) -> BudgetRequest:
        """The link on a carrier, as reach takes it."""
        return BudgetRequest(self.ends, self.route, carrier_khz / 1000.0, self.wanted, self.readings)

    @functools.cached_property
    def ends(self) -> Ends:
        """Both ends as far as reach goes."""
        sends, way = self.link.sends, self.heard_at if len(self.heard_at) > 1 else ()
        goes = bool(way) or self.listener.worn != "mounted" or self.link.serves in TO_LISTENERS
        return Ends(
            self.site, self.transmitter, self.receiver, self.worn, self.at, sends.facing, sends.crowd, sends.does,
            sends.speed_m_s, self.link.name, _inside(sends), self.listener, way,
            self.route[0] if goes and sends.stands else None, self.listener_name,
        )  # fmt: skip

    @functools.cached_property
    def sound(self) -> SoundSettings:
        """How its sound is to be set."""
        return sound_settings(self.link, self.transmitter, self.receiver, self.microphone, self.recorder)

    @functools.cached_property
    def middle_mhz(self) -> float:
        """The middle of what the receiver tunes [MHz]: for what hardly depends on the carrier."""
        tunes = self.receiver.tunes_mhz
        return (min(low for low, _ in tunes) + max(high for _, high in tunes)) / 2.0

    @functools.cached_property
    def noise_dbm(self) -> float:
        """The noise at the receiver's input in the link's bandwidth, on its noisiest branch [dBm]."""
        return self.ends.most_noise_dbm(self.middle_mhz)

    @functools.cached_property
    def heard_gain_db(self) -> float:
        """The most gain from an isotropic antenna to the receiver's input: antenna, line, preamplifier [dB]."""
        return self.ends.heard_gain_db(self.middle_mhz)

    def label(self, carrier_khz: int) -> str:
        """What the display of the transmitter, else of the receiver, calls a carrier; "" where none has a list."""
        return self.transmitter.label(carrier_khz) or self.receiver.label(carrier_khz)

    def labels(self, carriers_khz: Iterable[int | None]) -> tuple[tuple[int, str], ...] | None:
        """What the display calls some carriers [kHz], those that it has in its list; None without a list."""
        return tuple((khz, label) for khz in carriers_khz if khz and (label := self.label(khz))) or None

    def shown(self, carrier_khz: int) -> str:
        """A carrier as people set it and read it, with what the display calls it."""
        return shown(carrier_khz, self.label(carrier_khz))

    @property
    def facing_gain_db(self) -> float:
        """From conducted power to what is radiated towards whoever the talent faces [dB]."""
        sent_db = self.transmitter.antenna_gain_dbi + self.transmitter.output_db[1]
        return sent_db - (0.0 if self.worn == "mounted" else facing_db(self.transmitter))

    @property
    def heard_by(self) -> str:
        """The link, and who of several listens."""
        return f"{self.link.name} at {self.listener_name}" if self.listener_name else self.link.name

    @property
    def kind(self) -> Kind:
        """For which kind of equipment the rules are asked."""
        if self.transmitter.coordinates_itself:
            return "data"
        return "wideband" if self.transmitter.carries > 1 else "microphone"

    @property
    def spoken(self) -> bool:
        """Whether somebody speaks into its own microphone."""
        return self.link.serves in SPOKEN


@dataclass(frozen=True)
class Scene:
    """A shoot ready to be planned."""

    shoot: Shoot
    law: Law
    calls: tuple[LiveCall, ...]
    air: Mapping[str, SiteAir] = field(repr=False)
    others: Mapping[str, tuple[Other, ...]] = field(repr=False)
    _chains: dict[tuple[str, str], Chain] = field(default_factory=dict, repr=False)
    _readings: dict[str, Learned | None] = field(default_factory=dict, repr=False)

    def chain(self, link: Link, site: Site) -> Chain:
        """The chain of a link on a site, with all other ways on its carrier."""
        key = (link.name, site.name)
        if key not in self._chains:
            name = self.blocks.carrier_of(link.name)
            mates = [self.shoot.link_named(mate) for mate in self.blocks.mates(link.name)]
            readings = self.readings(site)
            first, *others = (
                self._bare(mate, site, n, name, readings) for mate in (link, *mates) for n in range(len(mate.hears))
            )
            self._chains[key] = replace(first, also=tuple(others)) if others else first
        return self._chains[key]

    def live_chain(self, link: Link, site: Site) -> Chain:
        """The same with those ways only whose links have a call on the site."""
        chain = self.chain(link, site)
        if link.name not in self.blocks.of_link:
            return chain
        return chain.live({live_link.name for call in self.calls_on(site) for live_link in call.links})

    @functools.cached_property
    def blocks(self) -> Blocks:
        """Which links share a carrier."""
        return Blocks.of(self.shoot)

    @functools.cached_property
    def named(self) -> frozenset[str]:
        """The names of its calls."""
        return frozenset(call.name for call in self.calls)

    def readings(self, site: Site) -> Learned | None:
        """What was read on a site, weighed against each other; None where nothing was."""
        if site.name not in self._readings:
            known = readings_of(site, list(self._taken(site)))
            self._readings[site.name] = None if known is None else learned(site, known)
        return self._readings[site.name]

    def _taken(self, site: Site) -> Iterator[MeasuredLevels]:
        """The levels that were taken on a site, link by link: those that the shoot says, and those of a walk."""
        spots = {spot.name for spot in site.spots}
        by_link: dict[str, list[MeasuredLevel]] = {}
        for level in site.measured_level:
            link = self.shoot.read_link(level.link)
            if link is not None and level.spot in spots:
                by_link.setdefault(link.name, []).append(level)
        for name, levels in by_link.items():
            chain = self._bare(self.shoot.link_named(name), site)
            yield taken_of(site, chain.ends, chain.middle_mhz, levels)
        if site.learnt is not None and (walked := self._walked_with(site)) is not None:
            chain = self._bare(walked, site)
            mhz = site.learnt.carrier_mhz or chain.middle_mhz
            yield walked_levels(chain.ends, mhz, site.learnt.levels)

    def _walked_with(self, site: Site) -> Link | None:
        """The link with which a site was walked; None where it was not."""
        if site.learnt is None or not site.learnt.levels or not self.shoot.link:
            return None
        return self.shoot.read_link(site.learnt.link or "") or self.shoot.link[0]

    def read_with(self, site: Site) -> set[str]:
        """The names of the links with which levels were read on a site."""
        stated = (self.shoot.read_link(name) for name in {level.link for level in site.measured_level})
        return {link.name for link in (*stated, self._walked_with(site)) if link is not None}

    def _bare(
        self, link: Link, site: Site, listener: int = 0, name: str = "", readings: Learned | None = None
    ) -> Chain:
        """The chain of a link on a site as one listener hears it; by itself without what was read there."""
        end = link.hears[listener]
        return Chain(
            link,
            site,
            transmitter_of(self.shoot, link),
            receiver_named(self.shoot, end.kit),
            microphone_of(self.shoot, link),
            recorder_of(self.shoot, link),
            worn_of(self.shoot, link),
            route_points(site, link),
            receiving_points(site, link, end),
            Carried(heard_worn(link, end), end.facing, end.crowd, end.does, end.speed_m_s, _inside(end)),
            end.named,
            name or link.name,
            (),
            wanted_of(self.shoot.shoot, link),
            link.power or self.shoot.shoot.power,
            self.shoot.shoot.reserve_db if link.reserve_db is None else link.reserve_db,
            self.shoot.shoot.stay_db if link.stay_db is None else link.stay_db,
            readings,
        )

    @functools.cached_property
    def large(self) -> bool:
        """Whether there is so much to work out that compiled loops are worth loading."""
        return sum(len(call.links) for call in self.calls) > MANY_LINKS

    def terms(self, chain: Chain, calls: Sequence[LiveCall] | None = None) -> Terms:
        """Under which terms the rules are asked for a link on its site, in all its calls there or in some; for a
        block, what holds for all of its links."""
        site, law, names = chain.site, self.law, list(dict.fromkeys(way.link.name for way in chain.ways))
        position = None if site.latitude is None or site.longitude is None else (site.latitude, site.longitude)
        held: tuple[PermitHeld, ...] = ()
        only: tuple[str, ...] = ()
        if law.licences:
            every = self.calls_on(site) if calls is None else calls
            mine = [call for call in every if any(link.name in names for link in call.links)]
            times = [span_of(call, self.shoot) for call in mine]
            licences = [licences_for(law.licences, name, position, times) for name in names]
            held = tuple(licence for licence in licences[0][0] if all(licence in theirs for theirs, _ in licences))
            only = tuple(dict.fromkeys(name for _, theirs in licences for name in theirs))
        return Terms(site.surroundings in INDOORS, position, law.accepts, held, only)

    def moved(self, shoot: Shoot) -> Scene:
        """The same law and air over a shoot of which only places differ; the air is not read again."""
        return replace(
            self, shoot=shoot, calls=live_calls(shoot), others=others_by_site(shoot), _chains={}, _readings={}
        )

    def with_chains_of(self, before: Scene, links: Collection[str], places: Collection[str]) -> Scene:
        """The same with what was looked up for a scene before, but of some links and sites, which differ."""
        chains = {
            (link, site): chain
            for (link, site), chain in before._chains.items()
            if link not in links and site not in places
        }
        readings = {site: levels for site, levels in before._readings.items() if site not in places}
        return replace(self, _chains=chains, _readings=readings)

    def others_during(self, call: LiveCall) -> tuple[Other, ...]:
        """The others on a call's site that may be on while it runs."""
        return others_during(self.others[call.site.name], call)

    def calls_on(self, site: Site) -> tuple[LiveCall, ...]:
        """The calls of one site, in the order of the shoot."""
        return self._calls_by_site.get(site.name, ())

    @functools.cached_property
    def _calls_by_site(self) -> dict[str, tuple[LiveCall, ...]]:
        by_site: dict[str, list[LiveCall]] = {}
        for call in self.calls:
            by_site.setdefault(call.site.name, []).append(call)
        return {name: tuple(calls) for name, calls in by_site.items()}

    @property
    def used_sites(self) -> tuple[Site, ...]:
        """The sites on which there is a call."""
        used = {call.site.name for call in self.calls}
        return tuple(site for site in sites(self.shoot) if site.name in used)


def _inside(end: End) -> Inside | None:
    return None if end.vehicle is None else Inside(end.vehicle, end.vehicle_db)


def span_of(call: LiveCall, shoot: Shoot) -> tuple[datetime.datetime, datetime.datetime]:
    """From when to when a call lasts; the shoot's whole day where it does not say."""
    if call.starts is not None and call.ends is not None:
        return call.starts, call.ends
    zone, day = zone_of(shoot), shoot.shoot.date
    first = datetime.datetime.combine(day, datetime.time(), zone)
    return first, datetime.datetime.combine(day + datetime.timedelta(days=1), datetime.time(), zone)


def wanted_of(header: Header, link: Link) -> Wanted:
    """What a link is to keep to: its own wish, else the shoot's."""
    return Wanted(
        header.breaks_per_hour if link.breaks_per_hour is None else link.breaks_per_hour,
        header.sure_wanted if link.sure_wanted is None else link.sure_wanted,
        header.target,
    )


def scene_of(shoot: Shoot, sweeps: Sweeps, tv: Mapping[str, Predicted] | None = None) -> Scene:
    """A shoot with its sweeps and its predicted TV (both by name of the site) as a scene.

    Raises InputError for a region or a permit that the rules do not know.
    """
    calls = live_calls(shoot)
    law = law_of(shoot, calls)
    used = {call.site.name: call.site for call in calls}
    air = airs(law.territory, list(used.values()), sweeps, tv or {})
    return Scene(shoot, law, calls, air, others_by_site(shoot))
