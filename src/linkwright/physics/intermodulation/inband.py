"""Third-order products in one receiver's filter, each with its makers: as arrays, for few carriers."""

from __future__ import annotations

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
    n = carriers_khz.size
    a2, b2 = np.nonzero(~np.eye(n, dtype=np.bool_))
    a3, b3, c3 = (index.ravel() for index in np.indices((n, n, n)))
    distinct = (a3 < b3) & (c3 != a3) & (c3 != b3)
    a3, b3, c3 = a3[distinct], b3[distinct], c3[distinct]
    who = np.concatenate([np.stack([a2, b2, np.full(a2.size, -1)]), np.stack([a3, b3, c3])], axis=1).T
    f, w, p = carriers_khz, widths_khz, levels_mw
    product = np.concatenate([2 * f[a2] - f[b2], f[a3] + f[b3] - f[c3]])
    factors = [np.concatenate([w[two], w[three]]) for two, three in ((a2, a3), (a2, b3), (b2, c3))]
    power = np.concatenate([p[a2] * p[a2] * p[b2], 4.0 * p[a3] * p[b3] * p[c3]]) / (iip3_mw * iip3_mw)
    inside = power * filter_share(product - centre_khz, factors, filter_khz)
    strong = inside >= max(least_mw, np.finfo(np.float64).tiny)
    return float(inside.sum()), np.asarray(who[strong], dtype=np.int64), inside[strong]


def strongest_first(found: Found) -> Found:
    """The same, strongest first; of equally strong ones 2A-B before A+B-C, then in the order of A, B and C."""
    total_mw, who, power_mw = found
    order = np.lexsort((who[:, 2], who[:, 1], who[:, 0], who[:, 2] >= 0, -power_mw))
    return total_mw, who[order], power_mw[order]
