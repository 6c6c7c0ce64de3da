"""Somebody new in a stream of passes: narrow signals that were not there before, with level, width, since when.

A carrier of ours is not new where ours may be on, nor is what comes of ours; what is wider than a microphone is
told when it comes twice, and so is everybody while short impulses are about.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from linkwright.air.fresh import FreshAir
from linkwright.air.ours import GONE_LOOKS, IsOn, Kind, Mine, Ours
from linkwright.air.signals import APART_KHZ, LEAST_DB, TOP_BUSY_DB, TOP_IDLE_DB, WIDE_KHZ, FoundSignal, Signals
from linkwright.units import BoolArray, FloatArray

#: Whoever is not seen in some looks, and for so long [s], is gone.
GONE_S: Final = 10.0
#: Who was seen in one look only, so many within so long [s], are impulses: from then on a second look decides.
GHOSTS: Final = 6
GHOSTS_S: Final = 1_200.0
#: So many who were found are kept.
MOST: Final = 200
#: It is waited so long for what the receivers say of one of ours [s].
WAIT_S: Final = 1.5


@dataclass(slots=True)
class Somebody:
    """A signal that was found. level_db : in the sweep's unit; over_db : over the floor. times : how often it came.

    first : it was there when looking began. of : whose product, image or own carrier it is taken for. most_db : the
    highest that it stood over the floor.
    """

    number: int
    centre_khz: float
    width_khz: float
    level_db: float
    over_db: float
    since_s: float
    last_s: float
    kind: Kind = "somebody"
    of: str = ""
    first: bool = False
    on: bool = True
    times: int = 1
    base: float = 1.0
    looks: int = 1
    missed: int = 0
    most_db: float = -math.inf


@dataclass(eq=False)
class Arrivals:
    """Who is new in an air; `somebodies` all that were found, oldest first."""

    air: FreshAir
    somebodies: list[Somebody] = field(default_factory=list)
    ghosts: deque[float] = field(default_factory=lambda: deque(maxlen=64))
    signals: Signals = field(init=False)
    ours: Ours = field(init=False)
    _asked: list[tuple[Mine, FoundSignal, float]] = field(default_factory=list)
    _once: list[FoundSignal] = field(default_factory=list)
    _number: int = 0
    _last_s: float = math.nan

    def __post_init__(self) -> None:
        self.signals = Signals(self.air)
        self.ours = Ours(self.signals)

    @property
    def mine(self) -> tuple[Mine, ...]:
        """Our carriers and spares."""
        return self.ours.mine

    def expect(self, mine: tuple[Mine, ...]) -> None:
        """These are ours from now on."""
        self.ours.mine = mine

    def look(self, at_s: float, is_on: IsOn = lambda _link: None) -> None:
        """Judge the pass that the air took in last, at `at_s` [s]."""
        air, signals = self.air, self.signals
        if not air.tells:
            air.learn()
            return
        if air.passes == 1:
            signals.top, signals.top_band = np.zeros(air.over.size), np.zeros(air.over.size)
            self.somebodies, self._asked, self._once = [], [], []
            self.ours = Ours(signals, self.ours.mine)
        over = np.nan_to_num(air.over, nan=0.0)
        band, whole = signals.band(over)
        seconds = 0.0 if math.isnan(self._last_s) else max(0.0, at_s - self._last_s)
        self._last_s = at_s
        new = signals.new(over, band, whole)
        came = self.ours.came_up(over, band, whole, is_on)
        self.ours.mix(band)
        self._ask(came, at_s, is_on)
        self._take(signals.signals_in(new, over), at_s)
        self._follow(over, at_s, is_on)
        signals.remember(over, band, seconds, self._once)
        self._forget_ours()
        air.learn(self._taken())
        self.tick(at_s, is_on)

    def tick(self, now_s: float, is_on: IsOn) -> None:
        """Decide on what came up on carriers of ours, as soon as the receivers can tell whether it is ours."""
        waiting = []
        for mine, signal, since_s in self._asked:
            on = is_on(mine.link)
            if on is not True and now_s - since_s < WAIT_S and on is not None:
                waiting.append((mine, signal, since_s))
            elif on is False:
                self._put(signal, since_s, "somebody", "")
            else:
                self._put(signal, since_s, "ours", mine.link)
        self._asked = waiting

    @property
    def impulses(self) -> bool:
        """Whether so many were seen once only that a second look decides."""
        return sum(self._last_s - at < GHOSTS_S for at in self.ghosts) >= GHOSTS

    def _ask(self, came: Sequence[tuple[Mine, FoundSignal]], at_s: float, is_on: IsOn) -> None:
        """What came up on carriers of ours: it is known, or the receivers are asked whether it is ours."""
        for mine, signal in came:
            on = is_on(mine.link)
            if on is not True and self.ours.of_ours(signal, at_s, mine)[0] == "product":
                continue  # it comes of others of ours
            self.ours.came[mine.khz] = at_s
            known = self._known(signal, "somebody" if on is False else "ours")
            if known is not None and (known.kind == "ours" or known.on):
                self._again(known, signal, at_s)
            else:
                self._asked.append((mine, signal, at_s))

    def _take(self, signals: Sequence[FoundSignal], at_s: float) -> None:
        """What was found becomes somebody, unless it is known, ours, or comes of ours."""
        once, before = [], self._once
        needs_two = self.impulses
        for signal in sorted(signals, key=lambda signal: -signal.over_db):
            if self.ours.of_whom(signal) is not None:
                continue  # told by whether ours is on
            on = self._known(signal)
            if on is not None and on.on and signal.over_db <= on.over_db + TOP_BUSY_DB:
                continue  # a part of who is known
            wide = signal.width_khz > WIDE_KHZ
            kind, of = self.ours.of_ours(signal, at_s)
            if kind is None:
                continue
            image = self._known(signal, "product")
            if image is not None and signal.over_db <= image.most_db + TOP_IDLE_DB and not self.ours.left(image.of):
                kind, of = "product", image.of  # as it was seen there before
            known = self._known(signal, *(("product",) if kind == "product" else ("somebody", "wide")))
            if known is not None:
                self._again(known, signal, at_s)
                continue
            if (wide or needs_two) and self.air.passes > 1:
                once.append(signal)
                if not any(
                    abs(other.centre_khz - signal.centre_khz) < (other.width_khz + signal.width_khz) / 2.0
                    for other in before
                ):
                    continue
            self._put(signal, at_s, "wide" if wide else kind, of)
        self._once = once + [signal for signal in before if not self._looked_at(signal)][-MOST:]
        if not any(
            somebody.kind == "product" and somebody.last_s == at_s and somebody.looks == 1
            for somebody in self.somebodies
        ):
            self.ours.clean(at_s)

    def _looked_at(self, signal: FoundSignal) -> bool:
        """Whether this pass looked where a signal was found."""
        part = self.signals.part(signal.centre_khz, max(signal.width_khz, self.air.step_khz) / 2.0)
        return bool(np.isfinite(self.air.over[part]).any())

    def _known(self, signal: FoundSignal, *kinds: Kind) -> Somebody | None:
        """The nearest that is known of these kinds (of all) where a signal was found."""
        near = [(abs(other.centre_khz - signal.centre_khz), other.number, other)
                for other in self.somebodies if not kinds or other.kind in kinds]  # fmt: skip
        away, _, known = min(near, default=(math.inf, 0, None), key=lambda each: each[:2])
        if known is None or away > max(known.width_khz, signal.width_khz) / 2.0 + APART_KHZ / 2.0:
            return None
        return known

    def _again(self, known: Somebody, signal: FoundSignal, at_s: float) -> None:
        if not known.on:
            known.on, known.times = True, known.times + 1
            known.since_s = at_s
        known.last_s, known.missed = at_s, 0
        known.level_db, known.over_db = signal.level_db, signal.over_db
        known.most_db = max(known.most_db, signal.over_db)

    def _put(self, signal: FoundSignal, at_s: float, kind: Kind, of: str) -> None:
        known = self._known(signal, kind)
        if known is not None:
            self._again(known, signal, at_s)
            return
        self._number += 1
        self.somebodies.append(
            Somebody(
                self._number, signal.centre_khz, signal.width_khz, signal.level_db, signal.over_db, at_s, at_s,
                kind, of, self.air.passes == 1, base=signal.base, most_db=signal.over_db,
            )
        )  # fmt: skip
        if len(self.somebodies) > MOST:
            gone = min(self.somebodies, key=lambda other: (other.on, other.last_s))
            self.somebodies.remove(gone)

    def _follow(self, over: FloatArray, at_s: float, is_on: IsOn) -> None:
        """Whether those who are known are on in this pass."""
        frequency, usual = self.air.frequencies_khz, np.maximum(self.air.usual, 1.0)
        seldom = self.signals.chance(over.size)
        shift_db, scale = self.air.shift_db, min(1.0, self.air.step_khz / self.air.resolution_khz)
        for somebody in self.somebodies:
            if somebody.last_s == at_s:
                somebody.looks += somebody.since_s < at_s
                continue
            half = max(somebody.width_khz / 2.0, self.air.step_khz / 2.0)
            part = self.signals.part(somebody.centre_khz, half)
            seen = np.isfinite(self.air.over[part])
            if not seen.any():
                continue
            # to stay takes less than to come again
            chance, lowest = (1e-4, 0.0) if somebody.on else (seldom, LEAST_DB)
            least, alone = (
                somebody.base * 10.0 ** (max(self.air.threshold_db(chance, n), lowest) / 10.0)
                for n in (int(seen.sum()), 1)
            )
            mean, highest = float(np.mean(over[part][seen])), float(np.max(over[part]))
            if mean > least or highest > alone:
                floor = 10.0 ** ((self.air.floor_db[part] + shift_db) / 10.0)
                power = np.maximum(over[part] - somebody.base, 0.0) * floor
                level = 10.0 * math.log10(max(float(power.sum()) * scale, 1e-40))
                over_db = 10.0 * math.log10(mean)
                signal = FoundSignal(somebody.centre_khz, somebody.width_khz, level, over_db, somebody.base)
                middle = float(np.sum(power * frequency[part]) / max(float(np.sum(power)), 1e-40))
                near_khz = somebody.width_khz / 4.0 + self.air.step_khz / 2.0
                if not somebody.on and abs(middle - somebody.centre_khz) > near_khz:
                    continue  # somebody else, who is told by himself
                if self._may_be_again(somebody, signal, at_s, is_on):
                    self._again(somebody, signal, at_s)
                    somebody.looks += 1
                    continue
                if not somebody.on:
                    continue
            self._miss(somebody, part, usual, at_s)

    def _miss(self, somebody: Somebody, part: slice, usual: FloatArray, at_s: float) -> None:
        """Somebody is not heard in this pass: one look is a ghost, several in some time are an end."""
        somebody.missed += 1
        once = somebody.missed == 1 and somebody.looks == 1 and not somebody.first
        if somebody.on and once and somebody.kind == "somebody":
            self.ghosts.append(at_s)
        if somebody.on and somebody.missed >= GONE_LOOKS and at_s - somebody.last_s >= GONE_S:
            somebody.on = False
            self.signals.forget(part, usual[part])
            bins = self.air.band_bins
            around = slice(max(0, part.start - bins), part.stop + bins)
            self.signals.top_band[around] = np.minimum(self.signals.top_band[around], usual[around])

    def _may_be_again(self, somebody: Somebody, signal: FoundSignal, at_s: float, is_on: IsOn) -> bool:
        """Whether what is heard where somebody was is that one: not where ours is on there, nor comes of ours."""
        mine = self.ours.of_whom(signal)
        if mine is not None and somebody.kind != "ours":
            return somebody.on and is_on(mine.link) is not True
        if somebody.on or somebody.kind != "somebody":
            went = somebody.kind == "product" and somebody.looks > 1 and self.ours.left(somebody.of)
            if went and self.ours.of_ours(signal, at_s)[0] == "somebody":
                somebody.kind, somebody.of = "somebody", ""  # ours went, and it stayed
            return True
        return self.ours.of_ours(signal, at_s)[0] == "somebody"

    def _taken(self) -> BoolArray:
        """(bins): where somebody narrow is on that was not there when looking began, or somebody is to be seen once
        more: no part of what is usual."""
        taken = np.zeros(self.air.over.size, np.bool_)
        for signal in self._once:
            taken[self.signals.part(signal.centre_khz, signal.width_khz / 2.0 + APART_KHZ)] = True
        for somebody in self.somebodies:
            if somebody.on and not somebody.first and somebody.kind != "wide":
                taken[self.signals.part(somebody.centre_khz, somebody.width_khz / 2.0 + APART_KHZ)] = True
        return taken

    def _forget_ours(self) -> None:
        """Where ours is not on, what it left behind is forgotten: who comes there is new, however weak."""
        others = [somebody for somebody in self.somebodies if somebody.on and somebody.kind != "ours"]
        for mine in self.ours.off():
            part = self.signals.part(mine.khz, mine.bandwidth_khz / 2.0 + self.air.step_khz)
            frequency = self.air.frequencies_khz[part]
            free = np.ones(frequency.size, np.bool_)
            for other in others:
                free &= np.abs(frequency - other.centre_khz) > other.width_khz
            self.signals.forget(part, np.where(free, 1.0, np.inf))
            self.air.usual[part] = np.where(free, 1.0, self.air.usual[part])
