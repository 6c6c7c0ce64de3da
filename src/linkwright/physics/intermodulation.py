"""Third-order products of pairwise distinct carriers: where they fall, how many, and how strong.

2A-B and A+B-C, with A, B, C distinct; A+B-C and B+A-C are one product. Frequencies are whole kHz.
"""

from __future__ import annotations

import math

import numpy as np

from linkwright.units import FloatArray, IntArray

#: Up to this many carriers the products are arrays; beyond it compiled loops are worth their loading.
FEW_CARRIERS = 32

#: What a three-carrier product has over a two-carrier one [dB]: its coefficient is 6/4 against 3/4 of a3.
THREE_OVER_TWO_DB = 20.0 * math.log10(2.0)


def two_carrier_products(carriers_khz: IntArray) -> IntArray:
    """All 2A-B of N distinct carriers [kHz], shape (N(N-1),), ordered by A then B."""
    f = np.asarray(carriers_khz, dtype=np.int64)
    products = 2 * f[:, None] - f[None, :]
    return np.asarray(products[~np.eye(f.size, dtype=np.bool_)])


def three_carrier_products(carriers_khz: IntArray) -> IntArray:
    """All A+B-C of N distinct carriers [kHz], shape (N(N-1)(N-2)/2,)."""
    f = np.asarray(carriers_khz, dtype=np.int64)
    first, second = np.triu_indices(f.size, k=1)
    pairs = f[first] + f[second]
    products = pairs[:, None] - f[None, :]
    others = np.arange(f.size)
    distinct = (others[None, :] != first[:, None]) & (others[None, :] != second[:, None])
    return np.asarray(products[distinct])


def hits_on(victim_khz: int, carriers_khz: IntArray) -> tuple[int, int]:
    """How many 2A-B and A+B-C of the carriers, the victim among them, fall exactly on the victim.

    The victim takes part only as the C of A+B-C (A and B symmetrical about it): every other product that it
    takes part in lands on it only where two of the three coincide.
    """
    two = int(np.count_nonzero(two_carrier_products(carriers_khz) == victim_khz))
    three = int(np.count_nonzero(three_carrier_products(carriers_khz) == victim_khz))
    return two, three


def two_carrier_dbm(a_dbm: float, b_dbm: float, iip3_dbm: float) -> float:
    """Level [dBm] of 2A-B referred to the input: 2 A + B - 2 IIP3; the form of ITU-R SM.1134."""
    return 2.0 * a_dbm + b_dbm - 2.0 * iip3_dbm


def three_carrier_dbm(a_dbm: float, b_dbm: float, c_dbm: float, iip3_dbm: float) -> float:
    """Level [dBm] of A+B-C referred to the input: A + B + C - 2 IIP3 + 6.02 dB; power-series identity."""
    return a_dbm + b_dbm + c_dbm - 2.0 * iip3_dbm + THREE_OVER_TWO_DB


def band_share(offset_khz: FloatArray, product_khz: FloatArray, filter_khz: float) -> FloatArray:
    """Share of a product's power inside a receiver's filter, both taken as flat.

    `offset_khz` is the product's centre less the filter's, `product_khz` its width: the sum of the widths of
    the carriers that make it, the doubled one twice (2A-B of width b is 3b wide).
    """
    offset = np.asarray(offset_khz, dtype=np.float64)
    width = np.asarray(product_khz, dtype=np.float64)
    low = np.maximum(offset - width / 2.0, -filter_khz / 2.0)
    high = np.minimum(offset + width / 2.0, filter_khz / 2.0)
    return np.asarray(np.maximum(high - low, 0.0) / width)


def products_in_band(
    carriers_khz: IntArray,
    widths_khz: FloatArray,
    levels_mw: FloatArray,
    centre_khz: int,
    filter_khz: float,
    iip3_dbm: float,
    least_mw: float,
) -> tuple[float, IntArray, FloatArray]:
    """Third-order products of a receiver's own making inside its filter, by enumeration.

    carriers_khz, widths_khz, levels_mw: (n,), the carriers at its input, their occupied widths and levels.
    Returns the sum of all products in the filter [mW], and those of at least `least_mw`, strongest first: who
    makes them (m, 3), as indices of A, B and C with C = -1 for 2A-B, and their powers (m,) [mW].
    """
    iip3_mw = 10.0 ** (iip3_dbm / 10.0)
    if carriers_khz.size > FEW_CARRIERS:
        from linkwright.physics.intermodulation_kernels import strong_products

        total_mw, who, power_mw = strong_products(
            carriers_khz, widths_khz, levels_mw, centre_khz, filter_khz, iip3_mw, least_mw
        )
    else:
        total_mw, who, power_mw = _all_products(
            carriers_khz, widths_khz, levels_mw, centre_khz, filter_khz, iip3_mw, least_mw
        )
    order = np.argsort(-power_mw, kind="stable")
    return total_mw, who[order], power_mw[order]


def _all_products(
    carriers_khz: IntArray,
    widths_khz: FloatArray,
    levels_mw: FloatArray,
    centre_khz: int,
    filter_khz: float,
    iip3_mw: float,
    least_mw: float,
) -> tuple[float, IntArray, FloatArray]:
    """Every product as an entry of an array: for few carriers, and to test the compiled loops against."""
    n = carriers_khz.size
    a2, b2 = np.nonzero(~np.eye(n, dtype=np.bool_))
    a3, b3, c3 = (index.ravel() for index in np.indices((n, n, n)))
    distinct = (a3 < b3) & (c3 != a3) & (c3 != b3)
    a3, b3, c3 = a3[distinct], b3[distinct], c3[distinct]
    who = np.concatenate([np.stack([a2, b2, np.full(a2.size, -1)]), np.stack([a3, b3, c3])], axis=1).T
    f, w, p = carriers_khz, widths_khz, levels_mw
    product = np.concatenate([2 * f[a2] - f[b2], f[a3] + f[b3] - f[c3]])
    width = np.concatenate([2.0 * w[a2] + w[b2], w[a3] + w[b3] + w[c3]])
    power = np.concatenate([p[a2] * p[a2] * p[b2], 4.0 * p[a3] * p[b3] * p[c3]]) / (iip3_mw * iip3_mw)
    inside = power * band_share((product - centre_khz).astype(np.float64), width, filter_khz)
    strong = inside >= max(least_mw, np.finfo(np.float64).tiny)
    return float(inside.sum()), np.asarray(who[strong], dtype=np.int64), inside[strong]
