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

from linkwright.physics.pathloss import P1411_SIGMA_DB
from linkwright.reach.curves import Curves, Pair
from linkwright.reach.path import Spread

#: Over the noise by at least this, so that its ripple does not open it [dB] (common practice, no source).
OVER_NOISE_DB: Final = 3.0
#: Settings that are looked at [dB].
STEP_DB: Final = 0.5
#: Risks that differ by less than this are alike; of alike settings the highest keeps out most.
ALIKE: Final = 1e-6
#: A distant transmitter scatters as one without line of sight does (P.1411 section 4.3.1) and fades like it.
DISTANT: Final = Spread("normal", P1411_SIGMA_DB, 0.0, "assumed", "as without line of sight, P.1411 section 4.3.1")


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
    spread: Spread,
    pair: Pair | None,
    distant_dbm: float | None,
) -> Squelch:
    """The setting with the least risk in all.

    wanted_dbm : the talent's local mean at the worst spot, with its spread and pair of branches; needed_dbm : level
    at which the audio is just unbroken; noise_dbm : the receiver's noise; distant_dbm : local mean of whoever else
    is on the carrier, None where nobody is known. All [dBm] at the receiver's input.
    """
    lowest = noise_dbm + OVER_NOISE_DB
    plain = max(lowest, math.floor(needed_dbm / STEP_DB) * STEP_DB)
    if distant_dbm is None:
        return Squelch(float(plain), 0.0, 0.0)
    highest = max(plain, wanted_dbm)
    levels = np.arange(np.ceil(lowest / STEP_DB) * STEP_DB, highest + STEP_DB, STEP_DB)
    talent, other = (Curves.of([(kind, pair)]) for kind in (spread, DISTANT))
    below = talent.outage((wanted_dbm - levels)[:, None])[:, 0]
    lost = float(talent.outage(np.array([wanted_dbm - needed_dbm]))[0])
    cuts = np.maximum(below - lost, 0.0)
    opens = 1.0 - other.outage((distant_dbm - levels)[:, None])[:, 0]
    risk = cuts + opens
    at = int(np.flatnonzero(risk <= risk.min() + ALIKE)[-1])
    return Squelch(float(levels[at]), float(cuts[at]), float(opens[at]))
