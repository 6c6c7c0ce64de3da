"""Improving a placement by levels: the worst link moves to where everybody is better off."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

import numpy as np

from linkwright.assign.levels import Radio, driving
from linkwright.assign.placement import CallLevels, Objective, Outcome, Placement
from linkwright.progress import Tell
from linkwright.units import BoolArray, FloatArray, IntArray

#: Gains below this are not worth moving anybody [dB].
WORTH_DB: Final = 0.1
#: How many slots of a link are looked at closely.
SLOTS_A_LINK: Final = 6


def anywhere(_link: int) -> None:
    """No restriction to where a link may move."""


def improve_by_levels(
    placement: Placement, tell: Tell, looks: int, allowed: Callable[[int], BoolArray | None] = anywhere
) -> None:
    """Move the worst links to where everybody is better off, until no look finds anything or looks run out, or
    nobody who is short is so for what he hears.

    `allowed` says for a link which of its slots (m,) it may take; None: all that keep the spacing.
    """
    made = 0
    standing = placement.score()
    while made < looks and placement.could_gain(WORTH_DB):
        for link in placement.worst():
            best = None
            for slot in candidates(placement, link, allowed(link)):
                tell("weighing carriers by power", made / looks)
                reached, outcomes = placement.try_slot(link, int(slot))
                made += 1
                if better(reached, standing) and (best is None or reached > best[0]):
                    best = (reached, int(slot), outcomes)
            if best is not None:
                standing = best[0]
                placement.move(link, best[1], best[2])
                break
            if made >= looks:
                return
        else:
            return


def better(new: Objective, old: Objective) -> bool:
    """Whether a score is better by more than a trifle."""
    if new.placed != old.placed:
        return new.placed > old.placed
    if abs(new.worst_db - old.worst_db) > WORTH_DB:
        return new.worst_db > old.worst_db
    return (new.holding, new.less_power_db - WORTH_DB) > (old.holding, old.less_power_db)


def candidates(placement: Placement, link: int, allowed: BoolArray | None) -> IntArray:
    """The slots of a link that promise most: quiet, and far from the strongest at its receiver; the best few."""
    wish = placement.problem.wishes[link]
    if wish.locked_khz is not None:
        return np.zeros(0, dtype=np.int64)
    free = placement.open_slots(link)
    free = np.asarray(free[free != placement.slots[link]], dtype=np.int64)
    if allowed is not None:
        free = free[allowed[free]]
    if not free.size:
        return free
    cost = np.zeros(free.size)
    for call, outcome in zip(placement.calls, placement.outcomes, strict=True):
        if link in call.members:
            at = int(np.flatnonzero(call.members == link)[0])
            cost = np.maximum(cost, _slot_noise_db(placement, call, outcome, at, free))
    order = np.lexsort((free, np.round(cost, 1)))
    return np.asarray(free[order[:SLOTS_A_LINK]], dtype=np.int64)


def _slot_noise_db(placement: Placement, call: CallLevels, outcome: Outcome, at: int, free: IntArray) -> FloatArray:
    """Noise, air, adjacent carriers and products of the others on each of the slots `free`, at the receiver of the
    link that has most of them [dB over noise]."""
    radio = call.radio
    link = int(call.members[at])
    slots_khz = placement.problem.wishes[link].slots_khz[free]
    others = np.array([m for m in range(radio.transmitters) if m != at], dtype=np.int64)
    own_khz = [placement.carrier_khz(int(i), int(placement.slots[i])) for i in call.members]
    f = np.concatenate([np.array(own_khz, dtype=np.int64), call.others_khz])[others]
    powers = np.concatenate([outcome.powers_mw, call.others_mw])
    most = np.zeros(free.size)
    for v in radio.receivers_of(np.array([at])).tolist():
        received, iip3_mw = radio.gain[others, v] * powers[others], float(radio.iip3_mw[v])
        adjacent = (adjacent_at_once if radio.compiled else adjacent_mw)(radio, at, others, f, received, slots_khz)
        products = (product_map_at_once if radio.compiled else product_map)(
            f, radio.width_khz[others], driving(received, iip3_mw), iip3_mw, slots_khz, float(radio.width_khz[at])
        )
        total = radio.noise_mw[v] + call.air_mw[v][free] + adjacent + products
        most = np.maximum(most, 10.0 * np.log10(total / radio.noise_mw[v]))
    return most


def adjacent_mw(
    radio: Radio, at: int, others: IntArray, f: IntArray, received: FloatArray, slots_khz: IntArray
) -> FloatArray:
    """What the filter of a link's receiver lets in of carriers f (n,) of others on each slot (m,) [mW]."""
    entry = np.abs(slots_khz[:, None] - f[None, :]) / radio.rejection_step_khz
    entry = np.minimum(entry.astype(np.int64), radio.rejection.shape[2] - 1)
    passes = radio.rejection[radio.kind[others][None, :], radio.kind[at], entry]
    return np.asarray((passes * received[None, :]).sum(axis=1))


def adjacent_at_once(
    radio: Radio, at: int, others: IntArray, f: IntArray, received: FloatArray, slots_khz: IntArray
) -> FloatArray:
    """The same in one compiled loop."""
    from linkwright.physics.intermodulation.compiled_inband import let_in

    shares, power_mw = radio.rejection[radio.kind[others], radio.kind[at]], np.zeros(slots_khz.size)
    let_in(slots_khz, f, received, shares, radio.rejection_step_khz, power_mw)
    return power_mw


def product_map(
    f: IntArray, width: FloatArray, received: FloatArray, iip3_mw: float, slots_khz: IntArray, filter_khz: float
) -> FloatArray:
    """Receiver products of carriers f (n,) on each slot (m,) [mW], every product a box three carriers wide."""
    n = f.size
    a, b = np.nonzero(~np.eye(n, dtype=np.bool_))
    i, j = np.triu_indices(n, k=1)
    k = np.arange(n)
    fits = (k[None, :] != i[:, None]) & (k[None, :] != j[:, None])
    three = ((f[i] + f[j])[:, None] - f[None, :])[fits]
    power_three = (4.0 * received[i, None] * received[j, None] * received[None, :])[fits]
    at = np.concatenate([2 * f[a] - f[b], three])
    power = np.concatenate([received[a] ** 2 * received[b], power_three]) / iip3_mw**2
    order = np.argsort(at, kind="stable")
    total = np.concatenate([[0.0], np.cumsum(power[order])])
    reach, share = _box(width, filter_khz)
    first = np.searchsorted(at[order], slots_khz - reach, side="left")
    behind = np.searchsorted(at[order], slots_khz + reach, side="right")
    return np.asarray((total[behind] - total[first]) * share)


def product_map_at_once(
    f: IntArray, width: FloatArray, received: FloatArray, iip3_mw: float, slots_khz: IntArray, filter_khz: float
) -> FloatArray:
    """The same, with a cell for every step of the raster that carriers and slots (ascending) have in common, where
    those are fewer than the products."""
    from linkwright.physics.intermodulation.compiled_inband import lay_out

    reach, share = _box(width, filter_khz)
    step = max(1, int(np.gcd.reduce(np.concatenate([f, slots_khz]) - slots_khz[0])))
    aside = int(reach // step)
    if (slots_khz[-1] - slots_khz[0]) // step > f.size**3:
        return product_map(f, width, received, iip3_mw, slots_khz, filter_khz)
    base = slots_khz[0] - aside * step
    power_mw = np.zeros((slots_khz[-1] - base) // step + aside + 1)
    lay_out((f - base) // step, received, iip3_mw, power_mw)
    total, at = np.concatenate([[0.0], np.cumsum(power_mw)]), (slots_khz - base) // step
    return np.asarray((total[at + aside + 1] - total[at - aside]) * share)


def _box(width: FloatArray, filter_khz: float) -> tuple[float, float]:
    """How far a product reaches to both sides [kHz], and the share of it that a filter lets in."""
    reach = 1.5 * float(width.mean()) if width.size else 0.0
    return reach, min(1.0, filter_khz / max(2.0 * reach, 1.0))
