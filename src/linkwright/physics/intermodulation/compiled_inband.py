"""The products in a receiver's filter as compiled loops, for many carriers. Importing this loads numba."""

from __future__ import annotations

import numpy as np

from linkwright.physics.compiled import kernel
from linkwright.physics.intermodulation.inband import Found
from linkwright.units import FloatArray, IntArray

#: Room for the products that are told one by one, at first.
ROOM = 4096


def strong_products(
    carriers_khz: IntArray,
    widths_khz: FloatArray,
    levels_mw: FloatArray,
    centre_khz: int,
    filter_khz: float,
    iip3_mw: float,
    least_mw: float,
) -> Found:
    """As `inband.all_products`, less what the pairs passed over could have added: together below least_mw / 1000.

    Every pair A, B needs only those C whose product reaches into the filter: they lie side by side in frequency.
    Pairs come in the order of their level, and once the strongest third carrier cannot make a pair matter none
    after it does: the bound of `levels.cannot_matter_dbm`, taken far enough down not to show.
    """
    by_level, by_frequency = np.argsort(-levels_mw, kind="stable"), np.argsort(carriers_khz, kind="stable")
    room = ROOM
    while True:
        who, power_mw = np.zeros((room, 3), dtype=np.int64), np.zeros(room)
        total_mw, found = _enumerate(
            carriers_khz, widths_khz, levels_mw, by_level, by_frequency, carriers_khz[by_frequency],
            centre_khz, filter_khz, iip3_mw, least_mw, who, power_mw,
        )  # fmt: skip
        if found <= room:
            return total_mw, who[:found], power_mw[:found]
        room = found


@kernel
def _inside_khz(offset_khz: float, width_khz: float, filter_khz: float) -> float:
    """How much of a product lies in the filter [kHz]; below nothing where it lies outside."""
    half = filter_khz / 2.0
    return min(half, offset_khz + width_khz / 2.0) - max(-half, offset_khz - width_khz / 2.0)


@kernel
def _keep(
    who: IntArray, power_mw: FloatArray, found: int, a: int, b: int, c: int, power: float, least_mw: float
) -> int:
    """Write down a product that is strong enough, as long as there is room; how many there were so far."""
    if power < least_mw or power <= 0.0:
        return found
    if found < power_mw.size:
        who[found, 0], who[found, 1], who[found, 2] = a, b, c
        power_mw[found] = power
    return found + 1


@kernel
def _enumerate(
    carriers_khz: IntArray,
    widths_khz: FloatArray,
    levels_mw: FloatArray,
    by_level: IntArray,
    by_frequency: IntArray,
    ascending_khz: IntArray,
    centre_khz: int,
    filter_khz: float,
    iip3_mw: float,
    least_mw: float,
    who: IntArray,
    power_mw: FloatArray,
) -> tuple[float, int]:
    """All pairs, strongest first, each with the third carriers that matter. Writes to who and power_mw."""
    n = carriers_khz.size
    if n < 2:
        return 0.0, 0
    gain = 1.0 / (iip3_mw * iip3_mw)
    strongest, widest = levels_mw[by_level[0]], widths_khz.max()
    ignore = least_mw * 1e-3 / (2.0 * n * n * n)
    total, found = 0.0, 0
    for i in range(n):
        for j in range(i + 1, n):
            both = gain * levels_mw[by_level[i]] * levels_mw[by_level[j]]
            if both * 4.0 * strongest < ignore:
                break
            a, b = min(by_level[i], by_level[j]), max(by_level[i], by_level[j])
            for twice, once in ((a, b), (b, a)):
                width = 2.0 * widths_khz[twice] + widths_khz[once]
                offset = float(abs(2 * carriers_khz[twice] - carriers_khz[once] - centre_khz))
                inside = _inside_khz(offset, width, filter_khz)
                if inside > 0.0:
                    power = both * levels_mw[twice] * (inside / width)
                    total += power
                    found = _keep(who, power_mw, found, twice, once, -1, power, least_mw)
            # A+B-C is in the filter only for C within `far` of A+B-centre.
            pair, pair_khz = carriers_khz[a] + carriers_khz[b] - centre_khz, widths_khz[a] + widths_khz[b]
            far = (filter_khz + pair_khz + widest) / 2.0
            for k in range(np.searchsorted(ascending_khz, pair - far), n):
                if ascending_khz[k] > pair + far:
                    break
                c = by_frequency[k]
                inside = _inside_khz(float(abs(pair - ascending_khz[k])), pair_khz + widths_khz[c], filter_khz)
                if inside > 0.0 and c != a and c != b:
                    power = 4.0 * both * levels_mw[c] * (inside / (pair_khz + widths_khz[c]))
                    total += power
                    found = _keep(who, power_mw, found, a, b, c, power, least_mw)
    return total, found
