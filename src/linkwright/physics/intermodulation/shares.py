"""How much of a product falls into a receiver's filter.

A product's spectrum is the spectra of its factors convolved (2A-B has A twice). With every carrier flat over its
width and the filter flat over its own, the share at an offset is a convolution of boxes: a bell as wide as all of
them, of whose power a filter of the same width takes two thirds in its middle, and not the third that a flat
product three times as wide would leave it.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike

from linkwright.units import FloatArray


def filter_share(offset_khz: ArrayLike, widths_khz: Sequence[ArrayLike], filter_khz: ArrayLike) -> FloatArray:
    """Share (0..1) of a product's power inside a receiver's filter.

    `offset_khz` is the product's centre less the filter's; `widths_khz` the width of each factor of the product,
    the doubled carrier's twice, each positive or the number 0 for a bare line. Arrays broadcast.

    Exact: the integral of a convolution of boxes w_i is the sum over all signs s of
    prod(s) (sum(s_i w_i / 2) + s_f f / 2 - |offset|)^m / (m! prod w), positive brackets only, for m factors; for
    equal widths it is the cardinal spline (Schoenberg 1946; the formula by integrating the boxes one by one).
    """
    boxes = [np.asarray(width, dtype=np.float64) for width in widths_khz]
    boxes = [box for box in boxes if box.ndim or float(box)]
    offset, filter_, *boxes = np.broadcast_arrays(
        np.abs(np.asarray(offset_khz, dtype=np.float64)), np.asarray(filter_khz, dtype=np.float64), *boxes
    )
    if not boxes:
        return np.asarray(np.heaviside(filter_ / 2.0 - offset, 0.5))  # on the edge half, as the limit has it
    share = np.zeros(offset.shape)
    reached = offset < (sum(boxes) + filter_) / 2.0
    if reached.any():
        share[reached] = _inside(offset[reached], [box[reached] for box in boxes], filter_[reached])
    return share


def _inside(offset: FloatArray, boxes: Sequence[FloatArray], filter_: FloatArray) -> FloatArray:
    """`filter_share` where it is not nothing; all (m,), offsets not negative."""
    if len(boxes) == 3:
        alike = (boxes[0] == filter_) & (boxes[1] == filter_) & (boxes[2] == filter_)
        u = offset / filter_
        share = np.where(u < 1.0, 2.0 / 3.0 - u * u * (1.0 - u / 2.0), (2.0 - u) ** 3 / 6.0)
        if not alike.all():
            share[~alike] = _by_signs(offset[~alike], [box[~alike] for box in boxes], filter_[~alike])
        return share
    return _by_signs(offset, boxes, filter_)


def _by_signs(offset: FloatArray, boxes: Sequence[FloatArray], filter_: FloatArray) -> FloatArray:
    """The sum over all signs, for boxes of any widths (m,)."""
    halves = [filter_ / 2.0, *(box / 2.0 for box in boxes)]
    total = np.zeros(offset.shape)
    for signs in itertools.product((1.0, -1.0), repeat=len(halves)):
        bracket = sum((s * half for s, half in zip(signs, halves, strict=True)), -offset)
        total += math.prod(signs) * np.maximum(bracket, 0.0) ** len(boxes)
    return np.asarray(np.clip(total / (math.factorial(len(boxes)) * np.prod(boxes, axis=0)), 0.0, 1.0))
