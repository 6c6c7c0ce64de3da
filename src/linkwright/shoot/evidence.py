"""How a number is known, and the contributions that a ledger is made of."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

Evidence = Literal["measured", "modelled", "stated", "assumed"]

#: From the surest to the least sure.
SURENESS: Final[tuple[Evidence, ...]] = ("measured", "stated", "modelled", "assumed")


def least_sure(*evidence: Evidence) -> Evidence:
    """The weakest of several: a number is known no better than what it is made of."""
    return max(evidence, key=SURENESS.index)


@dataclass(frozen=True, slots=True)
class PathGain:
    """One step from the transmitter to the receiver: `db` is added to the level, known to `spread_db`."""

    part: str
    db: float
    evidence: Evidence
    source: str
    spread_db: float | None = None


@dataclass(frozen=True, slots=True)
class Level:
    """One contribution to noise or interference at the receiver's input [dBm]."""

    part: str
    dbm: float
    evidence: Evidence
    source: str
