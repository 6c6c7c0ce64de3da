"""The products of `levels` as compiled loops: carriers are sorted, so that only those which can hit are visited."""

from __future__ import annotations

import numpy as np

from linkwright.physics.compiled import kernel
from linkwright.units import FloatArray, IntArray


@kernel
def _share(offset: float, width: float, filter_: float) -> float:
    inside = min(offset + width / 2.0, filter_ / 2.0) - max(offset - width / 2.0, -filter_ / 2.0)
    return max(inside, 0.0) / width


@kernel
def products(
    f: IntArray,
    width: FloatArray,
    received: FloatArray,
    radiated: FloatArray,
    iip3: FloatArray,
    at_receiver: FloatArray,
    at_transmitter: FloatArray,
) -> None:
    """Receivers' and transmitters' third-order products in each filter, added to the two outputs (n,) [mW].

    f (n,) ascending [kHz]; received (n, n) [mW], transmitters by receivers; radiated (n, n), what A (column)
    radiates at 2A-B for B (row), over A's own power.
    """
    n = f.size
    widest = width.max() if n else 0.0
    for v in range(n):
        reach = np.int64((3.0 * widest + width[v]) / 2.0) + 1
        gain = 1.0 / (iip3[v] * iip3[v])
        for a in range(n):
            # 2A-B in reach: B lies within reach of 2A - V.
            b = np.searchsorted(f, 2 * f[a] - f[v] - reach)
            while b < n and f[b] <= 2 * f[a] - f[v] + reach:
                if b != a:
                    share = _share(float(2 * f[a] - f[b] - f[v]), 2.0 * width[a] + width[b], width[v])
                    at_receiver[v] += gain * received[a, v] * received[a, v] * received[b, v] * share
                    at_transmitter[v] += received[a, v] * radiated[b, a] * share
                b += 1
            for b in range(a + 1, n):
                pair = f[a] + f[b]
                both = 4.0 * gain * received[a, v] * received[b, v]
                c = np.searchsorted(f, pair - f[v] - reach)
                while c < n and f[c] <= pair - f[v] + reach:
                    if c != a and c != b:
                        share = _share(float(pair - f[c] - f[v]), width[a] + width[b] + width[c], width[v])
                        at_receiver[v] += both * received[c, v] * share
                    c += 1
