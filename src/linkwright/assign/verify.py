"""The second opinion: is this plan what it says it is?

Plain enumeration over carriers in whole kHz, written from the contract (docs/reference.md), sharing no code with
the search. It makes every product and looks where it falls, and it runs before any plan is written.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True)
class Placed:
    """A link as the verifier sees it: its carrier, its spares, and what it must keep to."""

    name: str
    carrier_khz: int
    spares_khz: tuple[int, ...]
    spacing_khz: int
    allowed_khz: frozenset[int]


def faults(links: Sequence[Placed], clean: bool, guard_two_khz: int, guard_three_khz: int) -> Iterator[str]:
    """What is wrong with a call of a plan, a sentence each; nothing where it is right.

    Carriers and spares lie on allowed slots and keep the larger spacing of two types. In a clean plan no product
    of carriers in use falls on a carrier or a spare, and none on a carrier after any one link moved to its
    first spare.
    """
    yield from _off_their_slots(links)
    yield from _too_near(links)
    if not clean:
        return
    in_use = {link.name: link.carrier_khz for link in links}
    spares = [(f"spare of {link.name}", spare) for link in links for spare in link.spares_khz]
    yield from _hits(in_use, [*in_use.items(), *spares], guard_two_khz, guard_three_khz)
    for link in links:
        if link.spares_khz:
            moved = {**in_use, link.name: link.spares_khz[0]}
            for fault in _hits(moved, list(moved.items()), guard_two_khz, guard_three_khz):
                yield f"after {link.name} moves to its first spare: {fault}"


def _off_their_slots(links: Sequence[Placed]) -> Iterator[str]:
    for link in links:
        for carrier in (link.carrier_khz, *link.spares_khz):
            if carrier not in link.allowed_khz:
                yield f"{link.name} stands on {carrier} kHz, which is none of its slots"


def _too_near(links: Sequence[Placed]) -> Iterator[str]:
    every = [(c, link) for link in links for c in (link.carrier_khz, *link.spares_khz)]
    every.sort(key=lambda entry: entry[0])
    widest = max((link.spacing_khz for link in links), default=0)
    for n, (low, a) in enumerate(every):
        for high, b in every[n + 1 :]:
            if high - low >= widest:
                break
            if high - low < max(a.spacing_khz, b.spacing_khz):
                yield f"{a.name} on {low} kHz and {b.name} on {high} kHz are nearer than their spacing"


def _hits(
    in_use: Mapping[str, int], victims: Sequence[tuple[str, int]], guard_two_khz: int, guard_three_khz: int
) -> Iterator[str]:
    """Every product of `in_use` that falls on one of `victims`, by going through all of them."""
    names = list(in_use)
    carriers = np.array(list(in_use.values()), dtype=np.int64)
    order = sorted(range(len(victims)), key=lambda n: victims[n][1])
    places = np.array([victims[n][1] for n in order], dtype=np.int64)
    for makers, products, guard in (
        (*_twos(carriers), guard_two_khz),
        (*_threes(carriers), guard_three_khz),
    ):
        first = np.searchsorted(places, products - guard, side="right")
        behind = np.searchsorted(places, products + guard, side="left")
        for hit in np.flatnonzero(behind > first):
            who = [names[n] for n in makers[hit]]
            told = (
                f"2A-B of {who[0]} and {who[1]}" if len(who) == 2 else f"A+B-C of {who[0]}, {who[1]} and {who[2]}"
            )
            for at in range(first[hit], behind[hit]):
                yield f"{told} falls on {victims[order[at]][0]}"


Products = tuple[NDArray[np.int64], NDArray[np.int64]]


def _twos(carriers: NDArray[np.int64]) -> Products:
    """All 2A-B: who makes them (m, 2), and where they fall (m,)."""
    makers = np.argwhere(~np.eye(carriers.size, dtype=np.bool_))
    return makers, 2 * carriers[makers[:, 0]] - carriers[makers[:, 1]]


def _threes(carriers: NDArray[np.int64]) -> Products:
    """All A+B-C, each pair A, B once: who makes them (m, 3), and where they fall (m,)."""
    n = carriers.size
    a, b, c = np.ogrid[:n, :n, :n]
    makers = np.argwhere((a < b) & (c != a) & (c != b))
    return makers, carriers[makers[:, 0]] + carriers[makers[:, 1]] - carriers[makers[:, 2]]


#: In a call of up to so many links the interference of every one is enumerated again, in a larger one that of the
#: few that are most interfered with.
EVERY_ONE_UP_TO = 64
ONLY_THE_WORST = 4
#: By how much two ways of adding the same products may differ, of noise and products together.
TOLERANCE = 1e-3


def level_faults(
    names: Sequence[str],
    carriers_khz: NDArray[np.int64],
    width_khz: NDArray[np.float64],
    received_mw: NDArray[np.float64],
    radiated: NDArray[np.float64],
    iip3_mw: NDArray[np.float64],
    claimed_mw: NDArray[np.float64],
    noise_mw: NDArray[np.float64],
) -> Iterator[str]:
    """Whether the third-order interference that is claimed for each link is what enumeration comes to.

    All arrays are (n,), but received_mw and radiated (n, n): what each transmitter (row) brings at each receiver
    (column) [mW], and what A (column) radiates at 2A-B for B (row) over its own power. Every product of distinct
    carriers is taken, its width the sum of its makers', its power spread evenly.
    """
    twos, at_two = _twos(carriers_khz)
    width_two = 2.0 * width_khz[twos[:, 0]] + width_khz[twos[:, 1]]
    n = carriers_khz.size
    looked_at = n if n <= EVERY_ONE_UP_TO else ONLY_THE_WORST
    for v in np.argsort(-claimed_mw / noise_mw, kind="stable")[:looked_at]:
        level = received_mw[:, v]
        inside = _inside(at_two - carriers_khz[v], width_two, float(width_khz[v]))
        a, b = level[twos[:, 0]], level[twos[:, 1]]
        made = float((inside * a * a * b).sum()) + _threes_mw(carriers_khz, width_khz, level, int(v))
        sent = float((inside * a * radiated[twos[:, 1], twos[:, 0]]).sum())
        found = made / float(iip3_mw[v]) ** 2 + sent
        if abs(found - claimed_mw[v]) > TOLERANCE * (found + noise_mw[v]):
            yield f"{names[v]}: products come to {found:.3e} mW, the plan says {claimed_mw[v]:.3e} mW"


def _threes_mw(
    carriers_khz: NDArray[np.int64], width_khz: NDArray[np.float64], level_mw: NDArray[np.float64], v: int
) -> float:
    """4 A B C of all A+B-C in the filter of link v, one C at a time so that memory grows with the pairs only."""
    first, second = np.triu_indices(carriers_khz.size, k=1)
    pair_khz = carriers_khz[first] + carriers_khz[second] - carriers_khz[v]
    pair_width, pair_mw = width_khz[first] + width_khz[second], level_mw[first] * level_mw[second]
    total = 0.0
    for c in range(carriers_khz.size):
        inside = _inside(pair_khz - carriers_khz[c], pair_width + width_khz[c], float(width_khz[v]))
        inside[(first == c) | (second == c)] = 0.0
        total += 4.0 * float(level_mw[c]) * float((inside * pair_mw).sum())
    return total


def _inside(
    offset_khz: NDArray[np.int64], width_khz: NDArray[np.float64], filter_khz: float
) -> NDArray[np.float64]:
    """Which share of a flat band about an offset lies in a filter about nothing."""
    top = np.minimum(offset_khz + width_khz / 2.0, filter_khz / 2.0)
    bottom = np.maximum(offset_khz - width_khz / 2.0, -filter_khz / 2.0)
    return np.asarray(np.maximum(top - bottom, 0.0) / width_khz)
