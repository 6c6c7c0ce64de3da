"""What is on the air for a link: one entry a contribution."""

from __future__ import annotations

from dataclasses import dataclass

from linkwright.shoot.evidence import Evidence
from linkwright.units import FloatArray


@dataclass(frozen=True, slots=True)
class Arrival:
    """Something on the air on one carrier of a link: power in its receiver's filter [mW], and how sure [dB]."""

    part: str
    code: str
    power_mw: float
    evidence: Evidence
    source: str
    spread_db: float | None = None


@dataclass(frozen=True, eq=False, slots=True)
class Heard:
    """The same on each slot of a link: `power_mw` (m,)."""

    part: str
    code: str
    power_mw: FloatArray
    evidence: Evidence
    source: str
    spread_db: float | None = None

    def on(self, slot: int) -> Arrival:
        """What arrives on one slot."""
        return Arrival(self.part, self.code, float(self.power_mw[slot]), self.evidence, self.source, self.spread_db)
