"""What every transmitter of a site brings at every receiver's antennas: the interferers' levels."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from linkwright.reach.antenna import relative_db
from linkwright.reach.ends import Ear, Ends
from linkwright.reach.path import paths, xyz
from linkwright.shoot.place import Point, Site
from linkwright.units import FloatArray


@dataclass(frozen=True, slots=True)
class Radiator:
    """A transmitter as an interferer: where it may stand, its frequency, and its gain towards anybody [dB]."""

    points: tuple[Point, ...]
    frequency_mhz: float
    gain_db: float


def strongest_gain_db(site: Site, radiators: Sequence[Radiator], receivers: Sequence[Point | Ear]) -> FloatArray:
    """Gain from conducted power to received level [dB], shape (radiators, receivers).

    Each transmitter stands where it is heard best on its route; no fading is counted, as what matters is how
    strong it can be. A receiver's own antenna gain is not included, but for how an antenna with a pattern hears
    from there less than in its best direction.
    """
    if not radiators or not receivers:
        return np.zeros((len(radiators), len(receivers)))
    counts = [len(radiator.points) for radiator in radiators]
    start = np.concatenate([xyz(radiator.points) for radiator in radiators])
    frequency = np.repeat([radiator.frequency_mhz for radiator in radiators], counts)
    at = xyz(tuple(receiver.point if isinstance(receiver, Ear) else receiver for receiver in receivers))
    gain = -paths(site, frequency, start, at).loss_db
    for n, receiver in enumerate(receivers):
        if isinstance(receiver, Ear) and receiver.antenna is not None:
            gain[:, n] += relative_db(receiver.antenna, start - at[n])
    first = np.concatenate([[0], np.cumsum(counts)[:-1]])
    best = np.maximum.reduceat(gain, first, axis=0)
    return np.asarray(best + np.array([radiator.gain_db for radiator in radiators])[:, None])


def heard_gains_db(ends: Sequence[Ends], mhz: Sequence[float], radiators: Sequence[Radiator]) -> FloatArray:
    """Gain from conducted power to each receiver's input [dB], shape (radiators, ends), on its strongest antenna;
    of a receiver that is carried wherever it hears the radiator best, facing it.

    mhz : each receiver's frequency, for its lines. All `ends` are on one site.
    """
    ears = [end.everywhere for end in ends]
    column: dict[tuple[float, float, float, object], int] = {}
    distinct: list[Ear] = []
    for ear in (ear for several in ears for ear in several):
        key = (ear.point.x_m, ear.point.y_m, ear.point.z_m, None if ear.antenna is None else ear.antenna.name)
        if column.setdefault(key, len(distinct)) == len(distinct):
            distinct.append(ear)
    gain = strongest_gain_db(ends[0].site, radiators, distinct)
    gains_db = np.empty((len(radiators), len(ends)))
    for n, (end, several) in enumerate(zip(ends, ears, strict=True)):
        of = [
            column[ear.point.x_m, ear.point.y_m, ear.point.z_m, None if ear.antenna is None else ear.antenna.name]
            for ear in several
        ]
        own = np.array([end.ear_gain_dbi(ear) + end.feed(ear, mhz[n]).gain_db for ear in several])
        gains_db[:, n] = (gain[:, of] + own).max(axis=1) - end.listener_facing_db
    return gains_db
