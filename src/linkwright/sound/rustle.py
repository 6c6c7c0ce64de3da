"""Cloth on the capsule, a hand on the cable, gravel: noise of high pitch that is longer than any sibilant."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from linkwright.sound.fault import MOST, Fault, stretches
from linkwright.units import FloatArray

#: It lies this much over the track's floor [dB], its power about this frequency or higher [Hz], for so many steps
#: of 100 ms; one among them may be missing. A voice comes back to its vowels sooner. Own choices.
OVER_FLOOR_DB, LEAST_HZ, LEAST_STEPS, GAP = 12.0, 1800.0, 8, 1


@dataclass
class Rustle:
    """Looks for such noise in a track that streams by."""

    step: int
    seen: int = 0
    runs: list[tuple[int, int, float]] = field(default_factory=list)  # first, past the last step, largest power

    def add(self, powers: FloatArray, middle_hz: FloatArray, floor: float) -> None:
        """Mean squares of the next steps, the frequency their power lies about, and the track's floor so far."""
        there = (powers > floor * 10.0 ** (OVER_FLOOR_DB / 10.0)) & (middle_hz >= LEAST_HZ) & (floor > 0.0)
        for first, last in stretches(there, GAP):
            first, last, top = first + self.seen, last + self.seen, float(powers[first:last].max())
            if self.runs and first - self.runs[-1][1] <= GAP:
                begin, _, before = self.runs.pop()
                first, top = begin, max(before, top)
            elif self.runs and self.runs[-1][1] - self.runs[-1][0] < LEAST_STEPS:
                self.runs.pop()
            if len(self.runs) < MOST:
                self.runs.append((first, last, top))
        self.seen += powers.size

    def finish(self) -> list[Fault]:
        """What was found; all suspects."""
        return [
            Fault(
                first * self.step, (last - first) * self.step, "rustle", False, level_db=10.0 * float(np.log10(top))
            )
            for first, last, top in self.runs
            if last - first >= LEAST_STEPS
        ]
