"""Where to set a squelch: under what the talent brings at the worst spot, over what noise and a distant transmitter
bring.

Too high it cuts a talent whose audio would still do; too low somebody else is heard when the own transmitter is
off. Both risks are shares of time, from the same fading as everything else.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from linkwright.physics.harm import K_DB, Kinds, outage_curves, read_curves
from linkwright.physics.pathloss import P1411_SIGMA_DB
from linkwright.units import FloatArray

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


@dataclass(frozen=True, slots=True)
class Open:
    """What opens a receiver, all [dBm] at its input.

    wanted_dbm : the talent's local mean at the place that decides, `talent` how it fades: Rice's factor [dB],
    spacing of the branches [wavelengths], how much weaker the second is [dB]; needed_dbm : level at which the audio
    is just unbroken; noise_dbm : the receiver's noise; distant_dbm : local mean of whoever else is on the carrier,
    None where nobody is known.
    """

    wanted_dbm: float
    needed_dbm: float
    noise_dbm: float
    talent: tuple[float, float, float]
    distant_dbm: float | None


def squelches(receivers: Sequence[Open]) -> list[Squelch]:
    """The settings with the least risk in all, for receivers at once."""
    heard = [receiver for receiver in receivers if receiver.distant_dbm is not None]
    talents = np.array([signal.talent for signal in heard]).reshape(-1, 3)
    pairs = np.repeat(talents, 2, axis=0)
    pairs[1::2, 0] = RAYLEIGH_DB
    curves = outage_curves(Kinds.of(pairs[:, 0], pairs[:, 1], pairs[:, 2], 0.0, 0.0)) if heard else pairs
    of = {id(signal): curves[2 * n : 2 * n + 2] for n, signal in enumerate(heard)}
    return [_setting(receiver, of.get(id(receiver))) for receiver in receivers]


def _setting(state: Open, curves: FloatArray | None) -> Squelch:
    """The setting of one receiver; curves (2, margins) of its talent and of the distant one."""
    wanted_dbm, needed_dbm, noise_dbm, distant_dbm = (
        state.wanted_dbm,
        state.needed_dbm,
        state.noise_dbm,
        state.distant_dbm,
    )
    lowest = noise_dbm + OVER_NOISE_DB
    plain = max(lowest, math.floor(needed_dbm / STEP_DB) * STEP_DB)
    if distant_dbm is None or curves is None:
        return Squelch(float(plain), 0.0, 0.0)
    highest = max(plain, wanted_dbm)
    levels = np.arange(np.ceil(lowest / STEP_DB) * STEP_DB, highest + STEP_DB, STEP_DB)
    below = np.exp(read_curves(curves, np.int64(0), wanted_dbm - levels))
    lost = float(np.exp(read_curves(curves, np.int64(0), np.asarray(wanted_dbm - needed_dbm))))
    cuts = np.maximum(below - lost, 0.0)
    opens = 1.0 - np.exp(read_curves(curves, np.int64(1), distant_dbm + DISTANT_MORE_DB - levels))
    risk = cuts + opens
    at = int(np.flatnonzero(risk <= risk.min() + ALIKE)[-1])
    return Squelch(float(levels[at]), float(cuts[at]), float(opens[at]))
