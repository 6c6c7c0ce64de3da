"""The second opinion: is this plan what it says it is?

Plain enumeration over carriers in whole kHz, written from the contract (docs/reference.md), sharing no code with
the search. It makes every product and looks where it falls, and it runs before any plan is written.
"""

from __future__ import annotations

import functools
import itertools
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True)
class Placed:
    """A link as the verifier sees it: its carrier, its spares, and what it must keep to (`allowed_khz` (m,))."""

    name: str
    carrier_khz: int
    spares_khz: tuple[int, ...]
    spacing_khz: int
    allowed_khz: NDArray[np.int64]


def faults(
    links: Sequence[Placed],
    clean: bool,
    guard_two_khz: int,
    guard_three_khz: int,
    others_khz: Mapping[str, int] = MappingProxyType({}),
) -> Iterator[str]:
    """What is wrong with a call of a plan, a sentence each; nothing where it is right.

    Carriers and spares lie on allowed slots and keep the larger spacing of two types. In a clean plan no product
    of carriers in use, those of others (by name) among them, falls on a carrier or a spare of ours, and none on
    a carrier after any one link moved to its first spare.
    """
    yield from _off_their_slots(links)
    yield from _too_near(links)
    if not clean:
        return
    in_use = {link.name: link.carrier_khz for link in links}
    spares = [(f"spare of {link.name}", spare) for link in links for spare in link.spares_khz]
    makers = {**{f"{name} (other)": khz for name, khz in others_khz.items()}, **in_use}
    hits = list(_hits(makers, [*in_use.items(), *spares], guard_two_khz, guard_three_khz))
    yield from hits
    for link in links:
        if link.spares_khz:
            # Where nothing was found yet, nothing that the others make among themselves falls on this spare.
            rest = {name: khz for name, khz in makers.items() if name != link.name}
            moved = {**in_use, link.name: link.spares_khz[0]}
            at_last = {**rest, link.name: link.spares_khz[0]}
            for fault in _hits(at_last, list(moved.items()), guard_two_khz, guard_three_khz, with_last=not hits):
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
    in_use: Mapping[str, int],
    victims: Sequence[tuple[str, int]],
    guard_two_khz: int,
    guard_three_khz: int,
    *,
    with_last: bool = False,
) -> Iterator[str]:
    """Every product of `in_use` (`with_last`: that the last of them has a part in) that falls on one of `victims`,
    by going through all of them."""
    names = list(in_use)
    carriers = np.array(list(in_use.values()), dtype=np.int64)
    order = sorted(range(len(victims)), key=lambda n: victims[n][1])
    places = np.array([victims[n][1] for n in order], dtype=np.int64)
    beyond = np.append(places, np.iinfo(np.int64).max)
    for makers, products, guard in (
        (*_twos(carriers, with_last), guard_two_khz),
        (*_threes(carriers, with_last), guard_three_khz),
    ):
        first = places.searchsorted(products - guard, side="right")
        for hit in np.flatnonzero(beyond[first] < products + guard):
            who = [names[n] for n in makers[hit]]
            told = (
                f"2A-B of {who[0]} and {who[1]}" if len(who) == 2 else f"A+B-C of {who[0]}, {who[1]} and {who[2]}"
            )
            for at in range(first[hit], int(np.searchsorted(places, products[hit] + guard))):
                yield f"{told} falls on {victims[order[at]][0]}"


Products = tuple[NDArray[np.int64], NDArray[np.int64]]


def _twos(carriers: NDArray[np.int64], with_last: bool = False) -> Products:
    """All 2A-B: who makes them (m, 2), and where they fall (m,)."""
    makers = _pairs(carriers.size, with_last)
    return makers, 2 * carriers[makers[:, 0]] - carriers[makers[:, 1]]


def _threes(carriers: NDArray[np.int64], with_last: bool = False) -> Products:
    """All A+B-C, each pair A, B once: who makes them (m, 3), and where they fall (m,)."""
    triples = _few_triples if carriers.size <= KEEP_UP_TO else _triples
    makers = triples(carriers.size, with_last)
    return makers, carriers[makers[:, 0]] + carriers[makers[:, 1]] - carriers[makers[:, 2]]


@functools.lru_cache(maxsize=16)
def _pairs(n: int, with_last: bool) -> NDArray[np.int64]:
    makers = np.argwhere(~np.eye(n, dtype=np.bool_))
    return makers[(makers == n - 1).any(axis=1)] if with_last else makers


def _triples(n: int, with_last: bool) -> NDArray[np.int64]:
    a, b, c = np.ogrid[:n, :n, :n]
    makers = np.argwhere((a < b) & (c != a) & (c != b))
    return makers[(makers == n - 1).any(axis=1)] if with_last else makers


@functools.lru_cache(maxsize=16)
def _few_triples(n: int, with_last: bool) -> NDArray[np.int64]:
    return _triples(n, with_last)


#: Who makes the products of so many carriers is kept for the next call; of more it would take too much memory.
KEEP_UP_TO = 64


#: By how much two ways of adding the same products may differ, of noise and products together.
TOLERANCE = 1e-3
#: In a call of up to so many links the interference of every one is enumerated, in a larger one that of those which
#: are most interfered with.
EVERY_ONE_UP_TO = 200
#: Pairs and filters that are looked at in one go: it bounds the memory.
AT_ONCE = 1_000_000
#: Step of the numerical integration of a product's spectrum [kHz].
FINE_KHZ = 0.5


# wide: an array a quantity, since the check shares no type with what it checks
def level_faults(
    names: Sequence[str],
    carriers_khz: NDArray[np.int64],
    width_khz: NDArray[np.float64],
    received_mw: NDArray[np.float64],
    radiated: NDArray[np.float64],
    iip3_mw: NDArray[np.float64],
    claimed_mw: NDArray[np.float64],
    noise_mw: NDArray[np.float64],
    tuned_to: NDArray[np.int64] | None = None,
) -> Iterator[str]:
    """Whether the third-order interference that is claimed for each receiver is what enumeration comes to.

    carriers_khz, width_khz : (n,) of transmitters; names, iip3_mw, claimed_mw, noise_mw : (r,) of receivers;
    tuned_to : (r,) the transmitter that each receives, in turn unless said. received_mw (n, r) and
    radiated (n, n) : what each transmitter (row) brings at each receiver (column) [mW], and what A (column)
    radiates at 2A-B for B (row) over its own power. Every product of distinct carriers is taken; its spectrum is
    its makers' flat ones convolved.
    """
    kinds, kind = np.unique(width_khz, return_inverse=True)
    tuned = np.arange(claimed_mw.size) if tuned_to is None else tuned_to
    centre_khz, filter_of = carriers_khz[tuned], kind[tuned]
    twos, at_two = _twos(carriers_khz)
    a, b = twos[:, 0], twos[:, 1]
    looked_at = np.arange(claimed_mw.size)
    if looked_at.size > EVERY_ONE_UP_TO:
        looked_at = np.argsort(-claimed_mw / noise_mw, kind="stable")[:EVERY_ONE_UP_TO]
    for filter_kind in np.unique(filter_of[looked_at]):
        inside = _Inside(kinds, float(kinds[filter_kind]))
        filters = looked_at[filter_of[looked_at] == filter_kind]
        # Products do not grow with what is over half of the receiver's intercept: they would pass their makers.
        limited = np.clip(received_mw, 0.0, 0.5 * iip3_mw[None, :])
        threes = _threes_mw(carriers_khz, kind, limited, centre_khz, filters, inside)
        made, sent = np.zeros((2, filters.size))
        some = max(1, AT_ONCE // max(1, at_two.size))
        for start in range(0, filters.size, some):
            part = filters[start : start + some]
            two = inside.share(
                at_two[:, None] - centre_khz[part], kind[a][:, None], kind[a][:, None], kind[b][:, None]
            )
            held = limited[:, part]
            made[start : start + some] = (two * held[a] * held[a] * held[b]).sum(axis=0)
            sent[start : start + some] = (two * received_mw[:, part][a] * radiated[b, a][:, None]).sum(axis=0)
        totals = (made + threes) / iip3_mw[filters] ** 2 + sent
        for v, product_mw in zip(filters.tolist(), totals.tolist(), strict=True):
            claimed = float(claimed_mw[v])
            if abs(product_mw - claimed) > TOLERANCE * (product_mw + noise_mw[v]):
                yield f"{names[v]}: products come to {product_mw:.3e} mW, the plan says {claimed:.3e} mW"


class _Inside:
    """Which share of a product lies in one filter, from tables over whole kHz for every set of makers' widths."""

    def __init__(self, kinds_khz: NDArray[np.float64], filter_khz: float) -> None:
        self._count = kinds_khz.size
        self.reach_khz = int(np.ceil((3.0 * float(kinds_khz.max()) + filter_khz) / 2.0)) + 1
        sets = itertools.product(kinds_khz.tolist(), repeat=3)
        self._tables = np.array([_spectrum(self.reach_khz, widths, filter_khz) for widths in sets])

    def share(
        self, offset_khz: NDArray[np.int64], a: NDArray[np.int64], b: NDArray[np.int64], c: NDArray[np.int64]
    ) -> NDArray[np.float64]:
        """The share of products at these offsets whose makers' widths have the indices a, b and c."""
        apart = np.minimum(np.abs(offset_khz), self.reach_khz)
        return np.asarray(self._tables[(a * self._count + b) * self._count + c, apart])


@functools.lru_cache(maxsize=64)
def _spectrum(last_khz: int, widths_khz: tuple[float, ...], filter_khz: float) -> NDArray[np.float64]:
    """Share of a product in a filter at 0, 1, ... `last_khz`: the boxes integrated one by one by trapezia."""
    at = np.arange(-last_khz - 1.0, last_khz + 1.0 + FINE_KHZ / 2.0, FINE_KHZ)
    first, *others = widths_khz
    share = np.clip((first + filter_khz) / 2.0 - np.abs(at), 0.0, min(first, filter_khz)) / first
    for width in others:
        so_far = np.concatenate([[0.0], np.cumsum((share[1:] + share[:-1]) * (FINE_KHZ / 2.0))])
        above, below = np.interp(at + width / 2.0, at, so_far), np.interp(at - width / 2.0, at, so_far)
        share = (above - below) / width
    middle = at.size // 2
    return np.asarray(share[middle :: round(1.0 / FINE_KHZ)][: last_khz + 1])


def _threes_mw(
    carriers_khz: NDArray[np.int64],
    kind: NDArray[np.int64],
    received_mw: NDArray[np.float64],
    centre_khz: NDArray[np.int64],
    filters: NDArray[np.int64],
    inside: _Inside,
) -> NDArray[np.float64]:
    """4 A B C of all A+B-C in the filters of some receivers (m,) [mW^3], some filters at a time so that memory
    stays small.

    Every pair A, B is taken, with each C that brings the product within reach of the filter.
    """
    first, second = np.triu_indices(carriers_khz.size, k=1)
    order = np.argsort(carriers_khz, kind="stable")
    ascending = carriers_khz[order]
    total = np.zeros(filters.size)
    some = max(1, AT_ONCE // max(1, first.size))
    for start in range(0, filters.size, some):
        part = filters[start : start + some]
        # A + B - V is where C would put the product on the middle of the filter of V.
        aim = (carriers_khz[first] + carriers_khz[second])[None, :] - centre_khz[part][:, None]
        begin = np.searchsorted(ascending, aim - inside.reach_khz)
        count = np.searchsorted(ascending, aim + inside.reach_khz, side="right") - begin
        row, pair = (np.repeat(index.ravel(), count.ravel()) for index in np.indices(aim.shape))
        within = np.arange(row.size) - np.repeat(np.cumsum(count) - count.ravel(), count.ravel())
        c = order[begin[row, pair] + within]
        a, b = first[pair], second[pair]
        share = inside.share(aim[row, pair] - carriers_khz[c], kind[a], kind[b], kind[c])
        share[(a == c) | (b == c)] = 0.0
        level = received_mw[:, part]
        made = share * level[a, row] * level[b, row] * level[c, row]
        total[start : start + some] = 4.0 * np.bincount(row, weights=made, minlength=part.size)
    return total


#: Noise that a signal at the blocking level adds, over the noise: it makes 1 dB of both together.
ADDED_AT_BLOCKING = 10.0**0.1 - 1.0


def strong_faults(
    names: Sequence[str],
    received_mw: NDArray[np.float64],
    blocking_mw: NDArray[np.float64],
    claimed_mw: NDArray[np.float64],
    noise_mw: NDArray[np.float64],
    tuned_to: NDArray[np.int64],
) -> Iterator[str]:
    """Whether what strong carriers off its channel are claimed to raise each receiver's noise by is what they do:
    arrays as for `level_faults`, one receiver and one transmitter after the other."""
    others_mw = received_mw.sum(axis=0) - received_mw[tuned_to, np.arange(tuned_to.size)]
    added_mw = noise_mw * ADDED_AT_BLOCKING * others_mw / blocking_mw
    for v in np.flatnonzero(np.abs(added_mw - claimed_mw) > TOLERANCE * (added_mw + noise_mw)).tolist():
        yield f"{names[v]}: blocking comes to {added_mw[v]:.3e} mW, the plan says {claimed_mw[v]:.3e} mW"


def listener_faults(told_db: Mapping[str, float], each_db: Sequence[tuple[str, float]]) -> Iterator[str]:
    """Whether each link is told by the worst of those who listen to it: what is told of links, by name, to be in
    hand, and of each one who listens, with the name of the link [dB]."""
    for link, in_hand_db in each_db:
        if in_hand_db < told_db[link]:
            yield f"{link} is told to have {told_db[link]:g} dB in hand; one who listens has {in_hand_db:g} dB"
