"""Every slot of a link: may it be used, what is on the air there, and how much that costs.

A slot is a carrier that both ends tune. Links of one type, one receiver and one place share one `Tuning`.
"""

from __future__ import annotations

import functools
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Final

import numpy as np

from linkwright.air.others import overlap_share
from linkwright.plan.air import TakenByTv
from linkwright.plan.chain import Chain, Scene
from linkwright.plan.contributions import SlotPowers
from linkwright.plan.law import Law
from linkwright.plan.neighbours import REUSE, Afar
from linkwright.reach.received_levels import Radiator, heard_gains_db
from linkwright.rules import Row, Terms, allowance, closures
from linkwright.rules.terms import Position
from linkwright.shoot.equipment import Transmitter
from linkwright.shoot.place import Other
from linkwright.shoot.view import LiveCall
from linkwright.units import BoolArray, FloatArray, IntArray, dbm_from_mw, mw_from_dbm

#: A slot on which the air raises the noise by more than this is left alone while there are others [dB].
BUSY_RISE_DB: Final = 3.0
#: Where there is a sweep, a slot that it did not look at counts as this much noise [dB]: last choice, not refused.
UNSEEN_DB: Final = 1.0
#: A contribution this far below the noise changes nothing that is printed [dB].
NOTHING_BELOW_NOISE_DB: Final = 30.0


@dataclass(frozen=True, eq=False)
class Tuning:
    """The slots of a kind of link: arrays of shape (m,), one entry a carrier that both ends tune.

    carriers_khz : ascending. most_mw : most conducted power that the rules allow; 0 where nothing is allowed. row :
    index into `rows` of the row of the rules that decides; -1 where none does. in_tv : index into `tv` of a TV
    channel on the air that the occupied band touches; -1 where none. at_edge : nearer to an edge of a TV channel
    than the type allows. busy, covered : what the sweeps say; False where there is none. heard : others and what
    the sweeps measured. disturbs : a receiver of another site would be disturbed. noise_dbm : the receiver's own
    noise in the link's bandwidth. legal : allowed, and clear of TV; usable : legal, and quiet as far as is known.
    rise_db : how much the air raises the noise; cost_db : the same, with a slot that no sweep looked at dearer.
    ways : where the carrier has several ways, the tuning of each; what is told here of the air is the worst of
    them.
    """

    carriers_khz: IntArray
    most_mw: FloatArray
    row: IntArray
    rows: tuple[Row, ...]
    in_tv: IntArray
    tv: tuple[TakenByTv, ...]
    at_edge: BoolArray
    busy: BoolArray
    covered: BoolArray
    heard: tuple[SlotPowers, ...]
    noise_dbm: float
    disturbs: BoolArray
    ways: tuple[Tuning, ...] = ()
    legal: BoolArray = field(init=False)
    rise_db: FloatArray = field(init=False)
    usable: BoolArray = field(init=False)
    cost_db: FloatArray = field(init=False)

    def __post_init__(self) -> None:
        heard_mw = sum((heard.power_mw for heard in self.heard), np.zeros(self.carriers_khz.size))
        rise = 10.0 * np.log10(1.0 + heard_mw / mw_from_dbm(self.noise_dbm))
        rise = np.max([way.rise_db for way in self.ways], axis=0) if self.ways else rise
        legal = (self.most_mw > 0.0) & (self.in_tv < 0) & ~self.at_edge
        object.__setattr__(self, "legal", legal)
        object.__setattr__(self, "rise_db", rise)
        object.__setattr__(self, "usable", legal & ~self.busy & ~self.disturbs & (rise <= BUSY_RISE_DB))
        cost = rise + np.where(self.covered, 0.0, UNSEEN_DB) if self.covered.any() else rise
        object.__setattr__(self, "cost_db", cost)

    @property
    def each(self) -> tuple[Tuning, ...]:
        """The tunings of all ways."""
        return self.ways or (self,)

    @functools.cached_property
    def legal_khz(self) -> IntArray:
        """The carriers that are legal, ascending."""
        return self.carriers_khz[self.legal]

    def index(self, carrier_khz: int) -> int | None:
        """Where a carrier stands among the slots; None where it is none of them."""
        return _index(self.carriers_khz, carrier_khz)

    def powers_mw(self, transmitter: Transmitter, carrier_khz: int) -> tuple[float, ...]:
        """The type's power steps that are allowed on a carrier, ascending."""
        at = self.index(carrier_khz)
        most = 0.0 if at is None else float(self.most_mw[at])
        return tuple(power for power in sorted(transmitter.powers_mw) if power <= most)

    def row_at(self, carrier_khz: int) -> Row | None:
        """The row of the rules that decides on a carrier."""
        return _row_at(self, carrier_khz)


def _index(carriers_khz: IntArray, carrier_khz: int) -> int | None:
    at = int(carriers_khz.searchsorted(carrier_khz))
    return at if at < carriers_khz.size and int(carriers_khz[at]) == carrier_khz else None


def _row_at(slots: Tuning | Allowed, carrier_khz: int) -> Row | None:
    at = _index(slots.carriers_khz, carrier_khz)
    return None if at is None or slots.row[at] < 0 else slots.rows[int(slots.row[at])]


@functools.lru_cache(maxsize=256)
def slots_khz(ranges_khz: tuple[tuple[int, int], ...], raster_khz: int) -> IntArray:
    """All carriers of the ranges (both ends included), from each range's lower end in steps of the raster."""
    parts = [np.arange(low, high + 1, raster_khz, dtype=np.int64) for low, high in ranges_khz]
    return np.unique(np.concatenate(parts)) if parts else np.zeros(0, dtype=np.int64)


def near_an_edge(carriers_khz: IntArray, edges_khz: IntArray, edge_khz: int) -> BoolArray:
    """Which carriers (m,) lie nearer than `edge_khz` to one of a raster's edges (e,), ascending."""
    if edge_khz == 0 or not edges_khz.size:
        return np.zeros(carriers_khz.size, dtype=np.bool_)
    right = np.searchsorted(edges_khz, carriers_khz)
    above = np.abs(edges_khz[np.minimum(right, edges_khz.size - 1)] - carriers_khz)
    below = np.abs(edges_khz[np.maximum(right - 1, 0)] - carriers_khz)
    return np.asarray(np.minimum(above, below) < edge_khz)


@dataclass(frozen=True, eq=False, slots=True)
class Allowed:
    """What a kind of link may use wherever it is, arrays (m,) as in `Tuning`."""

    carriers_khz: IntArray
    most_mw: FloatArray
    row: IntArray
    rows: tuple[Row, ...]
    at_edge: BoolArray

    def row_at(self, carrier_khz: int) -> Row | None:
        """The row of the rules that decides on a carrier; None where none does, or the link does not tune it."""
        return _row_at(self, carrier_khz)


@dataclass(frozen=True, eq=False, slots=True)
class SharedTunings:
    """What the tunings of a shoot share: what each kind of link may use, by transmitter, its locked power and
    receiver; what is closed, by position; how strong others are heard [dBm], by site, place, receiver and other,
    and what that is on each slot."""

    allowed: dict[tuple[object, ...], Allowed] = field(default_factory=dict)
    closed: dict[Position, tuple[str, ...]] = field(default_factory=dict)
    levels_dbm: dict[tuple[object, ...], float] = field(default_factory=dict)
    heard: dict[tuple[object, ...], SlotPowers] = field(default_factory=dict)

    def allowed_to(self, law: Law, chain: Chain, terms: Terms) -> Allowed:
        """What a link's kind may use under these terms."""
        link, position = chain.link, terms.position
        if position not in self.closed:
            shut = closures(law.territory, law.on, law.permits, terms)
            self.closed[position] = tuple(closed.id for closed in shut)
        named = (tuple(licence.name for licence in terms.licences), terms.only)
        heard = tuple(dict.fromkeys(end.kit for way in chain.ways for end in way.link.hears))
        key = (link.sends.kit, link.locked_mw, heard, terms.indoor, self.closed[position], named)
        if key not in self.allowed:
            self.allowed[key] = _allowed(law, chain, terms)
        return self.allowed[key]

    def level_dbm(self, chain: Chain, other: Other) -> float:
        """How strong a link's receiver hears an other [dBm]."""
        key = (chain.site.name, chain.hearing, other.name)
        if key not in self.levels_dbm:
            low, high = other.band_khz
            radiator = Radiator((other.stands,), (low + high) / 2000.0, dbm_from_mw(other.radiated_mw))
            self.levels_dbm[key] = float(heard_gains_db([chain.ends], [chain.middle_mhz], [radiator])[0, 0])
        return self.levels_dbm[key]


def tuning_of(scene: Scene, chain: Chain, calls: Sequence[LiveCall], afar: Afar, known: SharedTunings) -> Tuning:
    """The slots of a link on its site, with everything that is on while any of its `calls` runs.

    `afar` are the links of other sites that have their carriers already.
    """
    allowed = known.allowed_to(scene.law, chain, scene.terms(chain, calls))
    ways = [_tuning_of(scene, way, allowed, calls, afar, known) for way in chain.ways]
    if len(ways) == 1:
        return ways[0]
    busy, disturbs, covered = (
        np.any([getattr(way, name) for way in ways], axis=0) for name in ("busy", "disturbs", "covered")
    )
    return replace(ways[0], busy=busy, disturbs=disturbs, covered=covered, ways=tuple(ways))


def _tuning_of(
    scene: Scene, chain: Chain, allowed: Allowed, calls: Sequence[LiveCall], afar: Afar, known: SharedTunings
) -> Tuning:
    """The slots as one way of a link has them."""
    transmitter, carriers = chain.transmitter, allowed.carriers_khz
    tv = scene.air[chain.site.name].taken
    half = transmitter.bandwidth_khz / 2.0
    in_tv = np.full(carriers.size, -1, dtype=np.int64)
    for n, taken in enumerate(tv):
        first = np.searchsorted(carriers, taken.channel.from_khz - half, side="right")
        in_tv[first : np.searchsorted(carriers, taken.channel.to_khz + half)] = n
    noise_dbm = chain.noise_dbm
    others = {o.name: o for call in calls for o in scene.others_during(call)}
    heard = [_other(chain, other, carriers, known) for other in others.values()]
    air = scene.air[chain.site.name].on_slots(
        carriers, transmitter.bandwidth_khz, noise_dbm, chain.heard_gain_db, calls
    )
    heard += air.heard
    far_mw, disturbs = afar.over_slots(chain, afar.during(calls), carriers)
    everything = (*heard, SlotPowers("links of other sites", REUSE, far_mw, "modelled", "at their highest step"))
    return Tuning(
        carriers, allowed.most_mw, allowed.row, allowed.rows, in_tv, tv, allowed.at_edge, air.busy, air.covered,
        everything, noise_dbm, disturbs,
    )  # fmt: skip


def _allowed(law: Law, chain: Chain, terms: Terms) -> Allowed:
    """The carriers that all ends of a link tune, the most conducted power on each [mW], and the row that decides.

    Where the least step is over what is allowed, nothing is.
    """
    transmitter = chain.transmitter
    carriers = np.array(sorted(transmitter.listed_khz), dtype=np.int64)
    if not carriers.size:
        carriers = slots_khz(transmitter.tunes_khz, transmitter.raster_khz)
    for receiver in {id(way.receiver): way.receiver for way in chain.ways}.values():
        tuned = np.zeros(carriers.size, dtype=np.bool_)
        for low, high in receiver.tunes_khz:
            tuned |= (carriers >= low) & (carriers <= high)
        if receiver.carriers:
            tuned &= np.isin(carriers, list(receiver.listed_khz))
        carriers = carriers[tuned]
    allowed = allowance(
        law.territory,
        law.permits,
        carriers,
        transmitter.bandwidth_khz,
        transmitter.form,
        transmitter.antenna_gain_dbi,
        law.on,
        kind=chain.kind,
        terms=terms,
    )
    # A step whose output was measured to be more than it says is that much nearer to the limit.
    most = allowed.most_mw / mw_from_dbm(max(0.0, transmitter.output_db[1]))
    least = min(transmitter.powers_mw)
    at_edge = near_an_edge(carriers, law.tv_edges_khz, transmitter.edge_khz)
    return Allowed(carriers, np.where(most >= least, most, 0.0), allowed.row, allowed.rows, at_edge)


def _other(chain: Chain, other: Other, carriers: IntArray, known: SharedTunings) -> SlotPowers:
    """An other as the link's receiver hears it on each slot."""
    link = chain.link
    key = (chain.site.name, chain.hearing, link.sends.kit, id(carriers), other.name)
    if key not in known.heard:
        known.heard[key] = _heard(chain, other, carriers, known)
    return known.heard[key]


def _heard(chain: Chain, other: Other, carriers: IntArray, known: SharedTunings) -> SlotPowers:
    (low, high), width = other.band_khz, chain.transmitter.bandwidth_khz
    first = np.searchsorted(carriers, low - width / 2.0)
    near = slice(int(first), int(np.searchsorted(carriers, high + width / 2.0, side="right")))
    share = np.zeros(carriers.size)
    share[near] = overlap_share(carriers[near], width, low, high)
    duty = None if other.duty is None else np.full(carriers.size, other.duty)
    if other.heard_dbm is not None:
        says = "its level as it was read on the site"
        power_mw = mw_from_dbm(other.heard_dbm) * share
        return SlotPowers(other.name, "other-cochannel", power_mw, "measured", says, duty=duty)
    level_dbm = known.level_dbm(chain, other)
    source = f"{other.radiated_mw:g} mW EIRP as stated, path as for {chain.site.surroundings} surroundings"
    return SlotPowers(other.name, "other-cochannel", mw_from_dbm(level_dbm) * share, "modelled", source, duty=duty)
