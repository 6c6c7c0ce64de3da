"""The powers of a call settled, compiled: the same as `placement._Powers` does with arrays, which tests it."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from linkwright.physics.compiled import kernel
from linkwright.units import BoolArray, FloatArray, IntArray


class PowerSteps(NamedTuple):
    """The links (n,) of a call: their highest steps, the powers of all steps (n, k), the reserve and who wants the
    most, and whose turn it is where two have the same in hand."""

    last: IntArray
    steps_mw: FloatArray
    reserve_db: FloatArray
    most: BoolArray
    place: IntArray


class Hearing(NamedTuple):
    """What reaches the receivers (r,) of a call, whatever the powers.

    who (h, 4), share (h,) : the products in filters, by transmitters as they are ordered (`order`). gain, through,
    off : (n + others, r). sent : (n + others, n + others) coupling times conversion. receivers : (6, r), noise and
    air, C/N that is needed, what is to be held, IIP3, blocked, wanted gain. of : (r,) whose each is.
    """

    who: IntArray
    share: FloatArray
    order: IntArray
    gain: FloatArray
    sent: FloatArray
    through: FloatArray
    off: FloatArray
    receivers: FloatArray
    of: IntArray


@kernel
def settle(
    at: IntArray,
    steps: PowerSteps,
    heard: Hearing,
    same_db: float,
    powers_mw: FloatArray,
    excess_db: FloatArray,
    each_db: FloatArray,
) -> None:
    """Raise each of n links from step `at` (n,), as `settle_powers` says; what that comes to is written to `at`,
    `powers_mw` (n + others,), which has those of others, `excess_db` (n,) and `each_db` (r,)."""
    last, steps_mw, reserve_db, most, place = steps
    raised = True
    while raised:
        _judge(at, steps_mw, heard, powers_mw, excess_db, each_db)
        raised = False
        for m in range(at.size):
            if excess_db[m] < reserve_db[m]:
                wanted = _enough(steps_mw[m], powers_mw[m], excess_db[m], reserve_db[m], last[m])
                if wanted > at[m]:
                    at[m], raised = wanted, True
    trial = at.copy()
    for wishing in (False, True):
        was = excess_db.copy()
        for m in _turns(was, place):
            if not (most[m] if wishing else was[m] < 0.0):
                continue
            before = excess_db.copy()
            trial[:] = at
            for step in range(last[m], at[m], -1):
                trial[m] = step
                _judge(trial, steps_mw, heard, powers_mw, excess_db, each_db)
                lost = False
                for i in range(at.size):
                    keep = reserve_db[i] if wishing else 0.0
                    if i != m and before[i] >= 0.0 and not excess_db[i] >= min(before[i], keep) - same_db:
                        lost = True
                        break
                if not lost:
                    at[m] = step
                    break
            if at[m] != trial[m]:
                excess_db[:] = before
    _judge(at, steps_mw, heard, powers_mw, excess_db, each_db)


@kernel
def _enough(steps_mw: FloatArray, now_mw: float, excess_db: float, reserve_db: float, last: int) -> int:
    """The least step with which a link has its reserve; its highest where none does, or the least where that would
    not hold either."""
    for k in range(steps_mw.size):
        if 10.0 * np.log10(steps_mw[k] / now_mw) + excess_db >= reserve_db:
            return k
    return last if 10.0 * np.log10(steps_mw[-1] / now_mw) + excess_db >= 0.0 else 0


@kernel
def _turns(excess_db: FloatArray, place: IntArray) -> IntArray:
    """The links, the one with the least in hand first, alike ones by their place."""
    by_place = np.argsort(place)
    micro = np.rint(excess_db[by_place] * 1e6)
    return by_place[np.argsort(micro, kind="mergesort")]


@kernel
def _judge(
    at: IntArray,
    steps_mw: FloatArray,
    heard: Hearing,
    powers_mw: FloatArray,
    excess_db: FloatArray,
    each_db: FloatArray,
) -> None:
    """What every link and every receiver has in hand at steps (n,)."""
    who, share, order, gain, sent, through, off, receivers, of = heard
    for m in range(at.size):
        powers_mw[m] = steps_mw[m, at[m]]
    received, radiated = np.zeros(of.size), np.zeros(of.size)
    for h in range(share.size):
        v, a, b, c = who[h, 0], order[who[h, 1]], order[who[h, 2]], who[h, 3]
        iip3 = receivers[3, v]
        gained = 1.0 / (iip3 * iip3)
        strong_a = min(gain[a, v] * powers_mw[a], iip3 / 2.0)
        strong_b = min(gain[b, v] * powers_mw[b], iip3 / 2.0)
        if c < 0:
            received[v] += gained * strong_a * strong_a * strong_b * share[h]
            radiated[v] += gain[a, v] * powers_mw[a] * (powers_mw[b] * sent[b, a] / powers_mw[a]) * share[h]
        else:
            strong_c = min(gain[order[c], v] * powers_mw[order[c]], iip3 / 2.0)
            received[v] += 4.0 * gained * strong_a * strong_b * strong_c * share[h]
    excess_db[:] = np.inf
    for v in range(of.size):
        adjacent, blocking = 0.0, 0.0
        for i in range(powers_mw.size):
            adjacent += powers_mw[i] * through[i, v]
            blocking += powers_mw[i] * off[i, v]
        noise = receivers[0, v] + (received[v] + radiated[v] + adjacent + receivers[4, v] * blocking)
        wanted = receivers[5, v] * powers_mw[of[v]]
        each_db[v] = 10.0 * np.log10(wanted / (noise * receivers[1, v] * receivers[2, v]))
        excess_db[of[v]] = min(excess_db[of[v]], each_db[v])
