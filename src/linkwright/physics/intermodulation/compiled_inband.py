"""Third-order products in receivers' filters as compiled loops, for many carriers. Importing this loads numba.

The loops stand in one module because compiled code is kept by the text of its own module alone.
"""

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
        total_mw, count = _enumerate(
            carriers_khz, widths_khz, levels_mw, by_level, by_frequency, carriers_khz[by_frequency],
            centre_khz, filter_khz, iip3_mw, least_mw, who, power_mw,
        )  # fmt: skip
        if count <= room:
            return total_mw, who[:count], power_mw[:count]
        room = count


@kernel
def _cubes(way: float, aside: float) -> float:
    """Third powers of what is left over nothing on both sides of a way."""
    up, down = max(way + aside, 0.0), max(way - aside, 0.0)
    return up * up * up + down * down * down


@kernel
def _share(offset_khz: float, a_khz: float, b_khz: float, c_khz: float, filter_khz: float) -> float:
    """`shares.filter_share` of one product with three factors."""
    if offset_khz >= (a_khz + b_khz + c_khz + filter_khz) / 2.0:
        return 0.0
    if a_khz == filter_khz and b_khz == filter_khz and c_khz == filter_khz:
        u = offset_khz / filter_khz
        if u < 1.0:
            return 2.0 / 3.0 - u * u * (1.0 - u / 2.0)
        return (2.0 - u) ** 3 / 6.0
    # The signs of two widths at a time: the halves of their sum and difference, each towards both sides.
    both, apart = (a_khz + b_khz) / 2.0, (a_khz - b_khz) / 2.0
    beside, off = (c_khz + filter_khz) / 2.0, (c_khz - filter_khz) / 2.0
    total = 0.0
    for way in (-offset_khz - both, -offset_khz + both):
        total += _cubes(way, beside) - _cubes(way, off)
    for way in (-offset_khz - apart, -offset_khz + apart):
        total -= _cubes(way, beside) - _cubes(way, off)
    return min(max(total / (6.0 * a_khz * b_khz * c_khz), 0.0), 1.0)


# wide: compiled code takes arrays and numbers
@kernel
def _keep(
    who: IntArray, power_mw: FloatArray, count: int, a: int, b: int, c: int, power: float, least_mw: float
) -> int:
    """Write down a product that is strong enough, as long as there is room; how many there were so far."""
    if power < least_mw or power <= 0.0:
        return count
    if count < power_mw.size:
        who[count, 0], who[count, 1], who[count, 2] = a, b, c
        power_mw[count] = power
    return count + 1


# long and wide: one loop that stays in compiled code, which takes arrays and numbers
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
    total, count = 0.0, 0
    for i in range(n):
        for j in range(i + 1, n):
            both = gain * levels_mw[by_level[i]] * levels_mw[by_level[j]]
            if both * 4.0 * strongest < ignore:
                break
            a, b = min(by_level[i], by_level[j]), max(by_level[i], by_level[j])
            for twice, once in ((a, b), (b, a)):
                offset = float(abs(2 * carriers_khz[twice] - carriers_khz[once] - centre_khz))
                share = _share(offset, widths_khz[twice], widths_khz[twice], widths_khz[once], filter_khz)
                if share > 0.0:
                    power = both * levels_mw[twice] * share
                    total += power
                    count = _keep(who, power_mw, count, twice, once, -1, power, least_mw)
            # A+B-C is in the filter only for C within `far` of A+B-centre.
            pair = carriers_khz[a] + carriers_khz[b] - centre_khz
            far = (filter_khz + widths_khz[a] + widths_khz[b] + widest) / 2.0
            for k in range(np.searchsorted(ascending_khz, pair - far), n):
                if ascending_khz[k] > pair + far:
                    break
                c = by_frequency[k]
                offset = float(abs(pair - ascending_khz[k]))
                share = _share(offset, widths_khz[a], widths_khz[b], widths_khz[c], filter_khz)
                if share > 0.0 and c != a and c != b:
                    power = 4.0 * both * levels_mw[c] * share
                    total += power
                    count = _keep(who, power_mw, count, a, b, c, power, least_mw)
    return total, count


# long: both kinds of product go through the same filters, and the ranges that they look in move together
@kernel
def list_filters(
    order: IntArray,
    f: IntArray,
    width: FloatArray,
    centre: IntArray,
    channel: FloatArray,
    who: IntArray,
    share: FloatArray,
) -> int:
    """Which products are in receivers' filters, and how many; as many as there is room for are written.

    order (n,) whose carriers f (n,), which ascend, and widths are; centre and channel (r,) of the filters [kHz];
    who (h, 4) takes the filter, and whose a, b and c of A+B-C (a, b and -1 of 2A-B) are, share (h,) what of it the
    filter lets in.
    """
    n = f.size
    widest = width.max() if n else 0.0
    found = 0
    for v in range(centre.size):
        reach = np.int64((3.0 * widest + channel[v]) / 2.0) + 1
        # As a and b rise so do the first C in reach of A+B-V and the first B in reach of 2A-V: neither is sought.
        first_b, first_c = 0, 0
        for a in range(n):
            low = 2 * f[a] - centre[v] - reach
            while first_b < n and f[first_b] < low:
                first_b += 1
            b = first_b
            while b < n and f[b] <= low + 2 * reach:
                if b != a:
                    offset = abs(float(2 * f[a] - f[b] - centre[v]))
                    inside = _share(offset, width[a], width[a], width[b], channel[v])
                    found = _list(who, share, found, v, order[a], order[b], -1, inside)
                b += 1
            begin = first_c
            for b in range(a + 1, n):
                pair = f[a] + f[b]
                low = pair - centre[v] - reach
                while begin < n and f[begin] < low:
                    begin += 1
                if b == a + 1:
                    first_c = begin
                c = begin
                while c < n and f[c] <= low + 2 * reach:
                    if c != a and c != b:
                        offset = abs(float(pair - f[c] - centre[v]))
                        inside = _share(offset, width[a], width[b], width[c], channel[v])
                        found = _list(who, share, found, v, order[a], order[b], order[c], inside)
                    c += 1
    return found


# wide: compiled code takes arrays and numbers
@kernel
def _list(who: IntArray, share: FloatArray, found: int, v: int, a: int, b: int, c: int, inside: float) -> int:
    """Write a product down if anything of it is inside and there is room; how many there are then."""
    if inside == 0.0:
        return found
    if found < share.size:
        who[found, 0], who[found, 1], who[found, 2], who[found, 3] = v, a, b, c
        share[found] = inside
    return found + 1


# wide: compiled code takes arrays and numbers
@kernel
def sum_filters(
    who: IntArray,
    share: FloatArray,
    received: FloatArray,
    driving: FloatArray,
    radiated: FloatArray,
    iip3: FloatArray,
    at_receiver: FloatArray,
    at_transmitter: FloatArray,
) -> None:
    """Receivers' and transmitters' products as they were listed, added to the two outputs (r,) [mW].

    received (n, r) [mW], transmitters by receivers; driving (n, r), what of it the receiver's products grow with;
    radiated (n, n), what A (column) radiates at 2A-B for B (row), over A's own power.
    """
    for h in range(share.size):
        v, a, b, c = who[h, 0], who[h, 1], who[h, 2], who[h, 3]
        gain = 1.0 / (iip3[v] * iip3[v])
        if c < 0:
            at_receiver[v] += gain * driving[a, v] * driving[a, v] * driving[b, v] * share[h]
            at_transmitter[v] += received[a, v] * radiated[b, a] * share[h]
        else:
            both = 4.0 * gain * driving[a, v] * driving[b, v]
            at_receiver[v] += both * driving[c, v] * share[h]


@kernel
def lay_out(cells: IntArray, driving: FloatArray, iip3_mw: float, power_mw: FloatArray) -> None:
    """Add what a receiver makes of carriers on cells (n,) of a raster to each of its cells (k,) [mW]; driving (n,)
    is what the products grow with [mW]. Carriers and products may lie outside."""
    n, gain = cells.size, 1.0 / (iip3_mw * iip3_mw)
    for a in range(n):
        for b in range(n):
            both = gain * driving[a] * driving[b]
            at = 2 * cells[a] - cells[b]
            if a != b and 0 <= at < power_mw.size:
                power_mw[at] += both * driving[a]
            for c in range(n if b > a else 0):
                at = cells[a] + cells[b] - cells[c]
                if 0 <= at < power_mw.size and c != a and c != b:
                    power_mw[at] += 4.0 * both * driving[c]


@kernel
def let_in(
    slots_khz: IntArray,
    f: IntArray,
    received: FloatArray,
    shares: FloatArray,
    step_khz: float,
    power_mw: FloatArray,
) -> None:
    """Add to each slot (m,) what a filter there lets in of carriers f (n,) [mW]; shares (n, k) of each at a
    distance of 0, `step_khz`, ..., the last holds beyond."""
    for i in range(f.size):
        for m in range(slots_khz.size):
            entry = min(int(abs(slots_khz[m] - f[i]) / step_khz), shares.shape[1] - 1)
            power_mw[m] += received[i] * shares[i, entry]
