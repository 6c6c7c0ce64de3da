"""Products of pairwise distinct carriers: where they fall, how many, and how strong.

`maps` counts and weighs them over a band, `tally` does so while carriers come and go, `bandwidth` spreads them over
their widths into receivers' filters; `products_in_band` names those in one filter. A+B-C and B+A-C are one product.
Nothing here loads compiled code until a problem is large enough to be worth it. See docs/intermodulation.md.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from linkwright.physics.intermodulation.bandwidth import power_in_filters_mw, spread
from linkwright.physics.intermodulation.enumeration import hits_on, three_carrier_products, two_carrier_products
from linkwright.physics.intermodulation.inband import EveryProduct, all_products, strongest_first
from linkwright.physics.intermodulation.kinds import KINDS, ProductKind
from linkwright.physics.intermodulation.layers import TooCoarse
from linkwright.physics.intermodulation.levels import (
    THREE_OVER_TWO_DB,
    cannot_matter_dbm,
    gain,
    three_carrier_dbm,
    two_carrier_dbm,
)
from linkwright.physics.intermodulation.maps import (
    counts_by_kind,
    lattice_cells,
    powers_by_kind_mw,
    powers_by_widths_mw,
    product_counts,
    product_powers_mw,
)
from linkwright.physics.intermodulation.shares import filter_share
from linkwright.physics.intermodulation.tally import Tally
from linkwright.units import FloatArray, IntArray

#: Up to this many carriers the products in a filter are arrays; beyond it compiled loops are worth their loading.
FEW_CARRIERS = 32


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

    carriers_khz, widths_khz, levels_mw : (n,), the carriers at its input, their occupied widths and levels.
    Returns the sum of all products in the filter [mW], and those of at least `least_mw`, strongest first: who
    makes them (m, 3), as indices of A, B and C with C = -1 for 2A-B, and their powers (m,) [mW]. Beyond
    FEW_CARRIERS the sum may lack products that are together weaker than `least_mw` / 1000.
    """
    iip3_mw = 10.0 ** (iip3_dbm / 10.0)
    if carriers_khz.size > FEW_CARRIERS:
        from linkwright.physics.intermodulation.compiled_inband import strong_products as products
    else:
        products = all_products
    return strongest_first(products(carriers_khz, widths_khz, levels_mw, centre_khz, filter_khz, iip3_mw, least_mw))


def products_in_bands(
    carriers_khz: IntArray,
    widths_khz: FloatArray,
    levels_mw: FloatArray,
    centres_khz: IntArray,
    filters_khz: FloatArray,
    iip3_dbm: Sequence[float],
    least_mw: FloatArray,
) -> list[tuple[float, IntArray, FloatArray]]:
    """`products_in_band` for several receivers (r,) at once, levels (n, r) [mW]; few carriers are laid out once."""
    if carriers_khz.size > FEW_CARRIERS:
        return [
            products_in_band(
                carriers_khz, widths_khz, levels_mw[:, r], int(centre), float(width), dbm, float(least)
            )
            for r, (centre, width, dbm, least) in enumerate(
                zip(centres_khz, filters_khz, iip3_dbm, least_mw, strict=True)
            )
        ]
    iip3_mw = np.array([10.0 ** (dbm / 10.0) for dbm in iip3_dbm])
    every = EveryProduct(carriers_khz, widths_khz)
    return [
        strongest_first(in_filter)
        for in_filter in every.in_filters(levels_mw, centres_khz, filters_khz, iip3_mw, least_mw)
    ]


__all__ = [
    "FEW_CARRIERS",
    "KINDS",
    "THREE_OVER_TWO_DB",
    "ProductKind",
    "Tally",
    "TooCoarse",
    "cannot_matter_dbm",
    "counts_by_kind",
    "filter_share",
    "gain",
    "hits_on",
    "lattice_cells",
    "power_in_filters_mw",
    "powers_by_kind_mw",
    "powers_by_widths_mw",
    "product_counts",
    "product_powers_mw",
    "products_in_band",
    "products_in_bands",
    "spread",
    "three_carrier_dbm",
    "three_carrier_products",
    "two_carrier_dbm",
    "two_carrier_products",
]
