"""Columns of a picture: what many narrow bins amount to in each."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from linkwright.units import FloatArray


def per_column(
    left_khz: FloatArray,
    right_khz: FloatArray,
    edges_khz: FloatArray,
    traces: Sequence[tuple[FloatArray, np.ufunc]],
) -> tuple[np.ndarray, FloatArray]:
    """Which columns any bin touches (columns,), and each trace gathered into them (traces, columns).

    `left_khz` and `right_khz` (bins,), rising, bound the bins, `edges_khz` (columns + 1,) the columns; a trace is
    (bins,) with np.minimum or np.maximum. What stands in columns that nothing touches means nothing.
    """
    first = np.searchsorted(right_khz, edges_khz[:-1], side="right")
    last = np.searchsorted(left_khz, edges_khz[1:], side="left")
    looked = last > first
    pairs = np.stack([first, np.maximum(last, first + 1)], axis=1).ravel()
    return looked, np.stack([of.reduceat(np.append(trace, [0.0, 0.0]), pairs)[::2] for trace, of in traces])
