"""What is predicted of TV at a place."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from linkwright.shoot.evidence import Evidence
from linkwright.shoot.place import Surroundings

State = Literal["closed", "doubtful", "free"]


@dataclass(frozen=True, slots=True)
class ProtectedChannel:
    """A TV channel, its edges [kHz], and the field at its protected contour [dB(uV/m)], None where none is."""

    channel: str
    from_khz: int
    to_khz: int
    contour_dbuv_m: float | None = None


@dataclass(frozen=True, slots=True)
class ReceivingPlace:
    """Where the crew receives: degrees north and east, surroundings, height of the antennas [m]."""

    latitude: float
    longitude: float
    surroundings: Surroundings = "open"
    height_m: float = 1.5


@dataclass(frozen=True, slots=True)
class StationAtPlace:
    """One station at the place.

    field_dbuv_m : median at 10 m in the open; level_dbm : median in the whole channel at the crew's height with an
    isotropic antenna; high_dbm : the same for a tenth of the time; spread_db : standard deviation between places.
    contour_km : how far its protected area goes, None where none is defined; evidence : "assumed" where the list
    leaves out its height.
    """

    channel: str
    station: str
    distance_km: float
    field_dbuv_m: float
    level_dbm: float
    high_dbm: float
    spread_db: float
    contour_km: float | None
    directional: bool
    evidence: Evidence

    @property
    def outside_km(self) -> float | None:
        """How far the place lies outside the contour [km], inside it negative."""
        return None if self.contour_km is None else self.distance_km - self.contour_km

    @property
    def contour_text(self) -> str:
        """Where the place lies to the contour: "2.1 km inside the contour of ...", or "" where none is defined."""
        if self.outside_km is None:
            return ""
        side = "outside" if self.outside_km >= 0.0 else "inside"
        return (
            f"{abs(self.outside_km):.1f} km {side} the contour of {self.station} on channel {self.channel}, "
            f"{self.distance_km:.1f} km away"
        )


@dataclass(frozen=True, slots=True)
class ExpectedChannel:
    """One channel at the place: its state and why; the level [dBm] in all of it, None where nothing is there."""

    channel: str
    from_khz: int
    to_khz: int
    state: State
    why: str
    level_dbm: float | None
    spread_db: float | None
    evidence: Evidence


@dataclass(frozen=True, slots=True)
class Predicted:
    """All channels, the stations that matter (the strongest of each channel first), and what was left out."""

    channels: tuple[ExpectedChannel, ...]
    heard: tuple[StationAtPlace, ...]
    notes: tuple[str, ...]
