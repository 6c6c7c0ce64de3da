"""Several sweeps of one kind over one band, put together to one series."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence

import numpy as np

from linkwright.air.sweep import Sweep


def series(sweeps: Sequence[Sweep]) -> tuple[Sweep, ...]:
    """The sweeps with those of one kind joined, in the order of the first of each kind.

    Of one kind are sweeps with the same bins (to a hundredth of a step), trace, unit, resolution, detector and
    averages: they are looks at the same band, and their mean over time tells more than each alone.
    """
    groups: list[list[Sweep]] = []
    for sweep in sweeps:
        group = next((group for group in groups if _alike(group[0], sweep)), None)
        if group is None:
            groups.append([sweep])
        else:
            group.append(sweep)
    return tuple(_joined(group) for group in groups)


def _alike(sweep: Sweep, other: Sweep) -> bool:
    return (
        sweep.trace == other.trace
        and sweep.frequencies_khz.size == other.frequencies_khz.size
        and (sweep.unit, sweep.detector, sweep.averages) == (other.unit, other.detector, other.averages)
        and abs(sweep.resolution_khz - other.resolution_khz) <= 0.01 * sweep.resolution_khz
        and bool(np.abs(sweep.frequencies_khz - other.frequencies_khz).max() <= 0.01 * sweep.step_khz)
    )


def _joined(group: Sequence[Sweep]) -> Sweep:
    if len(group) == 1:
        return group[0]
    first = group[0]
    known = [sweep.lasted_s for sweep in group if sweep.lasted_s is not None]
    copied = np.logical_and.reduce([sweep.copied for sweep in group])
    return dataclasses.replace(
        first,
        path=" + ".join(dict.fromkeys(sweep.path for sweep in group)),
        levels_db=np.concatenate([sweep.levels_db for sweep in group]),
        lasted_s=sum(known) if len(known) == len(group) else None,
        copied=copied,
        understood=(*first.understood, f"{len(group)} files of one kind joined to one series"),
    )
