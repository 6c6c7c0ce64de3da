"""One seed for each of many tasks, from a single one."""

from __future__ import annotations

import numpy as np


def seeds(seed: int, tasks: int) -> list[np.random.SeedSequence]:
    """Independent seeds for tasks (`numpy.random.SeedSequence.spawn`): who carries a task changes nothing."""
    return np.random.SeedSequence(seed).spawn(tasks)
