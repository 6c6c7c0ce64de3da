"""Our own carriers in a stream of passes: which are on, what of a signal is ours, and what comes of ours.

What lies on or beside a carrier of ours that is on, and far under it, is its skirt; where a third-order product of
ours falls it is that product, if the receiver that sweeps makes such; what is far weaker anywhere is an image.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from itertools import combinations, permutations
from typing import Final, Literal

import numpy as np

from linkwright.air.judgement import DEPENDENT_BINS
from linkwright.air.signals import BESIDE_DB, TOP_IDLE_DB, FoundSignal, Signals
from linkwright.physics.detection import averaged_spread_db
from linkwright.units import BoolArray, FloatArray

#: So much weaker than one of ours anywhere it is its image, where it came with it sooner; how much farther the
#: receiver that sweeps is clean than what it has shown [dB].
RANGE_DB: Final = 48.0
CLEAN_DB: Final = 5.0
WITH_DB: Final = 38.0
#: A product is this far under its makers at least; it may stand so far over what is reckoned; from this level on
#: its place shows well [dB]. What the receiver makes is learnt from the highest of so many passes.
PRODUCT_DB: Final = 15.0
DOUBT_DB: Final = 8.0
WELL_DB: Final = 15.0
INTERCEPTS: Final = 12
BY_CHANCE: Final = 2.5
#: A pass that looked at less of the band does not show how clean the receiver is [share].
LOOKED_SHARE: Final = 0.9
#: A carrier of ours may be off its place by a quarter of its band and half a bin.
OFF_SHARE: Final = 0.25
#: Whoever is not seen in so many looks is gone; ours that was off for so many came up anew.
GONE_LOOKS: Final = 3
OFF_LOOKS: Final = 2
#: What jumps by this factor [power] on a carrier whose own transmitter is off is somebody.
JUMP: Final = 10.0

Kind = Literal["somebody", "ours", "product", "wide"]
#: Whether a link of ours transmits: True, False, or None where nobody can tell.
IsOn = Callable[[str], bool | None]


@dataclass(frozen=True, slots=True)
class Mine:
    """A carrier or spare of ours: centre, occupied band and guard beside it [kHz]; whose; whether it is a spare."""

    khz: int
    bandwidth_khz: int
    guard_khz: int
    link: str
    spare: bool = False

    @property
    def edges_khz(self) -> tuple[float, float]:
        """Lowest and highest of its band."""
        return self.khz - self.bandwidth_khz / 2.0, self.khz + self.bandwidth_khz / 2.0

    def touches(self, centre_khz: float, width_khz: float) -> bool:
        """Whether a signal lies on it or within its guard."""
        return abs(centre_khz - self.khz) <= (self.bandwidth_khz + width_khz) / 2.0 + self.guard_khz

    def is_on(self, centre_khz: float, width_khz: float) -> bool:
        """Whether a signal lies on it."""
        return abs(centre_khz - self.khz) < (self.bandwidth_khz + width_khz) / 2.0


@dataclass(eq=False)
class Ours:
    """Our carriers in an air.

    mine : carriers and spares. present : for how many looks each carrier has not been there. on : those that are
    on in this pass, with their level over the floor [dB]. came : when each came up last [s].
    """

    signals: Signals
    mine: tuple[Mine, ...] = ()
    present: dict[int, int] = field(default_factory=dict)
    on: dict[Mine, float] = field(default_factory=dict)
    came: dict[int, float] = field(default_factory=dict)
    range_db: float = RANGE_DB
    _heard: dict[int, float] = field(default_factory=dict)
    _intercepts: list[float] = field(default_factory=list)
    _products: list[tuple[float, float, float, str]] = field(default_factory=list)

    def came_up(
        self, over: FloatArray, band: FloatArray, whole: BoolArray, is_on: IsOn
    ) -> list[tuple[Mine, FoundSignal]]:
        """Which carriers of ours are on in this pass; what came up on one, by where it lies and how wide it is."""
        air = self.signals.air
        came: list[tuple[Mine, FoundSignal]] = []
        least = 10.0 ** (air.threshold_db(self.signals.chance(over.size), air.band_bins) / 10.0)
        for mine in self.mine:
            at = int(np.argmin(np.abs(air.frequencies_khz - mine.khz)))
            if mine.spare or not whole[at] or abs(air.frequencies_khz[at] - mine.khz) > air.step_khz:
                continue
            off = self.present.get(mine.khz, GONE_LOOKS)
            if band[at] <= least:
                self.present[mine.khz] = min(off + 1, GONE_LOOKS)
                continue
            self.present[mine.khz] = 0
            before, self._heard[mine.khz] = self._heard.get(mine.khz, math.inf), float(band[at])
            jumped = band[at] > JUMP * before and is_on(mine.link) is False  # over an image of another of ours
            if off < OFF_LOOKS and not jumped:
                continue
            reach = max(1, round(mine.bandwidth_khz / 2.0 / air.step_khz))
            near = slice(max(0, at - reach), at + reach + 1)
            signal, _, _ = self.signals.signal(over, near.start + int(np.argmax(over[near])))
            if self.is_mine(mine, signal) or is_on(mine.link):
                came.append((mine, signal))
            else:
                self.present[mine.khz] = off
        return came

    def is_mine(self, mine: Mine, signal: FoundSignal) -> bool:
        """Whether a signal may be one of ours by where it lies, as far as noise lets tell, and how wide it is."""
        step, band = self.signals.air.step_khz, mine.bandwidth_khz
        looks = max(1.0, self.signals.air.averages * band / step / DEPENDENT_BINS)
        off = OFF_SHARE * band + step / 2.0 + 2.0 * band / math.sqrt(12.0 * looks)
        return abs(signal.centre_khz - mine.khz) <= off and signal.width_khz <= 1.5 * band + 2.0 * step

    def of_whom(self, signal: FoundSignal) -> Mine | None:
        """Whose carrier a signal may be."""
        return next((mine for mine in self.mine if not mine.spare and self.is_mine(mine, signal)), None)

    def of_ours(self, signal: FoundSignal, at_s: float, but: Mine | None = None) -> tuple[Kind | None, str]:
        """What a signal is of ours: its skirt (None), a product or image of it; else somebody."""
        level = {mine: db for mine, db in self.on.items() if mine is not but}
        for mine, db in level.items():
            beside = abs(signal.centre_khz - mine.khz) <= mine.guard_khz + 2.5 * mine.bandwidth_khz
            inside = mine.is_on(signal.centre_khz, signal.width_khz + 2.0 * OFF_SHARE * mine.bandwidth_khz)
            if (inside and signal.over_db < db + TOP_IDLE_DB) or (beside and signal.over_db < db - BESIDE_DB):
                return None, ""
        for at_khz, near_khz, db, makers in self._products:
            reach = near_khz if signal.over_db < WELL_DB else near_khz / 2.0  # of a weak one only parts show
            if abs(at_khz - signal.centre_khz) <= reach and signal.over_db <= db:
                return "product", makers
        for mine, db in level.items():
            came = at_s - self.came.get(mine.khz, -math.inf) <= 2.0 * self.signals.air.every_s
            if signal.over_db < db - (WITH_DB if came and self.signals.air.passes > 1 else self.range_db):
                return "product", mine.link
        return "somebody", ""

    def mix(self, band: FloatArray) -> None:
        """Which carriers of ours are on and how strong, and where their third-order products may show, how strong.

        A product of levels a, a, b stands at 2 a + b - 2 i over the floor, for a receiver whose intercept lies i
        over the floor: where less is heard, i is more. Looks of a pass lie apart: the highest few do not count.
        """
        self.on = {
            mine: self._level_db(mine)
            for mine in self.mine
            if not mine.spare and self.present.get(mine.khz, GONE_LOOKS) == 0
        }
        air, least = self.signals.air, -math.inf
        frequency = air.frequencies_khz
        mixed: list[tuple[float, Mine, Mine, Mine | None, float, float]] = []
        for a, b in permutations(self.on, 2):
            khz, sum_db = 2 * a.khz - b.khz, 2.0 * self.on[a] + self.on[b]
            at = int(np.searchsorted(frequency, khz - air.step_khz / 2.0))
            if not frequency[0] <= khz <= frequency[-1] or at >= frequency.size:
                continue
            mixed.append((float(khz), a, b, None, sum_db, max(self.on[a], self.on[b])))
            if not math.isfinite(air.over[at]):
                continue  # what was not looked at shows nothing
            least = max(least, (sum_db - 10.0 * math.log10(max(1.0, float(band[at])))) / 2.0)
        if math.isfinite(least):
            self._intercepts = sorted([*self._intercepts, least])[-INTERCEPTS:]
        for (a, b), c in ((pair, c) for pair in combinations(self.on, 2) for c in self.on if c not in pair):
            levels = [self.on[carrier] for carrier in (a, b, c)]
            mixed.append((float(a.khz + b.khz - c.khz), a, b, c, sum(levels) + 6.0, max(levels)))
        doubt_db = DOUBT_DB + air.on_db()
        scatter_db = averaged_spread_db(max(1.0, air.averages * air.band_bins / DEPENDENT_BINS))
        # the highest of many looks are high by chance as well
        reach = self._intercepts[0] - BY_CHANCE * scatter_db if len(self._intercepts) == INTERCEPTS else 0.0
        self._products = [
            (khz, 1.5 * a.bandwidth_khz, min(sum_db - 2.0 * reach + doubt_db, strongest - PRODUCT_DB),
             " and ".join(carrier.link for carrier in (a, b, c) if carrier is not None))
            for khz, a, b, c, sum_db, strongest in mixed
        ]  # fmt: skip

    def _level_db(self, mine: Mine) -> float:
        """How far a carrier of ours stands over the floor in this pass, the mean of its band [dB]."""
        half = mine.bandwidth_khz / 2.0
        frequency = self.signals.air.frequencies_khz
        part = slice(*np.searchsorted(frequency, [mine.khz - half, mine.khz + half]))
        there = self.signals.air.over[part]
        return 10.0 * math.log10(max(1e-3, float(np.nanmean(there)))) if np.isfinite(there).any() else 0.0

    def clean(self, at_s: float) -> None:
        """Whatever of ours came up now brought nothing along: so clean is the receiver, where it looked."""
        if np.isfinite(self.signals.air.over).mean() < LOOKED_SHARE:
            return
        came = [db for mine, db in self.on.items() if self.came.get(mine.khz) == at_s]
        air = self.signals.air
        clean_db = max(came, default=0.0) - air.threshold_db(self.signals.chance(air.over.size)) - CLEAN_DB
        self.range_db = max(self.range_db, clean_db)

    def left(self, links: str) -> bool:
        """Whether none of ours that are named is on any more."""
        makers = [mine for mine in self.mine if not mine.spare and mine.link in links]
        return all(self.present.get(mine.khz, GONE_LOOKS) >= OFF_LOOKS for mine in makers)

    def off(self) -> list[Mine]:
        """Our carriers that are not on."""
        return [mine for mine in self.mine if not mine.spare and self.present.get(mine.khz, 0) >= OFF_LOOKS]
