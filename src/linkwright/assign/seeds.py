"""Sets with all differences distinct, from finite fields: the starting points of dense clean sets.

A set of cells whose differences are all distinct has no third-order product on a member. Three families are
known that come near the proven limit; each is a set of residues whose differences are distinct modulo m:
Singer (p+1 residues modulo p^2+p+1), Bose and Chowla (p modulo p^2-1), Ruzsa (p-1 modulo p(p-1)), p prime.
Multiplying by a unit and shifting keeps the property, which leaves room to suit blocked slots and spacing.
Sources: Singer 1938; Bose and Chowla 1962; Ruzsa 1993; collected in Dimitromanolakis 2002.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from linkwright.units import BoolArray, IntArray

#: How many multipliers of each residue set are tried, and how many of the best starts are returned.
MULTIPLIERS = 12
BEST_STARTS = 16


@dataclass(frozen=True, slots=True)
class Residues:
    """Residues with distinct differences modulo `modulus`."""

    modulus: int
    values: tuple[int, ...]


def starts(allowed: BoolArray, spacing: int, room: int) -> Iterator[IntArray]:
    """Promising sets of lattice points, most promising first.

    `allowed` (m,) says which points may be used; two points nearer than `spacing` cannot both be. `room` is how
    many points are wanted at most. Each set is ascending; its near pairs are left in for the caller to thin out.
    """
    span = allowed.size
    for negative, shift, residues in _best(allowed.tobytes(), spacing, room):
        points = (np.array(residues.values) * -negative + shift) % residues.modulus
        points = np.sort(points[points < span])
        yield points[allowed[points]]


@functools.lru_cache(maxsize=64)  # the same site has the same slots day after day
def _best(allowed_bytes: bytes, spacing: int, room: int) -> list[tuple[int, int, Residues]]:
    """The multipliers, less than nothing, the shifts and the residues of the most promising sets."""
    allowed = np.frombuffer(allowed_bytes, dtype=np.bool_)
    span = allowed.size
    best: list[tuple[int, int, int, Residues]] = []
    for residues in _families(span):
        values = np.array(residues.values, dtype=np.int64)
        units = (r for r in range(1, residues.modulus) if math.gcd(r, residues.modulus) == 1)
        for _, multiplier in zip(range(MULTIPLIERS), units, strict=False):
            turned = np.sort(values * multiplier % residues.modulus)
            score = _scores(turned, residues.modulus, allowed, spacing)
            shift = int(np.argmax(score))
            best.append((min(int(score[shift]), room), -multiplier, shift, residues))
    best.sort(key=lambda entry: (-entry[0], -entry[1], entry[2], entry[3].modulus))
    return [(negative, shift, residues) for _, negative, shift, residues in best[:BEST_STARTS]]


def _scores(turned: IntArray, modulus: int, allowed: BoolArray, spacing: int) -> IntArray:
    """For each shift, how many points are allowed less how many allowed pairs are too near; shape (modulus,)."""
    ring = np.zeros(modulus, dtype=np.int64)
    ring[: min(modulus, allowed.size)] = allowed[:modulus]
    twice = np.concatenate([ring, ring])
    score = np.zeros(modulus, dtype=np.int64)
    for value in turned:
        score += twice[value : value + modulus]
    for step in range(1, min(turned.size, spacing + 1)):
        gap = (np.roll(turned, -step) - turned) % modulus
        near = np.flatnonzero(gap < spacing)
        if near.size == 0:
            break
        for first in near:
            second = (first + step) % turned.size
            a, b = int(turned[first]), int(turned[second])
            score -= twice[a : a + modulus] * twice[b : b + modulus]
    return score


def _families(span: int) -> Iterator[Residues]:
    """Residue sets whose modulus lies about the span, where a window of it holds the most points."""
    for family in (_ruzsa, _bose_chowla, _singer):
        primes = [p for p in _primes_about(math.isqrt(span)) if p > 2]
        for p in primes:
            residues = family(p)
            if residues is not None and 0.6 * span <= residues.modulus <= 2.2 * span:
                yield residues


def _primes_about(root: int) -> list[int]:
    low, high = max(3, int(0.75 * root) - 1), int(1.5 * root) + 3
    return [n for n in range(low, high + 1) if all(n % d for d in range(2, math.isqrt(n) + 1))]


@functools.cache
def _ruzsa(p: int) -> Residues:
    """p-1 residues modulo p(p-1): R = p i + (p-1) g^i for a primitive root g of p."""
    root = _primitive_root(p)
    modulus = p * (p - 1)
    values = {(p * i + (p - 1) * pow(root, i, p)) % modulus for i in range(1, p)}
    return Residues(modulus, tuple(sorted(values)))


@functools.cache
def _bose_chowla(p: int) -> Residues | None:
    """p residues modulo p^2-1: the logarithms, to the base theta, of theta + u for u in the prime field."""
    for c in range(1, p):
        for d in range(1, p):
            logs, u, v, full = [], 1, 0, True
            for a in range(1, p * p - 1):
                u, v = v * d % p, (u + v * c) % p  # times theta, with theta^2 = c theta + d
                if v == 1:
                    logs.append(a)
                if v == 0 and u == 1:
                    full = False
                    break
            if full and len(logs) == p:
                return Residues(p * p - 1, tuple(logs))
    return None


@functools.cache
def _singer(p: int) -> Residues | None:
    """p+1 residues modulo p^2+p+1: the powers of theta that lie in a plane of the field of p^3."""
    modulus = p * p + p + 1
    for c in range(p):
        for d in range(1, p):
            logs, (x, y, z) = [0], (1, 0, 0)
            for a in range(1, modulus):
                x, y, z = z * d % p, (x + z * c) % p, y  # times theta, with theta^3 = c theta + d
                if z == 0:
                    logs.append(a)
                    if y == 0 or len(logs) > p + 1:
                        logs.clear()
                        break
            if len(logs) == p + 1:
                return Residues(modulus, tuple(logs))
    return None


def _primitive_root(p: int) -> int:
    factors = [q for q in range(2, p) if (p - 1) % q == 0]
    return next(g for g in range(1, p) if all(pow(g, (p - 1) // q, p) != 1 for q in factors))
