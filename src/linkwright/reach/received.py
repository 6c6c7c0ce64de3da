"""What every transmitter of a site brings at every receiver's antennas: the interferers' levels."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from linkwright.reach.path import paths, xyz
from linkwright.shoot.place import Point, Site
from linkwright.units import FloatArray


@dataclass(frozen=True, slots=True)
class Radiator:
    """A transmitter as an interferer: where it may stand, its frequency, and its gain towards anybody [dB]."""

    points: tuple[Point, ...]
    frequency_mhz: float
    gain_db: float


def strongest_gain_db(site: Site, radiators: Sequence[Radiator], receivers: Sequence[Point]) -> FloatArray:
    """Gain from conducted power to received level [dB], shape (radiators, receivers).

    Each transmitter stands where it is heard best on its route; no fading is counted, as what matters is how
    strong it can be. A receiver's own antenna gain is not included.
    """
    if not radiators or not receivers:
        return np.zeros((len(radiators), len(receivers)))
    counts = [len(radiator.points) for radiator in radiators]
    start = np.concatenate([xyz(radiator.points) for radiator in radiators])
    frequency = np.repeat([radiator.frequency_mhz for radiator in radiators], counts)
    gain = -paths(site, frequency, start, xyz(tuple(receivers))).loss_db
    first = np.concatenate([[0], np.cumsum(counts)[:-1]])
    best = np.maximum.reduceat(gain, first, axis=0)
    return np.asarray(best + np.array([radiator.gain_db for radiator in radiators])[:, None])
