"""What is on the air for a link: one entry a contribution."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

from linkwright.shoot.evidence import Evidence
from linkwright.units import FloatArray

#: What sweeps found is told as this.
SWEEP: Final = "sweep"


@dataclass(frozen=True, slots=True)
class Arrival:
    """Something on the air on one carrier of a link: power in its receiver's filter while it is on [mW], how sure
    [dB], and the share of time that it was measured to be on; what goes on and off together has one `switch`."""

    part: str
    code: str
    power_mw: float
    evidence: Evidence
    source: str
    spread_db: float | None = None
    duty: float = 1.0
    switch: str = ""


@dataclass(frozen=True, eq=False, slots=True)
class SlotPowers:
    """The same on each slot of a link: `power_mw`, and `duty` where it was measured (m,)."""

    part: str
    code: str
    power_mw: FloatArray
    evidence: Evidence
    source: str
    spread_db: float | None = None
    duty: FloatArray | None = None

    def on(self, slot: int) -> Arrival:
        """What arrives on one slot."""
        duty = 1.0 if self.duty is None else float(self.duty[slot])
        power_mw = float(self.power_mw[slot])
        return Arrival(self.part, self.code, power_mw, self.evidence, self.source, self.spread_db, duty, self.part)


def switched(arrivals: Sequence[Arrival]) -> tuple[Arrival, ...]:
    """What arrives on one slot: somebody known there is on and off with what the sweeps detected there, where
    nothing else was measured of them."""
    swept = next((arrival for arrival in arrivals if arrival.part == SWEEP and arrival.duty < 1.0), None)
    if swept is None:
        return tuple(arrivals)
    return tuple(
        replace(arrival, duty=swept.duty, switch=SWEEP)
        if arrival.code == "other-cochannel" and arrival.duty == 1.0
        else arrival
        for arrival in arrivals
    )
