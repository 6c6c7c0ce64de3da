"""Links for the first simulator, from plain values: no shoot and no plan is needed."""

from __future__ import annotations

import numpy as np

from linkwright.watch.diagnose.expected import Expected
from linkwright.watch.play.course import Course

BEGIN_NS = 1_810_000_000_000_000_000
MARKS = (0, 1, 4, 10, 12, 17)


def courses(links: int = 4, minutes: float = 40.0) -> tuple[Course, ...]:
    """Links whose talents walk away from the receiver and back, each with 8 to 30 dB over its need."""
    made = []
    for n in range(links):
        end = BEGIN_NS + round(minutes * 60e9)
        walk_s = np.linspace(0.0, 40.0, 81)
        walk_dbm = -60.0 - 3.0 * n - 12.0 * walk_s / 40.0
        expected = Expected(
            f"Talent {n + 1}",
            "Call",
            ((BEGIN_NS, end),),
            570_000 + 300 * MARKS[n],
            float(walk_dbm.min()),
            -112.0,
            20.0,
        )
        made.append(Course(expected, BEGIN_NS, end, walk_s, walk_dbm, 4.0, 0.6, 2.8, 5.0))
    return tuple(made)
