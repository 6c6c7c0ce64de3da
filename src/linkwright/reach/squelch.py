"""Where to set a squelch: under what the talent brings at the worst spot, over what noise and a distant transmitter
bring.

Too high it cuts a talent whose audio would still do; too low somebody else is heard when the own transmitter is
off. Both risks are shares of time, from the same fading as everything else.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from linkwright.physics.harm import K_DB, Kinds, outage_curves, read_curves
from linkwright.physics.pathloss import P1411_SIGMA_DB

#: Over the noise by at least this, so that its ripple does not open it [dB] (common practice, no source).
OVER_NOISE_DB: Final = 3.0
#: Settings that are looked at [dB].
STEP_DB: Final = 0.5
#: Risks that differ by less than this are alike; of alike settings the highest keeps out most.
ALIKE: Final = 1e-6
#: A distant transmitter fades like one without line of sight (Rayleigh), and may be so much stronger than told
#: [dB]: nine cases of ten of P.1411's 7 dB without sight (section 4.3.1).
DISTANT_MORE_DB: Final = 1.2816 * P1411_SIGMA_DB
RAYLEIGH_DB: Final = float(K_DB[0])


@dataclass(frozen=True, slots=True)
class Squelch:
    """A setting [dBm]; the shares of time that it cuts a talent who could be heard, and lets somebody else in."""

    level_dbm: float
    cuts: float
    opens: float


def setting(
    wanted_dbm: float,
    needed_dbm: float,
    noise_dbm: float,
    talent: Kinds,
    distant_dbm: float | None,
) -> Squelch:
    """The setting with the least risk in all.

    wanted_dbm : the talent's local mean at the place that decides, `talent` how it fades; needed_dbm : level
    at which the audio is just unbroken; noise_dbm : the receiver's noise; distant_dbm : local mean of whoever else
    is on the carrier, None where nobody is known. All [dBm] at the receiver's input.
    """
    lowest = noise_dbm + OVER_NOISE_DB
    plain = max(lowest, math.floor(needed_dbm / STEP_DB) * STEP_DB)
    if distant_dbm is None:
        return Squelch(float(plain), 0.0, 0.0)
    highest = max(plain, wanted_dbm)
    levels = np.arange(np.ceil(lowest / STEP_DB) * STEP_DB, highest + STEP_DB, STEP_DB)
    k_db = np.array([float(talent.k_db[0]), RAYLEIGH_DB])
    curves = outage_curves(Kinds.of(k_db, talent.apart, talent.weaker_db, talent.doppler_hz, 0.0))
    below = np.exp(read_curves(curves, np.int64(0), wanted_dbm - levels))
    lost = float(np.exp(read_curves(curves, np.int64(0), np.asarray(wanted_dbm - needed_dbm))))
    cuts = np.maximum(below - lost, 0.0)
    opens = 1.0 - np.exp(read_curves(curves, np.int64(1), distant_dbm + DISTANT_MORE_DB - levels))
    risk = cuts + opens
    at = int(np.flatnonzero(risk <= risk.min() + ALIKE)[-1])
    return Squelch(float(levels[at]), float(cuts[at]), float(opens[at]))
