"""Compiled loops of `physics.harm` and of the shifts told over it, for many places at once.

All numbers that stand in another module are arguments: compiled code is cached by the text of this file alone.
"""

from __future__ import annotations

import math

import numpy as np

from linkwright.physics.compiled import kernel
from linkwright.units import FloatArray, IntArray


@kernel
def _mixed(table: FloatArray, k: int, a: int, w: int, parts: FloatArray, out: FloatArray) -> None:
    """A table (k, spacing, weaker, x) between the eight points about one kind, into `out` (x,)."""
    out[:] = 0.0
    for i in range(2):
        for j in range(2):
            for m in range(2):
                part = parts[i, 0] * parts[j, 1] * parts[m, 2]
                if part != 0.0:
                    for x in range(out.size):
                        out[x] += part * table[k + i, a + j, w + m, x]


@kernel
def _over(
    logs: FloatArray, n: int, lows: IntArray, parts: FloatArray, beyond_db: FloatArray, slope: float
) -> float:
    """A tabled curve at the n-th margin: straight between, the last slope above."""
    if beyond_db[n] > 0.0:
        return float(logs[-1] + slope * beyond_db[n])
    return float(logs[lows[n]] * (1.0 - parts[n]) + logs[lows[n] + 1] * parts[n])


# long and wide: one loop that stays in compiled code, which takes arrays and numbers
@kernel
def harm(
    outage: FloatArray,
    often: FloatArray,
    longer: FloatArray,
    at: IntArray,
    share: FloatArray,
    doppler_hz: FloatArray,
    bridged: FloatArray,
    tail: FloatArray,
    lows: IntArray,
    parts: FloatArray,
    beyond_db: FloatArray,
    below: int,
    over_db: float,
    whiles: FloatArray,
    growing: FloatArray,
    none: float,
    hour_s: float,
    out: FloatArray,
) -> None:
    """`harm._harm` of kinds (n,), made to rise as the margin falls; the less of it and what `out` (n, margins) has.

    at, share (n, 3) : the point of the tables below each kind, and the share of the next. bridged (n,) :
    Doppler shift times what is bridged. lows, parts, beyond_db (margins,) : where a margin lies in the tables, and
    by how much beyond them; `below` margins lie before them; over_db : from the last margin but four to the last.
    growing (margins,) : the root of the mean over the need.
    """
    o, f, g = np.empty(outage.shape[3]), np.empty(often.shape[3]), np.empty(longer.shape[3])
    corner = np.empty((2, 3))
    for n in range(doppler_hz.size):
        for c in range(3):
            corner[0, c], corner[1, c] = 1.0 - share[n, c], share[n, c]
        _mixed(outage, at[n, 0], at[n, 1], at[n, 2], corner, o)
        _mixed(often, at[n, 0], at[n, 1], at[n, 2], corner, f)
        _mixed(longer, at[n, 0], at[n, 1], at[n, 2], corner, g)
        slope_o, slope_f = (o[-1] - o[-5]) / over_db, (f[-1] - f[-5]) / over_db
        most, most_log = none, math.log(none)
        for x in range(lows.size - 1, -1, -1):
            out_log = 0.0 if x < below else _over(o, x, lows, parts, beyond_db, slope_o)
            rate_log = f[0] if x < below else _over(f, x, lows, parts, beyond_db, slope_f)
            scaled = bridged[n] * growing[x]
            inside = min(max(scaled, whiles[0]), whiles[-1])
            low = min(max(np.searchsorted(whiles, inside, side="right") - 1, 0), whiles.size - 2)
            part = (inside - whiles[low]) / (whiles[low + 1] - whiles[low])
            rate_log += g[low] * (1.0 - part) + g[low + 1] * part
            if scaled > whiles[-1]:
                rate_log += tail[n] * math.log(scaled / whiles[-1])
            under = math.exp(out_log)
            whole = max(1.0 - under, none)
            of_time = 1.0
            if under < 1.0 - none:
                of_time = under - whole * math.expm1(-doppler_hz[n] * math.exp(rate_log) / whole)
            if hour_s * of_time > most:
                most, most_log = hour_s * of_time, math.log(hour_s * of_time)
            out[n, x] = min(out[n, x], most_log)


# wide: compiled code takes arrays and numbers
@kernel
def halve(
    curves: FloatArray,
    level_db: FloatArray,
    share: FloatArray,
    first: IntArray,
    wanted_s: FloatArray,
    lowest_db: float,
    most: float,
    times: int,
    low: FloatArray,
    high: FloatArray,
) -> None:
    """`reach.hand`'s shift between bounds (c, l), halved in place: curves (p, margins) in steps of 1 dB from
    `lowest_db`, of which steps up to `most` are read, levels (c, p), shares (p,), where links begin (l + 1,)."""
    for c in range(low.shape[0]):
        for link in range(low.shape[1]):
            for _ in range(times):
                middle = (low[c, link] + high[c, link]) / 2.0
                harm_s = 0.0
                for p in range(first[link], first[link + 1]):
                    step = min(max(middle + level_db[c, p] - lowest_db, 0.0), most)
                    at = int(step)
                    part = step - at
                    harm_s += math.exp(curves[p, at] * (1.0 - part) + curves[p, at + 1] * part) * share[p]
                    if harm_s > wanted_s[link]:
                        break  # every place adds to it
                if harm_s <= wanted_s[link]:
                    high[c, link] = middle
                else:
                    low[c, link] = middle
