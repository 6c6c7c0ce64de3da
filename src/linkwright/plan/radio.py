"""Who hears what: the levels of every transmitter of a call at every receiver, ready for `assign.levels`."""

from __future__ import annotations

import functools
import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from linkwright.assign.levels import FEW_LINKS, Radio
from linkwright.assign.placement import CallLevels, PowerWishes
from linkwright.assign.problem import Wish
from linkwright.physics.masks import off_channel_share
from linkwright.physics.pathloss import free_space_db
from linkwright.plan.chain import Chain
from linkwright.plan.tuning import Tuning
from linkwright.reach.budget import Budget, budgets_of
from linkwright.reach.path import xyz
from linkwright.reach.received_levels import Radiator, heard_gains_db
from linkwright.shoot.place import Other, Spot
from linkwright.shoot.writing import equipment_document
from linkwright.units import FloatArray, IntArray, dbm_from_mw, mw_from_dbm, mw_from_dbm_array

#: Grid of the rejection between mask and filter [kHz], and how far it is worked out: at least so far, and so many
#: times the widest carrier.
REJECTION_STEP_KHZ: Final = 25.0
REJECTION_TO_KHZ: Final = 5_000.0
REJECTION_WIDTHS: Final = 6.0
#: Two transmitters at one spot are this far apart [m] (common practice, no source).
SIDE_BY_SIDE_M: Final = 1.0


@dataclass(frozen=True, eq=False, slots=True)
class Sender:
    """A transmitter of the call as everybody else has it: wherever it may be on its carrier [kHz]; in a block all
    that have the air in turns together."""

    chain: Chain
    carrier_khz: int
    spots: tuple[Spot, ...]


#: Budgets by site, link, listener and carrier [kHz].
KnownBudgets = dict[tuple[str, str, str, int], Budget]


def known_budgets(known: KnownBudgets, ways: Sequence[Chain], carriers_khz: Sequence[int]) -> list[Budget]:
    """The budgets of ways on carriers: those that are not known are worked out at once. A link on a carrier has the
    same whoever else is on."""
    keys = [
        (way.site.name, way.link.name, way.listener_name, khz) for way, khz in zip(ways, carriers_khz, strict=True)
    ]
    new = {key: way.asked(key[-1]) for key, way in zip(keys, ways, strict=True) if key not in known}
    known.update(zip(new, budgets_of(list(new.values())), strict=True))
    return [known[key] for key in keys]


def carriers_of(ways: Sequence[Chain]) -> IntArray:
    """Whose carrier each way has (r,), counted from nothing: those of one carrier lie together."""
    number = {name: n for n, name in enumerate(dict.fromkeys(way.name for way in ways))}
    return np.array([number[way.name] for way in ways], dtype=np.int64)


def _senders(ways: Sequence[Chain], carriers_khz: IntArray) -> list[Sender]:
    senders = []
    for _, of in itertools.groupby(range(len(ways)), lambda n: ways[n].name):
        mine = list(of)
        spots = tuple(dict.fromkeys(spot for n in mine for spot in ways[n].route)) if len(mine) > 1 else None
        senders.append(Sender(ways[mine[0]], int(carriers_khz[mine[0]]), spots or ways[mine[0]].route))
    return senders


def radio_of(
    ways: Sequence[Chain],
    carriers_khz: IntArray,
    budgets: Sequence[Budget],
    others: Sequence[Other],
    large: bool,
) -> Radio:
    """The radio of the ways (r,) of links on one site, levels at `carriers_khz` (r,) [kHz], and of the narrow
    others there.

    `budgets` are the ways' own, on those carriers; `large` that the shoot is worth loading compiled loops for.
    """
    senders = _senders(ways, carriers_khz)
    own_widths = [sender.chain.transmitter.bandwidth_khz for sender in senders]
    widths = np.array([*own_widths, *(other.bandwidth_khz for other in others)], dtype=np.float64)
    kinds = np.unique(widths)
    of = carriers_of(ways)
    intercepts = [c.ends.iip3_dbm(khz / 1000.0) for c, khz in zip(ways, carriers_khz, strict=True)]
    return Radio(
        gain=_gain(ways, of, senders, carriers_khz, budgets, others),
        coupling=_coupling(senders, others),
        conversion=_ratio([*(-s.chain.transmitter.conversion_loss_db for s in senders), *(0.0 for _ in others)]),
        noise_mw=_ratio([budget.noise_dbm for budget in budgets]),
        need=_ratio([budget.required_cnr_db for budget in budgets]),
        to_hold=_ratio([budget.to_hold_db for budget in budgets]),
        iip3_mw=_ratio(intercepts),
        blocking_mw=_ratio([way.receiver.blocking_dbm for way in ways]),
        width_khz=widths,
        rejection=_rejection(tuple(float(kind) for kind in kinds)),
        rejection_step_khz=REJECTION_STEP_KHZ,
        kind=np.searchsorted(kinds, widths),
        own=len(senders),
        compiled=large or widths.size > FEW_LINKS,
        of=of,
    )


def _ratio(db: Sequence[float]) -> FloatArray:
    """Ratios of decibels."""
    return mw_from_dbm_array(np.array(db, dtype=np.float64))


def _gain(
    ways: Sequence[Chain],
    of: IntArray,
    senders: Sequence[Sender],
    carriers_khz: IntArray,
    budgets: Sequence[Budget],
    others: Sequence[Other],
) -> FloatArray:
    """Gains as `Radio.gain`: interferers at their strongest, the wanted one at its worst spot; others by EIRP, or
    as they were heard."""
    radiators = [
        Radiator(sender.spots, sender.carrier_khz / 1000.0, sender.chain.facing_gain_db) for sender in senders
    ]
    radiators += [Radiator((other.stands,), sum(other.band_khz) / 2000.0, 0.0) for other in others]
    gain = heard_gains_db([way.ends for way in ways], [khz / 1000.0 for khz in carriers_khz], radiators)
    for row, other in enumerate(others, start=len(senders)):
        if other.heard_dbm is not None:
            gain[row] = other.heard_dbm - dbm_from_mw(other.radiated_mw)
    gain[of, np.arange(of.size)] = [budget.gain_db for budget in budgets]
    return mw_from_dbm_array(gain)


def _coupling(senders: Sequence[Sender], others: Sequence[Other]) -> FloatArray:
    """From the output of a transmitter (rows) into that of one of ours (columns), at the nearest of their spots.

    Free space between the two and both bodies facing; antennas as they are. In one combiner its isolation counts
    instead. What others' transmitters make of
    ours is left out: neither their output stages nor their receivers are known.
    """
    points = xyz((*(spot for sender in senders for spot in sender.spots), *(other.stands for other in others)))
    counts = [*(len(sender.spots) for sender in senders), *(1 for _ in others)]
    first = np.concatenate([[0], np.cumsum(counts)[:-1]]).astype(np.int64)
    distance = np.sqrt(((points[:, None, :] - points[None, :, :]) ** 2).sum(axis=2))
    nearest = np.minimum.reduceat(np.minimum.reduceat(distance, first, axis=0), first, axis=1)
    every_khz = np.array(
        [*(sender.carrier_khz for sender in senders), *(sum(other.band_khz) / 2.0 for other in others)]
    )
    loss = free_space_db(every_khz[:, None] / 1000.0, np.maximum(nearest, SIDE_BY_SIDE_M))
    ends = np.array([*(sender.chain.facing_gain_db for sender in senders), *(0.0 for _ in others)])
    coupling = mw_from_dbm_array(ends[:, None] + ends[None, :] - loss)
    combined = [
        (n, sender)
        for n, sender in enumerate(senders)
        if sender.chain.transmitter.combiner_isolation_db is not None
    ]
    for (a, sender), (b, other) in itertools.permutations(combined, 2):
        through_db = _combined_db(sender, other)
        if through_db is not None:
            coupling[a, b] = mw_from_dbm(-through_db)
    np.fill_diagonal(coupling, 0.0)
    coupling[:, len(senders) :] = 0.0
    return coupling


def _side_by_side(first: Sender, other: Sender) -> bool:
    """Whether two transmitters are mounted at one spot."""
    mounted = all(sender.chain.worn == "mounted" and len(sender.spots) == 1 for sender in (first, other))
    return mounted and first.spots == other.spots


def _combined_db(first: Sender, other: Sender) -> float | None:
    """What lies between two transmitters in one combiner [dB]; None where they have none together."""
    a, b = (sender.chain.transmitter.combiner_isolation_db for sender in (first, other))
    return min(a, b) if a is not None and b is not None and _side_by_side(first, other) else None


def ties_of(ways: Sequence[Chain], carriers_khz: IntArray) -> dict[tuple[str, str], str]:
    """How transmitters at one spot couple, in words, by the names of each two."""
    ties = {}
    mounted = [sender for sender in _senders(ways, carriers_khz) if sender.chain.worn == "mounted"]
    for first, other in itertools.permutations(mounted, 2):
        through_db = _combined_db(first, other)
        if through_db is not None:
            kits = (sender.chain.transmitter for sender in (first, other))
            stated = all("combiner_isolation_db" in equipment_document(kit) for kit in kits)
            known = "stated" if stated else "assumed"
            says = f"through one combiner, {through_db:g} dB from input to input ({known})"
        elif _side_by_side(first, other):
            says = f"side by side, as if {SIDE_BY_SIDE_M:g} m apart (assumed; a combiner's isolation may be said)"
        else:
            continue
        ties[first.chain.name, other.chain.name] = says
    return ties


def narrow(others: Sequence[Other]) -> tuple[Other, ...]:
    """The others with a carrier: they mix with ours; wide signals do not come to a point."""
    return tuple(other for other in others if other.carrier_mhz is not None)


@functools.lru_cache(maxsize=256)
def _rejection(kinds: tuple[float, ...]) -> FloatArray:
    """Share let in, by kinds of transmitter and receiver (both by bandwidth) and distance (k, k, m)."""
    to_khz = max(REJECTION_TO_KHZ, REJECTION_WIDTHS * max(kinds))
    distance = np.arange(0.0, to_khz + REJECTION_STEP_KHZ, REJECTION_STEP_KHZ)
    return np.array([[off_channel_share(distance, sent, heard) for heard in kinds] for sent in kinds])


def call_levels(
    chains: Sequence[Chain],
    tunings: Sequence[Tuning],
    wishes: Sequence[Wish],
    members: Sequence[int],
    others: Sequence[Other],
    large: bool,
    known: KnownBudgets,
) -> CallLevels:
    """The levels of a call for the search: worked out once, on the carrier that a link keeps or had before, else
    amid its slots.

    `wishes` are the members'; a level changes by less than two decibels across a usual range.
    """
    slots_khz = [wish.slots_khz for wish in wishes]
    about = [w.keep_khz or w.stay_khz or int(w.slots_khz[w.slots_khz.size // 2]) for w in wishes]
    ways = [way for chain in chains for way in chain.ways]
    khz = np.repeat(np.array(about, dtype=np.int64), [len(chain.ways) for chain in chains])
    budgets = known_budgets(known, ways, khz.tolist())
    air, steps, most = [], [], []
    for chain, tuning, slots in zip(chains, tunings, slots_khz, strict=True):
        at = np.searchsorted(tuning.carriers_khz, slots)
        for way, own in zip(chain.ways, tuning.each, strict=True):
            sure = way.wanted.sure
            parts = (heard.power_mw[at] * likely_more(heard.spread_db, sure) for heard in own.heard)
            air.append(sum(parts, np.zeros(slots.size)))
        steps.append(np.array(sorted(chain.transmitter.powers_mw)))
        most.append(tuning.most_mw[at])
    radio = radio_of(ways, khz, budgets, others, large)
    return CallLevels(
        np.array(members, dtype=np.int64), radio, tuple(air), tuple(steps), tuple(most), *others_arrays(others),
        wishes_of(ways), doubts_of(radio, budgets),
    )  # fmt: skip


def doubts_of(radio: Radio, budgets: Sequence[Budget]) -> FloatArray:
    """What not knowing takes of the margin of each carrier's ways, of the one that it takes most of (own,) [dB]."""
    return -radio.least(np.array([-budget.hand.doubt_db for budget in budgets]))


def wishes_of(ways: Sequence[Chain]) -> PowerWishes:
    """What the carriers of some ways wish of their powers: of a block what any of its links does."""
    groups = [list(of) for _, of in itertools.groupby(ways, lambda way: way.name)]
    return PowerWishes(
        tuple(of[0].name for of in groups),
        np.array([max(way.reserve_db for way in of) for of in groups]),
        np.array([any(way.power == "most" for way in of) for of in groups], dtype=np.bool_),
    )


@functools.lru_cache(maxsize=256)
def likely_more(spread_db: float | None, sure: float) -> float:
    """How many times an uncertain level may be, as sure as is wanted."""
    from scipy.special import ndtri

    return 1.0 if spread_db is None else mw_from_dbm(spread_db * float(ndtri(sure)))


def others_arrays(others: Sequence[Other]) -> tuple[IntArray, FloatArray]:
    """Carriers [kHz] and radiated powers [mW] of narrow others."""
    khz = np.array([round(sum(other.band_khz) / 2.0) for other in others], dtype=np.int64)
    return khz, np.array([other.radiated_mw for other in others], dtype=np.float64)
