"""Who hears what: the levels of every transmitter of a call at every receiver, ready for `assign.levels`."""

from __future__ import annotations

import functools
from collections.abc import Sequence
from typing import Final

import numpy as np

from linkwright.assign.levels import FEW_LINKS, Radio
from linkwright.assign.placement import CallLevels, PowerWishes
from linkwright.physics.masks import off_channel_share
from linkwright.physics.pathloss import free_space_db
from linkwright.plan.chain import Chain
from linkwright.plan.tuning import Tuning
from linkwright.reach.budget import Budget, budgets_of
from linkwright.reach.path import xyz
from linkwright.reach.received import Radiator, heard_gains_db
from linkwright.shoot.place import Other
from linkwright.units import FloatArray, IntArray, dbm_from_mw, mw_from_dbm, mw_from_dbm_array

#: Grid of the rejection between mask and filter [kHz], and how far it is worked out.
REJECTION_STEP_KHZ: Final = 25.0
REJECTION_TO_KHZ: Final = 5_000.0
#: Two transmitters at one spot are this far apart [m] (common practice, no source).
SIDE_BY_SIDE_M: Final = 1.0


def radio_of(
    chains: Sequence[Chain],
    carriers_khz: IntArray,
    budgets: Sequence[Budget],
    others: Sequence[Other],
    large: bool,
) -> Radio:
    """The radio of n links on one site, levels at `carriers_khz` (n,) [kHz], and of the narrow others there.

    `budgets` are the links' own, on those carriers; `large` that the shoot is worth loading compiled loops for.
    """
    own_widths = [chain.transmitter.bandwidth_khz for chain in chains]
    widths = np.array([*own_widths, *(other.bandwidth_khz for other in others)], dtype=np.float64)
    kinds = np.unique(widths)
    receivers = [chain.receiver for chain in chains]
    intercepts = [c.ends.iip3_dbm(khz / 1000.0) for c, khz in zip(chains, carriers_khz, strict=True)]
    return Radio(
        gain=_gain(chains, carriers_khz, budgets, others),
        coupling=_coupling(chains, carriers_khz, others),
        conversion=_ratio([-chain.transmitter.conversion_loss_db for chain in chains], others),
        noise_mw=_ratio([budget.noise_dbm for budget in budgets], others),
        need=_ratio([budget.required_cnr_db for budget in budgets], others),
        to_hold=_ratio([budget.to_hold_db for budget in budgets], others),
        iip3_mw=_ratio(intercepts, others),
        blocking_mw=_ratio([receiver.blocking_dbm for receiver in receivers], others),
        width_khz=widths,
        rejection=_rejection(tuple(float(kind) for kind in kinds)),
        rejection_step_khz=REJECTION_STEP_KHZ,
        kind=np.searchsorted(kinds, widths),
        own=len(chains),
        compiled=large or widths.size > FEW_LINKS,
    )


def _ratio(db: Sequence[float], others: Sequence[Other] = ()) -> FloatArray:
    """Ratios of decibels, and 1 for each other, whose receiver is not ours to know."""
    return mw_from_dbm_array(np.array([*db, *(0.0 for _ in others)], dtype=np.float64))


def _gain(
    chains: Sequence[Chain], carriers_khz: IntArray, budgets: Sequence[Budget], others: Sequence[Other]
) -> FloatArray:
    """Gains as `Radio.gain`: interferers at their strongest, the wanted one at its worst spot; others by EIRP, or
    as they were heard."""
    radiators = [chain.radiator(int(khz), 1.0) for chain, khz in zip(chains, carriers_khz, strict=True)]
    radiators += [Radiator((other.stands,), sum(other.band_khz) / 2000.0, 0.0) for other in others]
    gain = heard_gains_db([chain.ends for chain in chains], [khz / 1000.0 for khz in carriers_khz], radiators)
    for row, other in enumerate(others, start=len(chains)):
        if other.heard_dbm is not None:
            gain[row] = other.heard_dbm - dbm_from_mw(other.radiated_mw)
    np.fill_diagonal(gain, [budget.gain_db for budget in budgets])
    every = np.zeros((len(radiators), len(radiators)))
    every[:, : len(chains)] = mw_from_dbm_array(gain)
    return every


def _coupling(chains: Sequence[Chain], carriers_khz: IntArray, others: Sequence[Other]) -> FloatArray:
    """From the output of a transmitter (rows) into that of one of ours (columns), at the nearest of their spots.

    Free space between the two and both bodies facing; antennas as they are. What others' transmitters make of
    ours is left out: neither their output stages nor their receivers are known.
    """
    points = xyz((*(spot for chain in chains for spot in chain.route), *(other.stands for other in others)))
    counts = [*(len(chain.route) for chain in chains), *(1 for _ in others)]
    first = np.concatenate([[0], np.cumsum(counts)[:-1]]).astype(np.int64)
    distance = np.sqrt(((points[:, None, :] - points[None, :, :]) ** 2).sum(axis=2))
    nearest = np.minimum.reduceat(np.minimum.reduceat(distance, first, axis=0), first, axis=1)
    every_khz = np.array([*carriers_khz, *(sum(other.band_khz) / 2.0 for other in others)])
    loss = free_space_db(every_khz[:, None] / 1000.0, np.maximum(nearest, SIDE_BY_SIDE_M))
    ends = np.array([*(chain.facing_gain_db for chain in chains), *(0.0 for _ in others)])
    coupling = mw_from_dbm_array(ends[:, None] + ends[None, :] - loss)
    np.fill_diagonal(coupling, 0.0)
    coupling[:, len(chains) :] = 0.0
    return coupling


def narrow(others: Sequence[Other]) -> tuple[Other, ...]:
    """The others with a carrier: they mix with ours; wide signals do not come to a point."""
    return tuple(other for other in others if other.carrier_mhz is not None)


@functools.lru_cache(maxsize=256)
def _rejection(kinds: tuple[float, ...]) -> FloatArray:
    """Share let in, by kinds of transmitter and receiver (both by bandwidth) and distance (k, k, m)."""
    distance = np.arange(0.0, REJECTION_TO_KHZ + REJECTION_STEP_KHZ, REJECTION_STEP_KHZ)
    return np.array([[off_channel_share(distance, sent, heard) for heard in kinds] for sent in kinds])


def call_levels(
    chains: Sequence[Chain],
    tunings: Sequence[Tuning],
    slots_khz: Sequence[IntArray],
    at_khz: Sequence[int | None],
    members: Sequence[int],
    others: Sequence[Other],
    large: bool,
) -> CallLevels:
    """The levels of a call for the search: worked out once, at `at_khz` of each link, else amid its slots.

    `slots_khz` are the slots of each member's wish; a level changes by less than two decibels across a usual range.
    """
    middle = np.array(
        [int(slots[slots.size // 2]) if khz is None else khz for slots, khz in zip(slots_khz, at_khz, strict=True)],
        dtype=np.int64,
    )
    budgets = budgets_of([chain.asked(int(khz)) for chain, khz in zip(chains, middle, strict=True)])
    air, steps, most = [], [], []
    for chain, tuning, slots in zip(chains, tunings, slots_khz, strict=True):
        at = np.searchsorted(tuning.carriers_khz, slots)
        sure = chain.wanted.sure
        parts = (heard.power_mw[at] * likely_more(heard.spread_db, sure) for heard in tuning.heard)
        air.append(sum(parts, np.zeros(slots.size)))
        steps.append(np.array(sorted(chain.transmitter.powers_mw)))
        most.append(tuning.most_mw[at])
    radio = radio_of(chains, middle, budgets, others, large)
    return CallLevels(
        np.array(members, dtype=np.int64), radio, tuple(air), tuple(steps), tuple(most), *others_arrays(others),
        wishes_of(chains), np.array([budget.hand.doubt_db for budget in budgets]),
    )  # fmt: skip


def wishes_of(chains: Sequence[Chain]) -> PowerWishes:
    """What links wish of their powers."""
    return PowerWishes(
        tuple(chain.link.name for chain in chains),
        np.array([chain.reserve_db for chain in chains]),
        np.array([chain.power == "most" for chain in chains], dtype=np.bool_),
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
