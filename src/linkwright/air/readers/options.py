"""What a person states about a sweep file where the file does not say, or says it wrongly."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

from linkwright.air.sweep import DETECTOR_WORDS, Detector, Unit
from linkwright.shoot.errors import InputError

#: What the columns behind the frequency are, or that there is no frequency column and columns are bins.
Columns: TypeAlias = Literal["traces", "sweeps", "bins", "carriers"]


@dataclass(frozen=True)
class ReadOptions:
    """Everything stated overrides what the file says and what would be guessed; None leaves it to the file.

    Attributes
    ----------
    unit : unit of the levels. frequency_unit : of the frequency column ("Hz", "kHz", "MHz", "GHz").
    from_khz, to_khz : centres of the first and the last bin [kHz], for levels without frequencies.
    step_khz : distance of the bins [kHz]; instead of `to_khz`.
    resolution_khz : noise bandwidth of a bin [kHz].
    detector, averages : how the looks in one level were put together, and how many they are.
    sweeps : how many sweeps stand in turn in a single column without frequencies.
    columns : "traces" (each of its own kind), "sweeps" (of one kind), "bins" (each line is a sweep), or
        "carriers": a list of carriers that were heard, no sweep.
    lasted_s : how long the band was looked at, from the first to the last sweep [s].
    """

    unit: Unit | None = None
    frequency_unit: str | None = None
    from_khz: float | None = None
    to_khz: float | None = None
    step_khz: float | None = None
    resolution_khz: float | None = None
    detector: Detector | None = None
    averages: int | None = None
    sweeps: int | None = None
    columns: Columns | None = None
    lasted_s: float | None = None

    def __post_init__(self) -> None:
        positive = {
            "to": self.to_khz, "step": self.step_khz, "resolution": self.resolution_khz, "averages": self.averages,
            "sweeps": self.sweeps,
        }  # fmt: skip
        for what, value in positive.items():
            if value is not None and not 0 < value < 1e12:
                raise InputError(f"the {what} stated is {value:g}; expected more than nothing")
        for what, least in (("from", self.from_khz), ("lasted", self.lasted_s)):
            if least is not None and not 0.0 <= least < 1e12:
                raise InputError(f"the {what} stated is {least:g}; expected 0 or more")
        if self.from_khz is not None and self.to_khz is not None and self.to_khz <= self.from_khz:
            raise InputError(f"the band stated ends at {self.to_khz:g} kHz, not above its beginning")

    def stated(self) -> list[str]:
        """What was stated by hand, a sentence each."""
        says = []
        if self.unit is not None:
            says.append(f"levels in {self.unit}, as stated by hand")
        if self.resolution_khz is not None:
            says.append(f"noise bandwidth {self.resolution_khz:g} kHz, as stated by hand")
        if self.detector is not None:
            says.append(f"detector {DETECTOR_WORDS[self.detector]}, as stated by hand")
        if self.averages is not None:
            says.append(f"{self.averages} averages in each level, as stated by hand")
        if self.lasted_s is not None:
            says.append(f"looked at for {self.lasted_s:g} s, as stated by hand")
        return says


#: Nothing stated: the file speaks for itself.
AS_IT_SAYS = ReadOptions()
