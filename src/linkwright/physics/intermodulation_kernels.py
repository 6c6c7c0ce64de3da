"""The enumeration of `intermodulation.products_in_band` as compiled loops, for many carriers."""

from __future__ import annotations

import numpy as np

from linkwright.physics.compiled import kernel
from linkwright.units import FloatArray, IntArray

#: Room for the products of one receiver that are told one by one.
MOST_PRODUCTS = 4096


def strong_products(
    carriers_khz: IntArray,
    widths_khz: FloatArray,
    levels_mw: FloatArray,
    centre_khz: int,
    filter_khz: float,
    iip3_mw: float,
    least_mw: float,
) -> tuple[float, IntArray, FloatArray]:
    """The sum of all products in the filter [mW], and those of at least `least_mw`: who (m, 3), powers (m,)."""
    who, power_mw = np.zeros((MOST_PRODUCTS, 3), dtype=np.int64), np.zeros(MOST_PRODUCTS)
    total_mw, found = _enumerate(
        carriers_khz, widths_khz, levels_mw, centre_khz, filter_khz, iip3_mw, least_mw, who, power_mw
    )
    return total_mw, who[:found], power_mw[:found]


@kernel
def _enumerate(
    carriers_khz: IntArray,
    widths_khz: FloatArray,
    levels_mw: FloatArray,
    centre_khz: int,
    filter_khz: float,
    iip3_mw: float,
    least_mw: float,
    who: IntArray,
    power_mw: FloatArray,
) -> tuple[float, int]:
    """All products by three loops; pairs too weak to matter are passed over. Writes to who and power_mw."""
    n = carriers_khz.size
    gain = 1.0 / (iip3_mw * iip3_mw)
    strongest = levels_mw.max() if n else 0.0
    ignore = least_mw * 1e-3 / max(n * n * n, 1)
    total, found = 0.0, 0
    for a in range(n):
        for b in range(n):
            both = gain * levels_mw[a] * levels_mw[b]
            if both * 4.0 * strongest < ignore:
                continue
            for c in range(-1, n):
                # c == -1 is 2A-B; A+B-C counts once for the pair A < B
                if a == b or (c >= 0 and (b < a or c in (a, b))):
                    continue
                if c < 0:
                    product = 2 * carriers_khz[a] - carriers_khz[b]
                    width = 2.0 * widths_khz[a] + widths_khz[b]
                    power = both * levels_mw[a]
                else:
                    product = carriers_khz[a] + carriers_khz[b] - carriers_khz[c]
                    width = widths_khz[a] + widths_khz[b] + widths_khz[c]
                    power = 4.0 * both * levels_mw[c]
                offset = float(abs(product - centre_khz))
                inside = min(filter_khz / 2.0, offset + width / 2.0) - max(-filter_khz / 2.0, offset - width / 2.0)
                if inside <= 0.0:
                    continue
                power *= inside / width
                total += power
                if power >= least_mw and found < power_mw.size:
                    who[found, 0], who[found, 1], who[found, 2] = a, b, c
                    power_mw[found] = power
                    found += 1
    return total, found
