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
