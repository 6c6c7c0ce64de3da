"""Levels of products by intercept, and when a product cannot matter."""

from __future__ import annotations

import math
from fractions import Fraction
from typing import Final

from linkwright.physics.intermodulation.kinds import ProductKind, two_carrier_kind

#: What a three-carrier product has over a two-carrier one [dB]: its coefficient is 6/4 against 3/4 of a3.
THREE_OVER_TWO_DB: Final = 20.0 * math.log10(2.0)
#: A product this far below the noise raises it by 0.97 dB; and as much again is kept in hand [dB].
BELOW_NOISE_DB: Final = 6.0


def two_carrier_dbm(a_dbm: float, b_dbm: float, iip3_dbm: float) -> float:
    """Level [dBm] of 2A-B referred to the input: 2 A + B - 2 IIP3; the form of ITU-R SM.1134."""
    return 2.0 * a_dbm + b_dbm - 2.0 * iip3_dbm


def three_carrier_dbm(a_dbm: float, b_dbm: float, c_dbm: float, iip3_dbm: float) -> float:
    """Level [dBm] of A+B-C referred to the input: A + B + C - 2 IIP3 + 6.02 dB; power-series identity."""
    return a_dbm + b_dbm + c_dbm - 2.0 * iip3_dbm + THREE_OVER_TWO_DB


def relative_gain(kind: ProductKind) -> Fraction:
    """How much stronger a kind is than its order's two-carrier kind, the weakest, at the same carrier levels."""
    return Fraction(kind.multiplicity, two_carrier_kind(kind.order).multiplicity) ** 2


def gain(kind: ProductKind, intercept_dbm: float) -> float:
    """What the product of the carriers' powers [mW^n], each to |c|, is multiplied with to give the product's [mW].

    `intercept_dbm` is the input intercept point of the kind's order: where the two-carrier kind ((n+1)/2 A -
    (n-1)/2 B) of two equal carriers would be as strong as they are, so gain = IIPn^(1-n) (M / M of two)^2.
    """
    return float(10.0 ** (intercept_dbm * (1 - kind.order) / 10.0) * relative_gain(kind))


def cannot_matter_dbm(noise_dbm: float, iip3_dbm: float, products: int) -> float:
    """P1 + P2 + P3 [dBm, a sum of three levels] below which `products` third-order products together cannot matter.

    N - 6 + 2 IIP3 - 6 - 10 log10 k: were all k as strong as the strongest kind (+6 dB) can be, their sum would
    still lie 6 dB below the noise. For 2A-B the sum is 2 A + B. Power-series identity, as `three_carrier_dbm`.
    Raises ValueError for no product.
    """
    if products < 1:
        raise ValueError(f"a bound on {products} products bounds nothing")
    return noise_dbm - BELOW_NOISE_DB + 2.0 * iip3_dbm - THREE_OVER_TWO_DB - 10.0 * math.log10(products)
