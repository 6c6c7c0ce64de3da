"""How well a receiver keeps a neighbour out: masks and filters, frequency-dependent rejection, blocking.

A mask (of a transmitter) and a selectivity (of a receiver) are breakpoints: offsets from the carrier [kHz] and
relative power density or gain [dB], straight lines in dB between them.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from linkwright.units import FloatArray, dbm_from_mw, mw_from_dbm


@dataclass(frozen=True, slots=True)
class Shape:
    """A mask or a selectivity: offsets [kHz], strictly ascending, and relative levels [dB], straight between them.

    A transmitter sends nothing beyond its first and last offset; a receiver's gain stays there what it is at them.
    `evidence` and `source` say where the points are from.
    """

    offsets_khz: tuple[float, ...]
    relative_db: tuple[float, ...]
    evidence: str = "stated"
    source: str = ""

    def __post_init__(self) -> None:
        offsets, levels = np.array(self.offsets_khz), np.array(self.relative_db)
        if offsets.size != levels.size or offsets.size < 2:
            raise ValueError(f"{offsets.size} offsets and {levels.size} levels are not two or more breakpoints")
        if not (np.all(np.isfinite(offsets)) and np.all(np.isfinite(levels)) and np.all(np.diff(offsets) > 0.0)):
            raise ValueError("breakpoints are finite, and their offsets strictly ascending")

    @classmethod
    def symmetric(cls, upper: Sequence[tuple[float, float]], evidence: str = "stated", source: str = "") -> Shape:
        """From the points at and above the carrier, (offset kHz, dB), mirrored. A point at 0 kHz stands once."""
        mirrored = [(-offset, level) for offset, level in reversed(upper) if offset > 0.0]
        offsets, levels = zip(*mirrored, *upper, strict=True)
        return cls(offsets, levels, evidence, source)

    def scaled(self, factor: float) -> Shape:
        """The same shape for `factor` times the bandwidth."""
        return Shape(tuple(factor * o for o in self.offsets_khz), self.relative_db, self.evidence, self.source)

    def at_db(self, offsets_khz: FloatArray) -> FloatArray:
        """Relative level [dB] at offsets, any shape; the outermost level beyond the ends."""
        return np.asarray(np.interp(offsets_khz, self.offsets_khz, self.relative_db))


#: For how many kHz the two default shapes are drawn.
DEFAULT_BANDWIDTH_KHZ: Final = 200.0
#: A digital transmitter of 200 kHz. Assumed: drawn so that with DEFAULT_SELECTIVITY the rejection is near 20, 40,
#: 50 and 60 dB at 205, 230, 260 and 310 kHz (it is 19.9, 39.9, 50.5 and 59.6); no limit of any standard.
DEFAULT_MASK: Final = Shape.symmetric(
    [
        (0.0, 0.0),
        (90.0, 0.0),
        (100.0, -10.0),
        (120.0, -30.0),
        (150.0, -40.0),
        (200.0, -55.0),
        (500.0, -75.0),
        (1000.0, -85.0),
        (3000.0, -95.0),
    ],
    evidence="assumed",
    source="generic digital transmitter of 200 kHz",
)
#: The receiver to it. Assumed, as above.
DEFAULT_SELECTIVITY: Final = Shape.symmetric(
    [(0.0, 0.0), (100.0, 0.0), (110.0, -3.0), (130.0, -30.0), (170.0, -55.0), (300.0, -80.0), (3000.0, -90.0)],
    evidence="assumed",
    source="generic digital receiver of 200 kHz",
)


def default_mask(bandwidth_khz: float) -> Shape:
    """DEFAULT_MASK for another bandwidth [kHz]."""
    return DEFAULT_MASK.scaled(bandwidth_khz / DEFAULT_BANDWIDTH_KHZ)


def default_selectivity(bandwidth_khz: float) -> Shape:
    """DEFAULT_SELECTIVITY for another bandwidth [kHz]."""
    return DEFAULT_SELECTIVITY.scaled(bandwidth_khz / DEFAULT_BANDWIDTH_KHZ)


def rejection_db(mask: Shape, selectivity: Shape, offsets_khz: ArrayLike) -> FloatArray:
    """Frequency-dependent rejection [dB] of a transmitter `offsets_khz` away, any shape.

    FDR(df) = 10 log10 [ int P(f) df / int P(f) |H(f + df)|^2 df ]; ITU-R SM.337, the definition of
    frequency-dependent rejection (from memory; the formula as in the project's design). On and off tune together:
    FDR(0) is the on-tune part. Between breakpoints both integrands are exponentials, so the integrals are exact
    to the round-off of floats.
    """
    offsets = np.asarray(offsets_khz, dtype=np.float64)
    apart = offsets.reshape(-1, 1)
    low, high = mask.offsets_khz[0], mask.offsets_khz[-1]
    own = np.broadcast_to(np.array(mask.offsets_khz), (apart.size, len(mask.offsets_khz)))
    theirs = np.clip(np.array(selectivity.offsets_khz) - apart, low, high)
    knots = np.sort(np.concatenate([own, theirs], axis=1), axis=1)
    sent = mask.at_db(knots)
    ratio = _integral(knots, sent) / _integral(knots, sent + selectivity.at_db(knots + apart))
    return np.asarray(10.0 * np.log10(ratio)).reshape(offsets.shape)


def off_channel_share(distance_khz: ArrayLike, sent_khz: float, heard_khz: float) -> FloatArray:
    """Share of the power of a transmitter `sent_khz` wide in a filter `heard_khz` wide, at each distance [kHz].

    With the default shapes; the inverse of `rejection_db` as a ratio of powers.
    """
    rejected = rejection_db(default_mask(sent_khz), default_selectivity(heard_khz), distance_khz)
    return np.asarray(10.0 ** (-rejected / 10.0))


def _integral(knots_khz: FloatArray, level_db: FloatArray) -> FloatArray:
    """Integral of 10^(level/10) along the last axis [kHz], level straight in dB between the knots.

    A segment is its width times the logarithmic mean of its ends.
    """
    top = 10.0 ** (np.maximum(level_db[:, 1:], level_db[:, :-1]) / 10.0)
    drop = np.abs(np.diff(level_db, axis=1)) * (math.log(10.0) / 10.0)
    mean = np.where(drop > 1e-12, -np.expm1(-drop) / np.maximum(drop, 1e-12), 1.0)
    return np.asarray((np.diff(knots_khz, axis=1) * top * mean).sum(axis=1))


def interference_over_noise_db(rise_db: float) -> float:
    """I/N [dB] at which interference raises the noise by `rise_db`: 3.01 dB at 0, 1 dB at -5.87.

    Raises ValueError for no rise.
    """
    if rise_db <= 0.0:
        raise ValueError(f"interference raises the noise by more than nothing: {rise_db} dB")
    return 10.0 * math.log10(math.expm1(rise_db * math.log(10.0) / 10.0))


def blocking_dbm(
    unwanted_dbm: Sequence[float],
    noise_dbm: float,
    blocking_level_dbm: float,
    rise_db: float = 1.0,
) -> float:
    """Interference in the channel [dBm] that off-channel signals of these levels amount to.

    Each is P - B + N + I/N, where one of level B alone raises the noise N by `rise_db`: `blocking_attenuation_db`
    with sensitivity = N + C/(N+I), dB for dB in the level as the handbook has it; they add up in milliwatts.
    `NOTHING_DBM` for none.
    """
    equivalent = noise_dbm + interference_over_noise_db(rise_db) - blocking_level_dbm
    return dbm_from_mw(sum(mw_from_dbm(level + equivalent) for level in unwanted_dbm))
