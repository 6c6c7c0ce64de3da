"""A tuner becomes a sweep that goes on: one line of levels a round, NaN where a round did not look.

The first round is all of the band. How long it took says how long a look takes, and so how many looks there are in
the time within which everything is to come again; from then on our carriers and spares are in every round. Where
looks come to take longer (a busy machine), or ours are others, the rounds are planned anew when they are through.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from linkwright.air.readers import ReadOptions
from linkwright.air.readers.sigmf import averages_of, transform_size
from linkwright.air.sweep import Unit
from linkwright.air.tuning.retuning import Passband, Retuning, looks_at, retuning, whole_band
from linkwright.air.tuning.retuning import Unit as Looks
from linkwright.air.tuning.spectrum import is_overdriven, levels_db, passband_of
from linkwright.air.tuning.tuner import Tuner, TunerEnded
from linkwright.physics.detection import NOISE_BANDWIDTH_BINS
from linkwright.shoot.errors import InputError
from linkwright.units import FloatArray

#: A look at one part of the band [s]: under a twentieth of a second, long enough for some hundred averages.
LOOK_S: Final = 0.02
#: Where no time is stated, everything comes again within so many times what one pass of all takes.
TIMES_A_PASS: Final = 2.0
#: Rounds that took so many times what they may are planned anew, by how long a look takes now.
LATE: Final = 1.05
#: More bins than a live sweep keeps, and transforms longer than this, are refused.
MOST_BINS: Final = 250_000
LARGEST_TRANSFORM: Final = 1 << 16
#: What is told of looks that were overdriven or lost is told again after so many of them.
AGAIN: Final = 500


@dataclass(frozen=True, slots=True)
class SweepWanted:
    """What is looked at: from, to [kHz], None for all that recordings hold; ours: lowest and highest [kHz] of each;
    within how long all comes again [s]; one look [s]; noise bandwidth of a bin [kHz]; what turns levels over full
    scale into dBm [dB], None where that is not known."""

    from_khz: float | None = None
    to_khz: float | None = None
    ours: tuple[tuple[float, float], ...] = ()
    within_s: float | None = None
    look_s: float = LOOK_S
    resolution_khz: float | None = None
    offset_db: float | None = None


@dataclass(eq=False)
class Sweeping:
    """A tuner going over the band. looks : made; lost : given up, as samples were lost; overdriven : left out.

    tell : hears a sentence now and then. plan : the rounds, once the first pass is through.
    """

    tuner: Tuner
    wanted: SweepWanted
    tell: Callable[[str], None] = field(default=lambda _says: None)
    looks: int = 0
    lost: int = 0
    overdriven: int = 0
    plan: Retuning | None = None
    size: int = field(init=False)
    step_khz: float = field(init=False)
    from_khz: float = field(init=False)
    passband: Passband = field(init=False)
    _ours: tuple[tuple[float, float], ...] = field(init=False)
    _levels: FloatArray = field(init=False)
    _count: int = field(init=False)

    def __post_init__(self) -> None:
        rate_hz, self._ours = self.tuner.rate_hz, self.wanted.ours
        self.size = transform_size(rate_hz, self.wanted.resolution_khz)
        self._count = max(round(self.wanted.look_s * rate_hz), self.size)
        self.step_khz = rate_hz / self.size / 1e3
        if self.size > LARGEST_TRANSFORM:
            raise InputError(f"bins of {self.step_khz:.3g} kHz are too fine; state a coarser resolution")
        try:
            self.passband = passband_of(rate_hz, self.size)
        except ValueError:
            raise InputError(
                f"{rate_hz:.0f} samples a second in bins of {self.step_khz:.3g} kHz leave nothing between middle "
                "and edges of the passband; expected more samples a second"
            ) from None
        self.from_khz, bins = self._band()
        if not 2 <= bins <= MOST_BINS:
            raise InputError(
                f"the band has {bins} bins of {self.step_khz:.3g} kHz, expected 2 to {MOST_BINS}; give another"
            )
        self._levels = np.full(bins, np.nan)

    def _band(self) -> tuple[float, int]:
        """The lowest bin [kHz] and how many there are; those of recordings lie where the recordings' own do."""
        low, high, places = self.wanted.from_khz, self.wanted.to_khz, self.tuner.places_hz()
        if places:
            reach, middle = self.passband.outer * self.step_khz, places[0] / 1e3
            low = middle - reach if low is None else low
            low = middle - math.floor((middle - low) / self.step_khz + 1e-9) * self.step_khz
            high = places[-1] / 1e3 + reach if high is None else high
        if low is None or high is None:
            raise InputError("a receiver needs to be told the band; give --from-mhz and --to-mhz")
        return low, math.floor((high - low) / self.step_khz + 1e-9) + 1

    @property
    def unit(self) -> Unit:
        """Of the levels: dBm where they were told how, else relative to full scale."""
        return "dB" if self.wanted.offset_db is None else "dBm"

    @property
    def options(self) -> ReadOptions:
        """What is to be known of a line to read it."""
        segments = (self._count - self.size // 2) // (self.size - self.size // 2)
        return ReadOptions(
            unit=self.unit, from_khz=self.from_khz, step_khz=self.step_khz, columns="bins", detector="rms",
            resolution_khz=self.step_khz * NOISE_BANDWIDTH_BINS["hann"], averages=averages_of(segments),
        )  # fmt: skip

    def lines(self) -> Iterator[bytes]:
        """A line a round, until the tuner ends. Raises TunerGone where it fails; what was seen is in `rest`."""
        _, whole = self._places()
        plain = tuple(place for unit in whole for place in unit)
        rounds: tuple[tuple[int, ...], ...] = (plain,)
        within_s = self.wanted.within_s
        planned_for = None
        try:
            while True:
                began_s, before = self.tuner.now_s(), self.looks
                for each in rounds:
                    for place in each:
                        self._look(place)
                    yield from self._round()
                took_s = max(self.tuner.now_s() - began_s, 1e-9)
                within_s = TIMES_A_PASS * took_s if within_s is None else within_s
                if self.plan is None or planned_for != self._ours or took_s > LATE * within_s:
                    planned_for = self._ours
                    self.plan = self._planned(took_s / (self.looks - before), within_s)
                    rounds = self.plan.rounds
        except TunerEnded:
            return

    def follow(self, ours: tuple[tuple[float, float], ...]) -> None:
        """These are ours [kHz] from the end of the rounds under way on, so that none of the band waits for long."""
        self._ours = ours

    def rest(self) -> bytes:
        """A last line of what a round that was broken off has seen; nothing where that is nothing."""
        return b"".join(self._round())

    def _places(self) -> tuple[tuple[int, ...], tuple[Looks, ...]]:
        """Where to tune for ours, and for all of the band [bins]."""
        bins = self._levels.size
        edges = [[(edge - self.from_khz) / self.step_khz for edge in band] for band in self._ours]
        mine = [
            (max(0, math.floor(low)), min(bins - 1, math.ceil(high)))
            for low, high in edges
            if low < bins and high >= 0
        ]
        places = self.tuner.places_hz()
        if places is None:
            return looks_at(mine, self.passband), whole_band(bins, self.passband)
        at = [round((hz / 1e3 - self.from_khz) / self.step_khz) for hz in places]
        at = [place for place in at if self._gives(place, [(0, bins - 1)])]
        if not at:
            raise InputError("no recording lies in the band that is asked for", path=self.tuner.name)
        return tuple(place for place in at if self._gives(place, mine)), tuple((place,) for place in at)

    def _gives(self, place: int, bands: Sequence[tuple[int, int]]) -> bool:
        """Whether a look gives a bin of one of these bands."""
        sides = self.passband.sides(place)
        return any(side[0] <= high and low <= side[-1] for side in sides for low, high in bands)

    def _planned(self, a_look_s: float, within_s: float) -> Retuning:
        """The rounds, by how long a look takes; told where they are new.

        Raises InputError where the first pass took longer than all may take; a later one that does is gone on with.
        """
        ours, whole = self._places()
        plain = sum(map(len, whole))
        if self.plan is None and within_s < a_look_s * plain * (1.0 - 1e-9):
            raise InputError(
                f"all of the band takes {_seconds(a_look_s * plain)} s, found {within_s:g} s to see it again "
                "within; expected more time, a narrower band, shorter looks or more samples a second"
            )
        plan = retuning(ours, whole, max(within_s / a_look_s * (1.0 + 1e-9), plain))
        if plan != self.plan:
            all_s, ours_s = plan.all_every * a_look_s, plan.ours_every * a_look_s
            often = f"our carriers and spares are looked at every {_seconds(ours_s)} s, " if ours else ""
            self.tell(f"{self.tuner.name}: {often}all of the band every {_seconds(all_s)} s.")
        return plan

    def _look(self, place: int) -> None:
        centre_hz = (self.from_khz + place * self.step_khz) * 1e3
        places = self.tuner.places_hz()
        if places is not None:
            centre_hz = min(places, key=lambda hz: abs(hz - centre_hz))
        block = self.tuner.look(centre_hz, self._count)
        self.looks += 1
        if block is None:
            self.lost += 1
            self._say(
                self.lost, f"{self.lost} looks were given up: samples were lost, this machine does not keep up"
            )
            return
        tuned_hz, samples = block
        if is_overdriven(samples):
            self.overdriven += 1
            self._say(
                self.overdriven,
                f"overdriven at {tuned_hz / 1e6:.1f} MHz: samples stand at full scale, and the look is left out; "
                "take less gain, or go farther from the transmitter",
            )
            return
        self._fill(tuned_hz / 1e3, levels_db(samples, self.size))

    def _fill(self, centre_khz: float, levels: FloatArray) -> None:
        """The used bins of a look, at the frequencies where they lie indeed."""
        off = round((centre_khz - self.from_khz) / self.step_khz)
        for side in self.passband.sides(off):
            low, high = max(0, side[0]), min(self._levels.size - 1, side[-1])
            if high >= low:
                first = low - off + self.size // 2
                self._levels[low : high + 1] = levels[first : first + high - low + 1]

    def _round(self) -> Iterator[bytes]:
        """The round as a line, where anything was seen in it; the next begins with nothing."""
        if not np.isfinite(self._levels).any():
            return
        levels = np.round(self._levels + (self.wanted.offset_db or 0.0), 2)
        self._levels.fill(np.nan)
        yield ",".join(map(repr, levels.tolist())).encode() + b"\n"

    def _say(self, count: int, says: str) -> None:
        if count == 1 or count % AGAIN == 0:
            self.tell(says)


def _seconds(length_s: float) -> str:
    return f"{length_s:.{2 if length_s < 1.0 else 1}f}"
