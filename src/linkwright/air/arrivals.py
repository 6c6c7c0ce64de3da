"""Somebody new in a stream of passes: narrow signals that were not there before, with level, width, since when.

What is new stands over what noise makes with a chance set by the hour, shared out over every place and pass that is
looked at, and over what was ever heard there of late. What rises together with all of its surroundings, where
something wide was known already, is fading (TV); what is wider than a microphone is told when it comes twice.
A carrier of ours is not new where ours may be on; what is far weaker beside it, or comes with it, comes of it.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from itertools import combinations, pairwise, permutations
from typing import Final, Literal

import numpy as np

from linkwright.air.fresh import FreshAir
from linkwright.air.judged import DEPENDENT_BINS
from linkwright.units import BoolArray, FloatArray

#: How often noise alone may be told as somebody, all places and passes together [1/h].
FALSE_PER_HOUR: Final = 1e-3
#: What was heard in a place of late must be topped by this [dB], where it is idle else, and where it is not.
TOP_IDLE_DB, TOP_BUSY_DB = 3.0, 6.0
#: So fast the highest of late is forgotten [dB/s]: 3 dB in ten minutes; so many passes tell what is usual.
FORGET_DB_S: Final = 0.005
LEARNT: Final = 8
#: A place is not idle where this much is usual over the floor [dB].
BUSY_DB: Final = 2.0
#: Surroundings are taken in blocks of this width [kHz]; wider than this is no microphone [kHz].
BLOCK_KHZ: Final = 500.0
WIDE_KHZ: Final = 1_000.0
#: Bins of one carrier lie at most so far apart [kHz], and under its highest by no more than this [dB].
APART_KHZ: Final = 50.0
SKIRT_DB: Final = 20.0
#: Neighbouring bins are added up until they hold so many averages, to see where a signal begins and ends.
SMOOTHED: Final = 6.0
#: So much weaker beside one of ours it is its skirt (on its band nothing can be told from it); so much weaker
#: anywhere, or where it came with one of ours, its image; where a third-order product of ours falls, that product,
#: if the receiver that sweeps makes such, learnt from the highest of so many passes [dB].
BESIDE_DB: Final = 35.0
RANGE_DB: Final = 48.0
CLEAN_DB: Final = 5.0
WITH_DB: Final = 38.0
PRODUCT_DB: Final = 15.0
DOUBT_DB: Final = 8.0
WELL_DB: Final = 15.0
INTERCEPTS: Final = 12
#: A carrier of ours may be off its place by a quarter of its band and half a bin.
OFF_SHARE: Final = 0.25
#: Whoever is not seen in so many looks, and for so long [s], is gone.
GONE_LOOKS: Final = 3
GONE_S: Final = 10.0
#: Who was seen in one look only, so many within so long [s], are impulses: from then on a second look decides.
GHOSTS: Final = 6
GHOSTS_S: Final = 1_200.0
MOST: Final = 200
#: What jumps by this factor [power] on a carrier whose own transmitter is off is somebody.
JUMP: Final = 10.0
#: It is waited so long for what the receivers say of one of ours [s].
WAIT_S: Final = 1.5

Kind = Literal["somebody", "ours", "product", "wide"]


@dataclass(frozen=True, slots=True)
class Mine:
    """A carrier or spare of ours: centre, occupied band and guard beside it [kHz]; whose; whether it is a spare."""

    khz: int
    bandwidth_khz: int
    guard_khz: int
    link: str
    spare: bool = False

    def touches(self, centre_khz: float, width_khz: float) -> bool:
        """Whether a signal lies on it or within its guard."""
        return abs(centre_khz - self.khz) <= (self.bandwidth_khz + width_khz) / 2.0 + self.guard_khz

    def is_on(self, centre_khz: float, width_khz: float) -> bool:
        """Whether a signal lies on it."""
        return abs(centre_khz - self.khz) < (self.bandwidth_khz + width_khz) / 2.0


@dataclass(slots=True)
class Somebody:
    """A signal that was found. level_db : in the sweep's unit; over_db : over the floor. times : how often it came.

    first : it was there when looking began. of : whose product, image or own carrier it is taken for.
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


@dataclass(slots=True)
class _Found:
    centre_khz: float
    width_khz: float
    level_db: float
    over_db: float
    base: float


#: Whether a link of ours transmits: True, False, or None where nobody can tell.
IsOn = Callable[[str], bool | None]


@dataclass(eq=False)
class Arrivals:
    """Who is new in an air. `mine` are our carriers and spares; `somebodies` all that were found, oldest first."""

    air: FreshAir
    mine: tuple[Mine, ...] = ()
    somebodies: list[Somebody] = field(default_factory=list)
    ghosts: deque[float] = field(default_factory=lambda: deque(maxlen=64))
    _top: FloatArray = field(default_factory=lambda: np.zeros(0))
    _top_band: FloatArray = field(default_factory=lambda: np.zeros(0))
    _present: dict[int, int] = field(default_factory=dict)
    _heard: dict[int, float] = field(default_factory=dict)
    _range_db: float = RANGE_DB
    _intercepts: list[float] = field(default_factory=list)
    _came: dict[int, float] = field(default_factory=dict)
    _on: dict[Mine, float] = field(default_factory=dict)
    _products: list[tuple[float, float, float, str]] = field(default_factory=list)
    _asked: list[tuple[Mine, _Found, float]] = field(default_factory=list)
    _once: list[_Found] = field(default_factory=list)
    _number: int = 0
    _last_s: float = math.nan

    def look(self, at_s: float, is_on: IsOn = lambda _link: None) -> None:
        """Judge the pass that the air took in last, at `at_s` [s]."""
        air = self.air
        if not air.tells:
            air.learn()
            return
        if air.passes == 1:
            self._top, self._top_band = np.zeros(air.over.size), np.zeros(air.over.size)
            self.somebodies, self._present, self._asked, self._once = [], {}, [], []
        over = np.nan_to_num(air.over, nan=0.0)
        band, whole = self._band(over)
        gone_s = 0.0 if math.isnan(self._last_s) else max(0.0, at_s - self._last_s)
        self._last_s = at_s
        forget = 10.0 ** (-FORGET_DB_S * gone_s / 10.0)
        new = self._new(over, band, whole)
        came = self._ours(over, band, whole, is_on)
        self._mix(band)
        self._ask(came, at_s, is_on)
        self._take(self._found(new, over), at_s)
        self._follow(over, at_s, is_on)
        again = np.zeros(over.size, np.bool_)  # who was seen once is to be new once more
        for one in self._once:
            reach = one.width_khz / 2.0 + BLOCK_KHZ
            again[
                slice(*np.searchsorted(air.frequencies_khz, [one.centre_khz - reach, one.centre_khz + reach]))
            ] = True
        self._top = np.where(again, self._top * forget, np.maximum(self._top * forget, over))
        self._top_band = np.where(again, self._top_band * forget, np.maximum(self._top_band * forget, band))
        self._forget_ours()
        air.learn(self._taken())
        self.tick(at_s, is_on)

    def tick(self, now_s: float, is_on: IsOn) -> None:
        """Decide on what came up on carriers of ours, as soon as the receivers can tell whether it is ours."""
        waiting = []
        for mine, found, since_s in self._asked:
            on = is_on(mine.link)
            if on is not True and now_s - since_s < WAIT_S and on is not None:
                waiting.append((mine, found, since_s))
            elif on is False:
                self._put(found, since_s, "somebody", "")
            else:
                self._put(found, since_s, "ours", mine.link)
        self._asked = waiting

    @property
    def impulses(self) -> bool:
        """Whether so many were seen once only that a second look decides."""
        return sum(self._last_s - at < GHOSTS_S for at in self.ghosts) >= GHOSTS

    # What stands out

    def _chance(self, places: int) -> float:
        """The chance in one pass at one place: an hour's, over all that is looked at in it, shared by two tests."""
        passes = 3600.0 / max(self.air.every_s, 0.05)
        return FALSE_PER_HOUR / (2.0 * places * passes)

    def _band(self, over: FloatArray) -> tuple[FloatArray, BoolArray]:
        """(bins): the mean over a microphone's band about each bin, and whether all of that was looked at."""
        air, bins = self.air, self.air.band_bins
        mean, whole = np.zeros(over.size), np.zeros(over.size, np.bool_)
        if over.size < bins or bins < 2:
            return over.copy(), np.isfinite(air.over)
        total = np.concatenate([[0.0], np.cumsum(over)])
        seen = np.concatenate([[0], np.cumsum(np.isfinite(air.over))])
        frequency = air.frequencies_khz
        near = frequency[bins - 1 :] - frequency[: frequency.size - bins + 1] <= (bins - 0.5) * air.step_khz
        part = slice(bins // 2, bins // 2 + near.size)
        mean[part] = (total[bins:] - total[:-bins]) / bins
        whole[part] = near & (seen[bins:] - seen[:-bins] == bins)
        return mean, whole

    def _new(self, over: FloatArray, band: FloatArray, whole: BoolArray) -> BoolArray:
        """(bins): whether somebody new is there, by the bin itself or by the band about it."""
        air, bins = self.air, self.air.band_bins
        chance = self._chance(over.size)
        one, many = (10.0 ** (air.threshold_db(chance, n) / 10.0) for n in (1, bins))
        usual, _ = self._band(air.usual)
        usual = np.maximum(np.where(whole, usual, air.usual), 1.0)
        busy = usual > 10.0 ** (BUSY_DB / 10.0)
        rise = self._rise(over, busy)
        top = 10.0 ** (np.where(busy, TOP_BUSY_DB, TOP_IDLE_DB) / 10.0) * rise
        ready = ~busy | (air.looks >= LEARNT)
        alone = ~busy & (over > np.maximum(one * rise, top * self._top))
        together = (
            whole
            & ready
            & (band > np.maximum(many * np.where(busy, 1.26 * usual, 1.0) * rise, top * self._top_band))
        )
        spread = np.zeros(over.size + 1, np.int64)
        at = np.flatnonzero(together)
        np.add.at(spread, np.maximum(at - bins // 2, 0), 1)
        np.add.at(spread, np.minimum(at - bins // 2 + bins, over.size), -1)
        return np.asarray(alone | (np.cumsum(spread)[:-1] > 0))

    def _rise(self, over: FloatArray, busy: BoolArray) -> FloatArray:
        """(bins): by what factor the surroundings of each bin, where something wide is usual, stand higher now."""
        size = max(4, round(BLOCK_KHZ / self.air.step_khz))
        blocks = -(-over.size // size)
        padded = np.full(blocks * size, np.nan)
        ratio = np.where(np.isfinite(self.air.over), over / np.maximum(self.air.usual, 1e-3), np.nan)
        padded[: over.size] = np.where(busy, ratio, np.nan)
        rows = padded.reshape(blocks, size)
        enough = np.isfinite(rows).sum(axis=1) >= size // 2
        median = np.ones(blocks)
        if enough.any():
            median[enough] = np.nanmean(rows[enough], axis=1)
            middle = np.nanmedian(rows[enough], axis=1)
            median[enough] = np.minimum(
                median[enough], 1.5 * middle
            )  # one that is new lifts the mean, not the middle
        around = np.maximum.reduce([median, np.append(median[1:], 1.0), np.append(1.0, median[:-1])])
        return np.asarray(np.maximum(np.repeat(around, size)[: over.size], 1.0))

    def _found(self, new: BoolArray, over: FloatArray) -> list[_Found]:
        """The signals in the bins that are new, the strongest of each stretch first."""
        found: list[_Found] = []
        if self.air.passes == 1:
            new = self._closed(new)  # what fades over frequency is one
        edges = np.flatnonzero(np.diff(np.concatenate([[0], new.astype(np.int8), [0]])))
        least = 10.0 ** (self.air.threshold_db(self._chance(over.size)) / 10.0)
        for low, high in edges.reshape(-1, 2):
            rest = over[low:high].copy()
            strongest = 0.0
            for _ in range(8):
                peak = int(np.argmax(rest))
                if rest[peak] <= max(least if strongest else 0.0, strongest * 10.0 ** (-BESIDE_DB / 10.0)):
                    break
                strongest = max(strongest, float(rest[peak]))
                one, left, right = self._signal(over, low + peak)
                if self.air.passes == 1 and (high - low) * self.air.step_khz > 2.0 * WIDE_KHZ:
                    whole = self.air.frequencies_khz[[low, high - 1]]
                    width = float(whole[1] - whole[0]) + self.air.step_khz
                    one, left, right = replace(one, centre_khz=float(whole.mean()), width_khz=width), low, high
                found.append(one)
                margin = max(1, round(2.0 * APART_KHZ / self.air.step_khz))
                rest[max(0, left - margin - low) : max(0, right + margin - low)] = 0.0
        return found

    def _closed(self, new: BoolArray) -> BoolArray:
        """With gaps of less than twice a carrier's closed."""
        at = np.flatnonzero(new)
        closed = new.copy()
        for low, high in pairwise(at.tolist()):
            if 1 < high - low <= 6.0 * APART_KHZ / self.air.step_khz:
                closed[low:high] = True
        return closed

    def _signal(self, over: FloatArray, peak: int) -> tuple[_Found, int, int]:
        """The signal about a bin: its centre, width, level; and its bins, from and to."""
        air = self.air
        base = np.maximum(air.usual, 1.0)
        few = min(air.band_bins, max(1, math.ceil(SMOOTHED / air.averages)))
        excess = over - base
        if few > 1:
            excess = np.convolve(excess, np.ones(few) / few, "same")
            near = slice(max(0, peak - few), peak + few + 1)
            peak = near.start + int(np.argmax(excess[near]))
        least = max(float(excess[peak]) * 10.0 ** (-SKIRT_DB / 10.0), 10.0 ** (air.on_db() / 10.0) - 1.0)
        if excess[peak] <= least:
            least = 0.5 * float(excess[peak])
        gap = max(1, round(APART_KHZ / air.step_khz))
        left = right = peak
        while True:
            more = np.flatnonzero(excess[max(0, left - gap) : left] > least)
            if not more.size:
                break
            left = max(0, left - gap) + int(more[0])
        while True:
            more = np.flatnonzero(excess[right + 1 : right + 1 + gap] > least)
            if not more.size:
                break
            right = right + 1 + int(more[-1])
        trim = min((few - 1) // 2, (right - left) // 2)
        left, right = left + trim, right - trim
        part = slice(left, right + 1)
        power = np.maximum(over[part] - base[part], 1e-12)
        frequency = air.frequencies_khz[part]
        centre = float(np.sum(power * frequency) / np.sum(power))
        floor = 10.0 ** ((air.floor_db[part] + air.shift_db) / 10.0)
        scale = min(1.0, air.step_khz / air.resolution_khz)
        level = 10.0 * math.log10(max(float(np.sum(power * floor)) * scale, 1e-40))
        width = float(frequency[-1] - frequency[0] + air.step_khz)
        over_db = 10.0 * math.log10(max(float(np.mean(over[part])), 1e-3))
        return _Found(centre, width, level, over_db, float(np.median(base[part]))), left, right + 1

    # Who it is

    def _ours(self, over: FloatArray, band: FloatArray, whole: BoolArray, is_on: IsOn) -> list[tuple[Mine, _Found]]:
        """Which carriers of ours are on in this pass; what came up on one, by where it lies and how wide it is."""
        air, came = self.air, []
        least = 10.0 ** (air.threshold_db(self._chance(over.size), air.band_bins) / 10.0)
        for mine in self.mine:
            at = int(np.argmin(np.abs(air.frequencies_khz - mine.khz)))
            if mine.spare or not whole[at] or abs(air.frequencies_khz[at] - mine.khz) > air.step_khz:
                continue
            off = self._present.get(mine.khz, GONE_LOOKS)
            if band[at] <= least:
                self._present[mine.khz] = min(off + 1, GONE_LOOKS)
                continue
            self._present[mine.khz] = 0
            before, self._heard[mine.khz] = self._heard.get(mine.khz, math.inf), float(band[at])
            jumped = band[at] > JUMP * before and is_on(mine.link) is False  # over an image of another of ours
            if off < 2 and not jumped:
                continue
            reach = max(1, round(mine.bandwidth_khz / 2.0 / air.step_khz))
            near = slice(max(0, at - reach), at + reach + 1)
            found, _, _ = self._signal(over, near.start + int(np.argmax(over[near])))
            if self._is_mine(mine, found) or is_on(mine.link):
                came.append((mine, found))
            else:
                self._present[mine.khz] = off
        return came

    def _ask(self, came: Sequence[tuple[Mine, _Found]], at_s: float, is_on: IsOn) -> None:
        """What came up on carriers of ours: it is known, or the receivers are asked whether it is ours."""
        for mine, found in came:
            on = is_on(mine.link)
            if on is not True and self._of_ours(found, at_s, mine)[0] == "product":
                continue  # it comes of others of ours
            self._came[mine.khz] = at_s
            known = self._known(found, "somebody" if on is False else "ours")
            if known is not None and (known.kind == "ours" or known.on):
                self._again(known, found, at_s)
            else:
                self._asked.append((mine, found, at_s))

    def _is_mine(self, mine: Mine, found: _Found) -> bool:
        """Whether a signal may be one of ours by where it lies, as far as noise lets tell, and how wide it is."""
        step, band = self.air.step_khz, mine.bandwidth_khz
        looks = max(1.0, self.air.averages * band / step / DEPENDENT_BINS)
        off = OFF_SHARE * band + step / 2.0 + 2.0 * band / math.sqrt(12.0 * looks)
        return abs(found.centre_khz - mine.khz) <= off and found.width_khz <= 1.5 * band + 2.0 * step

    def _take(self, found: Sequence[_Found], at_s: float) -> None:
        """What was found becomes somebody, unless it is known, ours, or comes of ours."""
        once, before = [], self._once
        needs_two = self.impulses
        for one in sorted(found, key=lambda one: -one.over_db):
            if any(not mine.spare and self._is_mine(mine, one) for mine in self.mine):
                continue  # told by whether ours is on
            on = self._known(one)
            if on is not None and on.on and one.over_db <= on.over_db + TOP_BUSY_DB:
                continue  # a part of who is known
            wide = one.width_khz > WIDE_KHZ
            kind, of = self._of_ours(one, at_s)
            if kind is None:
                continue
            known = self._known(one, *(("product",) if kind == "product" else ("somebody", "wide")))
            if known is not None:
                self._again(known, one, at_s)
                continue
            if (wide or needs_two) and self.air.passes > 1:
                once.append(one)
                if not any(abs(other.centre_khz - one.centre_khz) < (other.width_khz + one.width_khz) / 2.0
                           for other in before):  # fmt: skip
                    continue
            self._put(one, at_s, "wide" if wide else kind, of)
        self._once = once
        if not any(one.kind == "product" and one.last_s == at_s and one.looks == 1 for one in self.somebodies):
            # what came up of ours and brought nothing along tells how clean the receiver that sweeps is
            came = [db for mine, db in self._on.items() if self._came.get(mine.khz) == at_s]
            clean_db = max(came, default=0.0) - self.air.threshold_db(self._chance(self.air.over.size)) - CLEAN_DB
            self._range_db = max(self._range_db, clean_db)

    def _of_ours(self, one: _Found, at_s: float, but: Mine | None = None) -> tuple[Kind | None, str]:
        """What a signal is of ours: its skirt (None), a product or image of it; else somebody."""
        level = {mine: db for mine, db in self._on.items() if mine is not but}
        for mine, db in level.items():
            beside = abs(one.centre_khz - mine.khz) <= mine.guard_khz + 2.5 * mine.bandwidth_khz
            inside = mine.is_on(one.centre_khz, one.width_khz + 2.0 * OFF_SHARE * mine.bandwidth_khz)
            if (inside and one.over_db < db + TOP_IDLE_DB) or (beside and one.over_db < db - BESIDE_DB):
                return None, ""
        for at_khz, near_khz, db, makers in self._products:
            reach = near_khz if one.over_db < WELL_DB else near_khz / 2.0  # of a weak one only parts show
            if abs(at_khz - one.centre_khz) <= reach and one.over_db <= db:
                return "product", makers
        for mine, db in level.items():
            came = at_s - self._came.get(mine.khz, -math.inf) <= 2.0 * self.air.every_s
            if one.over_db < db - (WITH_DB if came and self.air.passes > 1 else self._range_db):
                return "product", mine.link
        return "somebody", ""

    def _mix(self, band: FloatArray) -> None:
        """Which carriers of ours are on and how strong, and where their third-order products may show, how strong.

        A product of levels a, a, b stands at 2 a + b - 2 i over the floor, for a receiver whose intercept lies i
        over the floor: where less is heard, i is more. Looks of a pass lie apart: the highest few do not count.
        """
        self._on = {
            mine: self._level_db(mine) for mine in self.mine
            if not mine.spare and self._present.get(mine.khz, GONE_LOOKS) == 0
        }  # fmt: skip
        frequency, least = self.air.frequencies_khz, -math.inf
        mixed: list[tuple[float, Mine, Mine, Mine | None, float, float]] = []
        for a, b in permutations(self._on, 2):
            khz, sum_db = 2 * a.khz - b.khz, 2.0 * self._on[a] + self._on[b]
            at = int(np.searchsorted(frequency, khz - self.air.step_khz / 2.0))
            if not frequency[0] <= khz <= frequency[-1] or at >= frequency.size:
                continue
            mixed.append((float(khz), a, b, None, sum_db, max(self._on[a], self._on[b])))
            least = max(least, (sum_db - 10.0 * math.log10(max(1.0, float(band[at])))) / 2.0)
        if mixed:
            self._intercepts = sorted([*self._intercepts, least])[-INTERCEPTS:]
        for (a, b), c in ((pair, c) for pair in combinations(self._on, 2) for c in self._on if c not in pair):
            levels = [self._on[one] for one in (a, b, c)]
            mixed.append((float(a.khz + b.khz - c.khz), a, b, c, sum(levels) + 6.0, max(levels)))
        doubt_db = DOUBT_DB + self.air.on_db()
        reach = self._intercepts[0] if len(self._intercepts) == INTERCEPTS else 0.0
        self._products = [
            (khz, 1.5 * a.bandwidth_khz, min(sum_db - 2.0 * reach + doubt_db, strongest - PRODUCT_DB),
             " and ".join(one.link for one in (a, b, c) if one is not None))
            for khz, a, b, c, sum_db, strongest in mixed
        ]  # fmt: skip

    def _level_db(self, mine: Mine) -> float:
        """How far a carrier of ours stands over the floor in this pass, the mean of its band [dB]."""
        half = mine.bandwidth_khz / 2.0
        frequency = self.air.frequencies_khz
        part = slice(*np.searchsorted(frequency, [mine.khz - half, mine.khz + half]))
        there = self.air.over[part]
        return 10.0 * math.log10(max(1e-3, float(np.nanmean(there)))) if np.isfinite(there).any() else 0.0

    # Who is there

    def _known(self, one: _Found, *kinds: Kind) -> Somebody | None:
        """The nearest that is known of these kinds (of all) where a signal was found."""
        near = [(abs(other.centre_khz - one.centre_khz), other.number, other)
                for other in self.somebodies if not kinds or other.kind in kinds]  # fmt: skip
        away, _, known = min(near, default=(math.inf, 0, None), key=lambda each: each[:2])
        if known is None or away > max(known.width_khz, one.width_khz) / 2.0 + APART_KHZ / 2.0:
            return None
        return known

    def _again(self, known: Somebody, one: _Found, at_s: float) -> None:
        if not known.on:
            known.on, known.times = True, known.times + 1
            known.since_s = at_s
        known.last_s, known.missed = at_s, 0
        known.level_db, known.over_db = one.level_db, one.over_db

    def _put(self, one: _Found, at_s: float, kind: Kind, of: str) -> None:
        known = self._known(one, kind)
        if known is not None:
            self._again(known, one, at_s)
            return
        self._number += 1
        self.somebodies.append(
            Somebody(
                self._number, one.centre_khz, one.width_khz, one.level_db, one.over_db, at_s, at_s, kind, of,
                self.air.passes == 1, base=one.base,
            )
        )  # fmt: skip
        if len(self.somebodies) > MOST:
            gone = min(self.somebodies, key=lambda other: (other.on, other.last_s))
            self.somebodies.remove(gone)

    def _follow(self, over: FloatArray, at_s: float, is_on: IsOn) -> None:
        """Whether those who are known are on in this pass."""
        frequency, on_power = self.air.frequencies_khz, 10.0 ** (self.air.threshold_db(1e-5) / 10.0)
        air_usual = np.maximum(self.air.usual, 1.0)
        shift_db, scale = self.air.shift_db, min(1.0, self.air.step_khz / self.air.resolution_khz)
        for one in self.somebodies:
            if one.last_s == at_s:
                one.looks += one.since_s < at_s
                continue
            half = max(one.width_khz / 2.0, self.air.step_khz / 2.0)
            part = slice(*np.searchsorted(frequency, [one.centre_khz - half - 1e-6, one.centre_khz + half + 1e-6]))
            seen = np.isfinite(self.air.over[part])
            if not seen.any():
                continue
            least = one.base * 10.0 ** (self.air.threshold_db(1e-4, int(seen.sum())) / 10.0)
            mean, highest = float(np.mean(over[part][seen])), float(np.max(over[part]))
            if mean > least or highest > one.base * on_power:
                power = np.maximum(over[part] - one.base, 0.0) * 10.0 ** (
                    (self.air.floor_db[part] + shift_db) / 10.0
                )
                level = 10.0 * math.log10(max(float(power.sum()) * scale, 1e-40))
                over_db = 10.0 * math.log10(mean)
                found = _Found(one.centre_khz, one.width_khz, level, over_db, one.base)
                middle = float(np.sum(power * frequency[part]) / max(float(np.sum(power)), 1e-40))
                if not one.on and abs(middle - one.centre_khz) > one.width_khz / 4.0 + self.air.step_khz / 2.0:
                    continue  # somebody else, who is told by himself
                if self._may_be_again(one, found, at_s, is_on):
                    self._again(one, found, at_s)
                    one.looks += 1
                    continue
                if not one.on:
                    continue
            one.missed += 1
            if one.on and one.missed == 1 and one.looks == 1 and not one.first and one.kind == "somebody":
                self.ghosts.append(at_s)
            if one.on and one.missed >= GONE_LOOKS and at_s - one.last_s >= GONE_S:
                one.on = False
                self._top[part] = np.minimum(self._top[part], air_usual[part])
                around = slice(max(0, part.start - self.air.band_bins), part.stop + self.air.band_bins)
                self._top_band[around] = np.minimum(self._top_band[around], air_usual[around])

    def _may_be_again(self, one: Somebody, found: _Found, at_s: float, is_on: IsOn) -> bool:
        """Whether what is heard where somebody was is that one: not where ours is on there, nor comes of ours."""
        mine = next((mine for mine in self.mine if not mine.spare and self._is_mine(mine, found)), None)
        if mine is not None and one.kind != "ours":
            return one.on and is_on(mine.link) is not True
        if one.on or one.kind != "somebody":
            went = one.kind == "product" and one.looks > 1 and self._left(one)
            if went and self._of_ours(found, at_s)[0] == "somebody":
                one.kind, one.of = "somebody", ""  # ours went, and it stayed
            return True
        return self._of_ours(found, at_s)[0] == "somebody"

    def _taken(self) -> BoolArray:
        """(bins): where somebody narrow is on that was not there when looking began: no part of what is usual."""
        taken = np.zeros(self.air.over.size, np.bool_)
        for one in self.somebodies:
            if one.on and not one.first and one.kind != "wide":
                half = one.width_khz / 2.0 + APART_KHZ
                edges = [one.centre_khz - half, one.centre_khz + half]
                taken[slice(*np.searchsorted(self.air.frequencies_khz, edges))] = True
        return taken

    def _left(self, one: Somebody) -> bool:
        """Whether none of ours that a product or image was taken to come of is on any more."""
        of = [
            self._present.get(mine.khz, GONE_LOOKS) for mine in self.mine if not mine.spare and mine.link in one.of
        ]
        return all(off >= 2 for off in of)

    def _forget_ours(self) -> None:
        """Where ours is not on, what it left behind is forgotten: who comes there is new, however weak."""
        for khz, off in self._present.items():
            if off < 2:
                continue
            mine = next((one for one in self.mine if one.khz == khz and not one.spare), None)
            if mine is None:
                continue
            reach = mine.bandwidth_khz / 2.0 + self.air.step_khz
            part = slice(*np.searchsorted(self.air.frequencies_khz, [khz - reach, khz + reach]))
            theirs = [
                (one.centre_khz - one.width_khz, one.centre_khz + one.width_khz)
                for one in self.somebodies if one.on and one.kind != "ours"
            ]  # fmt: skip
            frequency = self.air.frequencies_khz[part]
            free = np.ones(frequency.size, np.bool_)
            for low, high in theirs:
                free &= (frequency < low) | (frequency > high)
            self._top[part] = np.where(free, np.minimum(self._top[part], 1.0), self._top[part])
            self._top_band[part] = np.where(free, np.minimum(self._top_band[part], 1.0), self._top_band[part])
            self.air.usual[part] = np.where(free, 1.0, self.air.usual[part])
