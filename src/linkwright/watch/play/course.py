"""A link of a call as it is played."""

from __future__ import annotations

from dataclasses import dataclass

from linkwright.units import FloatArray
from linkwright.watch.diagnose.expected import Expected


@dataclass(frozen=True, slots=True)
class Course:
    """A link of a call as it is played: what the plan expects, the walk, and how it fades.

    from_ns, to_ns : when the call runs. walk_s, walk_dbm (n,) : the local mean along the route, walked once.
    rice_k : ratio of powers. apart : of the branches [wavelengths], None for one branch. doppler_hz : walking.
    run_h : how long its cells last. iip3_dbm : of its receiver.
    """

    expected: Expected
    from_ns: int
    to_ns: int
    walk_s: FloatArray
    walk_dbm: FloatArray
    rice_k: float
    apart: float | None
    doppler_hz: float
    run_h: float = 6.0
    iip3_dbm: float = -5.0
