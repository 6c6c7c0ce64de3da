"""The compiled loop over what many others bring on many slots."""

from __future__ import annotations

import numpy as np

from linkwright.physics.compiled import kernel
from linkwright.units import BoolArray, FloatArray, IntArray


# wide: compiled code takes arrays and numbers
@kernel
def over_slots(
    slots_khz: IntArray,
    bandwidth_khz: float,
    carriers_khz: IntArray,
    widths_khz: FloatArray,
    heard_mw: FloatArray,
    live: BoolArray,
    sent_mw: float,
    may_hear_mw: FloatArray,
    power_mw: FloatArray,
    disturbs: BoolArray,
) -> None:
    """What those of others (f,) who are live bring on slots (m,) ascending, added to `power_mw` (m,) [mW]; and in
    `disturbs` (m,) where `sent_mw` would be more in their filters than they may hear."""
    half = bandwidth_khz / 2.0
    for f in range(carriers_khz.size):
        if not live[f]:
            continue
        low, high = carriers_khz[f] - widths_khz[f] / 2.0, carriers_khz[f] + widths_khz[f] / 2.0
        for m in range(np.searchsorted(slots_khz, low - half), slots_khz.size):
            inside = min(slots_khz[m] + half, high) - max(slots_khz[m] - half, low)
            if inside < 0.0:
                break
            share = inside / (high - low)
            power_mw[m] += heard_mw[f] * share
            if sent_mw * share > may_hear_mw[f]:
                disturbs[m] = True
