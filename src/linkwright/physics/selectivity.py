"""How much of one transmitter a receiver on another carrier lets in: mask and filter, overlapped.

Share(df) = int P(f) |H(f + df)|^2 df / int P(f) df: the inverse of the frequency-dependent rejection of ITU-R
SM.337. Mask and filter here are generic and assumed (no maker's figures): breakpoints in units of the bandwidth,
chosen so that two digital carriers of 200 kHz have 20.2, 40.0, 50.0 and 59.4 dB at 205, 230, 260 and 310 kHz
(computed here).
"""

from __future__ import annotations

from typing import Final

import numpy as np

from linkwright.units import FloatArray

#: Offset from the carrier over the bandwidth, and density relative to the carrier's own [dB]; assumed.
MASK: Final = ((0.0, 0.0), (0.48, 0.0), (0.6, -25.0), (0.8, -55.0), (1.5, -70.0), (5.0, -85.0), (15.0, -95.0))
#: Offset from the centre over the bandwidth, and gain of the filter [dB]; assumed.
FILTER: Final = ((0.0, 0.0), (0.5, 0.0), (0.65, -33.0), (1.0, -50.0), (1.75, -75.0), (5.0, -85.0), (15.0, -90.0))
#: Half the span of the integral and its steps, both over the transmitter's bandwidth.
SPAN: Final = 40.0
STEPS: Final = 8001


def _db(points: tuple[tuple[float, float], ...], offset: FloatArray) -> FloatArray:
    at, level = np.array(points).T
    return np.asarray(np.interp(np.abs(offset), at, level), dtype=np.float64)


def off_channel_share(distance_khz: FloatArray, sent_khz: float, heard_khz: float) -> FloatArray:
    """Share of a carrier `sent_khz` wide in a filter `heard_khz` wide at each distance (m,) [kHz].

    By the trapezoidal rule on a grid of a hundredth of the transmitter's bandwidth.
    """
    offset = np.linspace(-SPAN, SPAN, STEPS) * sent_khz
    density = 10.0 ** (_db(MASK, offset / sent_khz) / 10.0)
    total = np.trapezoid(density, offset)
    shares = [
        np.trapezoid(density * 10.0 ** (_db(FILTER, (offset - distance) / heard_khz) / 10.0), offset)
        for distance in np.asarray(distance_khz, dtype=np.float64)
    ]
    return np.array(shares, dtype=np.float64) / float(total)
