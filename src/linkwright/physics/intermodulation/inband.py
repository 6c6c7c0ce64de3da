"""Third-order products in one receiver's filter, each with its makers: as arrays, for few carriers."""

from __future__ import annotations

import functools
import itertools

import numpy as np

from linkwright.physics.intermodulation.shares import filter_share
from linkwright.units import FloatArray, IntArray

#: What was found: the sum of all products [mW], who makes the strong ones (m, 3), and their powers (m,) [mW].
Found = tuple[float, IntArray, FloatArray]


def all_products(
    carriers_khz: IntArray,
    widths_khz: FloatArray,
    levels_mw: FloatArray,
    centre_khz: int,
    filter_khz: float,
    iip3_mw: float,
    least_mw: float,
) -> Found:
    """Every product as an entry of an array: for few carriers, and to test the compiled loops against."""
    return EveryProduct(carriers_khz, widths_khz).in_filter(levels_mw, centre_khz, filter_khz, iip3_mw, least_mw)


class EveryProduct:
    """All products of carriers (n,) [kHz] of widths (n,) [kHz] as arrays, laid out once for as many filters as are
    asked for."""

    def __init__(self, carriers_khz: IntArray, widths_khz: FloatArray) -> None:
        self.factors, self.times, self.who = _makers(carriers_khz.size)
        a, b, c = self.factors
        self.product_khz = carriers_khz[a] + carriers_khz[b] - carriers_khz[c]
        self.widths_khz = widths_khz[a], widths_khz[b], widths_khz[c]
        self.wide_khz = sum(self.widths_khz, np.zeros(a.size))

    def in_filter(
        self, levels_mw: FloatArray, centre_khz: int, filter_khz: float, iip3_mw: float, least_mw: float
    ) -> Found:
        """Those in one receiver's filter, at levels (n,) [mW] at its input."""
        columns = (np.array([value], dtype=np.float64) for value in (centre_khz, filter_khz, iip3_mw, least_mw))
        return self.in_filters(levels_mw[:, None], *columns)[0]

    def in_filters(
        self,
        levels_mw: FloatArray,
        centres_khz: FloatArray | IntArray,
        filters_khz: FloatArray,
        iip3_mw: FloatArray,
        least_mw: FloatArray,
    ) -> list[Found]:
        """Those in each of some receivers' filters (r,), at levels (n, r) [mW] at their inputs."""
        off = self.product_khz - centres_khz[:, None]
        row, near = np.nonzero(np.abs(off) < (self.wide_khz + filters_khz[:, None]) / 2.0)
        a, b, c = (levels_mw[factor[near], row] for factor in self.factors)
        power = self.times[near] * a * b * c / (iip3_mw * iip3_mw)[row]
        share = filter_share(off[row, near], [width[near] for width in self.widths_khz], filters_khz[row])
        inside = power * share
        strong = inside >= np.maximum(least_mw, np.finfo(np.float64).tiny)[row]
        edges = np.searchsorted(row, np.arange(centres_khz.size + 1))
        return [
            (float(inside[i:j].sum()), self.who[near[i:j][strong[i:j]]], inside[i:j][strong[i:j]])
            for i, j in itertools.pairwise(edges.tolist())
        ]


@functools.lru_cache(maxsize=32)
def _makers(count: int) -> tuple[tuple[IntArray, IntArray, IntArray], FloatArray, IntArray]:
    """The factors A, B and C of every product of so many carriers, 2A-B first with A for its second; how many times
    it counts; and whose each is (m, 3), as `Found` has it."""
    a2, b2 = np.nonzero(~np.eye(count, dtype=np.bool_))
    a3, b3, c3 = (index.ravel() for index in np.indices((count, count, count)))
    distinct = (a3 < b3) & (c3 != a3) & (c3 != b3)
    a3, b3, c3 = a3[distinct], b3[distinct], c3[distinct]
    who = np.concatenate([np.stack([a2, b2, np.full(a2.size, -1)]), np.stack([a3, b3, c3])], axis=1).T
    factors = np.concatenate([a2, a3]), np.concatenate([a2, b3]), np.concatenate([b2, c3])
    return factors, np.repeat([1.0, 4.0], [a2.size, a3.size]), np.ascontiguousarray(who, dtype=np.int64)


def strongest_first(products: Found) -> Found:
    """The same, strongest first; of equally strong ones 2A-B before A+B-C, then in the order of A, B and C."""
    total_mw, who, power_mw = products
    order = np.lexsort((who[:, 2], who[:, 1], who[:, 0], who[:, 2] >= 0, -power_mw))
    return total_mw, who[order], power_mw[order]
