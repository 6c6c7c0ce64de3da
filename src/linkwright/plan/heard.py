"""What is on the air on each slot of a link: one entry a contribution."""

from __future__ import annotations

from dataclasses import dataclass

from linkwright.shoot.evidence import Evidence
from linkwright.units import FloatArray


@dataclass(frozen=True, eq=False, slots=True)
class Heard:
    """Something on the air, as power in the receiver's filter on each slot: `power_mw` (m,)."""

    part: str
    code: str
    power_mw: FloatArray
    evidence: Evidence
    source: str
