"""What a sweep measured, as a lane of the score."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from linkwright.air.judgement import JudgedSweep
from linkwright.draw.lanes import Levels


def measured(judged: JudgedSweep, name: str, tall_px: float) -> Levels:
    """Lowest and highest level of every column, and the floor; where a sweep has fewer points than columns, each
    point is as wide as its resolution."""
    sweep = judged.sweep
    lowest = np.full(judged.column.size, np.inf)
    for rows in sweep.batches():
        lowest = np.fmin(lowest, np.fmin.reduce(sweep.levels_db[rows][:, judged.column], axis=0))
    left, right = judged.left_khz, judged.right_khz
    if sweep.under_sampled:
        half = sweep.resolution_khz / 2.0
        left, right = judged.frequencies_khz - half, judged.frequencies_khz + half
    unit = sweep.unit.replace("u", "\N{MICRO SIGN}")
    return Levels(name, left, right, lowest, judged.maximum_db, judged.floor_db, unit, tall_px)


def file_of(judged: JudgedSweep) -> str:
    """The name of the file that a sweep is from, the first of several."""
    return Path(judged.sweep.path.split(" + ")[0]).name
