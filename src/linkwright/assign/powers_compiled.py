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

    who (h, 4), share (h,) : the products in filters: the filter, and A, B, C, -1 for C of 2A-B. gain, through,
    off : (n + others, r). sent : (n + others, n + others) coupling times conversion. noise_mw : (r,) noise and air.
    receivers : (5, r), C/N that is needed, what is to be held, IIP3, blocked, wanted gain. of : (r,) whose each is.
    """

    who: IntArray
    share: FloatArray
    gain: FloatArray
    sent: FloatArray
    through: FloatArray
    off: FloatArray
    noise_mw: FloatArray
    receivers: FloatArray
    of: IntArray


# long: a raise undone reads what the raises before it left
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
                wanted = _enough(steps_mw[m, : last[m] + 1], powers_mw[m], excess_db[m], reserve_db[m])
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
def _enough(steps_mw: FloatArray, now_mw: float, excess_db: float, reserve_db: float) -> int:
    """The least step with which a link has its reserve; its highest where none does, or the least where that would
    not hold either."""
    for k in range(steps_mw.size):
        if 10.0 * np.log10(steps_mw[k] / now_mw) + excess_db >= reserve_db:
            return k
    return steps_mw.size - 1 if 10.0 * np.log10(steps_mw[-1] / now_mw) + excess_db >= 0.0 else 0


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
    who, share, gain, sent, through, off, noise_mw, receivers, of = heard
    for m in range(at.size):
        powers_mw[m] = steps_mw[m, at[m]]
    iip3, driving = receivers[2], np.empty(gain.shape)
    adjacent, blocking = np.zeros(of.size), np.zeros(of.size)
    received, radiated = np.zeros(of.size), np.zeros(of.size)
    for i in range(powers_mw.size):
        for v in range(of.size):  # row by row, which the compiler does several at a time
            driving[i, v] = min(gain[i, v] * powers_mw[i], iip3[v] / 2.0)
            adjacent[v] += powers_mw[i] * through[i, v]
            blocking[v] += powers_mw[i] * off[i, v]
    for h in range(share.size):
        v, a, b, c = who[h, 0], who[h, 1], who[h, 2], who[h, 3]
        both = driving[a, v] * driving[b, v] * share[h]
        if c < 0:
            received[v] += driving[a, v] * both
            radiated[v] += gain[a, v] * powers_mw[b] * sent[b, a] * share[h]
        else:
            received[v] += 4.0 * driving[c, v] * both
    excess_db[:] = np.inf
    for v in range(of.size):
        unwanted = received[v] / (iip3[v] * iip3[v]) + radiated[v] + adjacent[v] + receivers[3, v] * blocking[v]
        wanted = receivers[4, v] * powers_mw[of[v]]
        noise = (noise_mw[v] + unwanted) * receivers[0, v] * receivers[1, v]
        each_db[v] = 10.0 * np.log10(wanted / noise)
        excess_db[of[v]] = min(excess_db[of[v]], each_db[v])
