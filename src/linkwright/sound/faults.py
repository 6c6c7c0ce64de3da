"""Faults of one track: certain ones (mute, hold, exact repeat, hole), and suspects.

A fault is certain only where its samples cannot come from a microphone: an exactly unchanging value between live
samples, a stretch that repeats bit for bit, a hole whose edges fall faster than a voice does and whose bottom lies
under the track's own noise. Everything else is a suspect. The thresholds are own choices, tuned on other clips than
those of the tests (docs/sound.md).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from linkwright.sound.clipping import near_level
from linkwright.sound.fault import MOST, Fault, apart, gathered, regular_clicks
from linkwright.sound.faults_compiled import constant_runs, envelope, gaps, holes, repeats, tops
from linkwright.sound.suspects_compiled import alike, bursts
from linkwright.units import IntArray, SampleArray

#: What is looked at before and after a sample [s]: the samples kept, and those that must be there already.
KEPT_S: Final = 0.5
AHEAD_S: Final = 0.25
#: Shortest run of one value [s] and in samples: noise of one step has 16 alike once in 1e7 runs at the most.
RUN_S: Final = 0.001
RUN_SAMPLES: Final = 16
#: A longer run of zeros was made by hand or by a switch, not by a link [s].
LONGEST_MUTE_S: Final = 5.0
#: The edge of a run and the sound beside it [s]; an edge is faded when it stays under this share of the rms.
EDGE_S: Final = 0.00015
LIVE_S: Final = 0.020
FADED: Final = 0.05
#: Below this rms a track is not live: four steps of 16 bits [full scale 1].
LIVE: Final = 4.0 / 32768.0
#: Repeats: shortest [s], farthest back [s], different values in them, and how often a block may come again.
REPEAT_S: Final = 0.0015
REPEAT_LAG_S: Final = 0.2
REPEAT_VALUES: Final = 12
REPEAT_TIMES: Final = 6.0
#: A top is the largest of so many neighbours on either side.
NEAR_TOP: Final = 4
#: Bins of the envelope [s]; a hole's edge, sides, shortest and longest in bins; how deep it is at least.
BIN_S: Final = 0.0005
HOLE_EDGE, HOLE_SIDE, HOLE_LEAST, HOLE_MOST = 3, 12, 4, 240
HOLE_DEPTH: Final = 16.0
#: A gap filled with the room's noise is less deep and may be longer: its median bin lies GAP_DEPTH times under
#: both sides, no bin stands GAP_LEAP times over it, both sides stand GAP_EDGE times over it within the edge (where
#: a voice closes by itself, its end hardly does), it stays alike from its first to its last quarter, and lies
#: within GAP_FLOOR of the noise's peaks. Set with what bench/listen_named.py says.
GAP_DEPTH, GAP_SIDE, GAP_LEAST, GAP_MOST = 6.0, 24, 9, 600
GAP_EDGE, GAP_LEAP, GAP_ALIKE, GAP_FLOOR = 5.0, 3.0, 1.8, 1.5
#: The middle third difference in a hole is at most this share of that beside it.
HOLE_BEND: Final = 0.6
#: The sides of a hole reach this much: sixteen live steps [full scale 1].
HOLE_LIVE: Final = 16.0 * LIVE
#: A hole is certain when its bottom lies this much under the noise of the track's pauses.
UNDER_FLOOR: Final = 0.5
#: A click stands this many times over what is around it in its third difference.
CLICK: Final = 12.0
#: No click is told below this third difference [full scale 1].
CLICK_LEAST: Final = 0.01
#: A burst is noise where the third difference reaches NOISY times the magnitude; it stands BURST_RISE times over
#: the third differences beside it; its edge, sides, shortest and longest in bins.
NOISY, BURST_RISE = 0.1, 4.0
BURST_EDGE, BURST_SIDE, BURST_LEAST, BURST_MOST = 2, 12, 4, 1000
#: A burst that may be a part of crackling is so short [s].
CRACKLE_S: Final = 0.005
#: A repeat that was digitised again: nearest lag [s], what is looked at about a peak [s], shortest [s], and what is
#: left of the power there and in every piece (-30 and -25 dB).
ALIKE_LAG_S, ALIKE_PROBE_S, ALIKE_S = 0.003, 0.0025, 0.008
ALIKE_LEFT: Final = (1e-3, 3e-3)
#: It is no tone: its block comes again at most so often, and for so long [s].
ALIKE_TIMES, ALIKE_LONGEST_S = 2.5, 0.1


@dataclass
class FaultFinder:
    """Looks for faults in a track that streams by."""

    rate_hz: int
    base: int = 0  # absolute place of buffer[0]
    done: int = 1  # absolute place up to which runs and repeats were looked for
    run: int = 0  # absolute place where the present run of one value began
    before: tuple[float, float] = (0.0, 0.0)  # what stood before it
    told: int = 0  # absolute place up to which repeats were told
    bins_done: int = 0  # absolute bin up to which the envelope was looked through
    dropped: int = 0
    counts: dict[tuple[str, bool], int] = field(default_factory=dict)
    buffer: SampleArray = field(default_factory=lambda: np.empty(0, np.float32))
    table: IntArray = field(default_factory=lambda: np.full(1 << 14, -1, np.int64))
    faults: list[Fault] = field(default_factory=list)
    bottoms: dict[int, float] = field(default_factory=dict)  # largest magnitude in the middle of a hole, by place
    held: dict[int, float] = field(default_factory=dict)  # magnitude of a held sample, by place
    filled: set[int] = field(default_factory=set)  # places of holes that may be filled with the room's noise

    def add(self, x: SampleArray) -> None:
        """The next samples."""
        self.buffer = np.concatenate((self.buffer, x))
        self._look(self.buffer.size - int(AHEAD_S * self.rate_hz))
        keep = min(self.buffer.size, int((KEPT_S + AHEAD_S) * self.rate_hz))
        width = self._bin
        drop = (self.buffer.size - keep) // width * width
        self.base += drop
        self.buffer = self.buffer[drop:].copy()

    def finish(self, floor_peak: float, clipped: Sequence[float] = ()) -> list[Fault]:
        """All faults, in the order of time; a value that is held at one of the levels `clipped` is no hold.

        floor_peak : largest magnitude that the noise of the track's pauses reaches most of the time, full scale 1.
        """
        self._look(self.buffer.size - 1)
        end = self.base + self.buffer.size
        if self.buffer.size and end - self.run >= self._least_run and self.buffer[-1] == 0.0:
            self._keep(Fault(self.run, end - self.run, "edit", True))
        flat = {at for at, value in self.held.items() if near_level(value, clipped)}
        self.faults = [fault for fault in self.faults if fault.kind != "hold" or fault.at not in flat]
        gone = {at for at in self.filled if self.bottoms[at] > GAP_FLOOR * floor_peak}
        judged = [
            self._judged(fault, floor_peak) for fault in self.faults if fault.kind != "hole" or fault.at not in gone
        ]
        short = round(CRACKLE_S * self.rate_hz)
        faults = gathered(
            regular_clicks(apart(judged), self.rate_hz),
            lambda fault: fault.kind == "click" or (fault.kind == "burst" and fault.length <= short),
            self.rate_hz,
            "crackle",
        )
        return sorted(faults, key=lambda fault: fault.at)

    @property
    def _bin(self) -> int:
        return max(1, round(BIN_S * self.rate_hz))

    @property
    def _least_run(self) -> int:
        return max(RUN_SAMPLES, round(RUN_S * self.rate_hz))

    def _keep(self, fault: Fault) -> bool:
        count = self.counts.get((fault.kind, fault.certain), 0)
        self.counts[(fault.kind, fault.certain)] = count + 1
        if count >= MOST:
            self.dropped += 1
        else:
            self.faults.append(fault)
        return count < MOST

    def _look(self, end: int) -> None:
        begin = self.done - self.base
        if end > begin:
            self._look_for_runs(begin, end)
            self._look_for_repeats(begin, end)
            self.done = self.base + end
        self._look_at_envelope()

    def _look_for_runs(self, begin: int, end: int) -> None:
        out = np.empty((MOST, 2), np.int64)
        count, run = constant_runs(self.buffer, begin, end, self.run - self.base, self._least_run, out)
        for first, last in out[:count]:
            before = self.before if first + self.base == self.run else self._levels(int(first), -1)
            self._judge_run(int(first), int(last), before)
        if run + self.base != self.run:
            self.run, self.before = run + self.base, self._levels(run, -1)

    def _levels(self, at: int, way: int) -> tuple[float, float]:
        """Just before (way -1) or from (way 1) a place: the largest magnitude at the edge, and the rms of 20 ms."""
        edge, long = max(6, round(EDGE_S * self.rate_hz)), max(6, round(LIVE_S * self.rate_hz))
        part = self.buffer[max(0, at - long) : at][::-1] if way < 0 else self.buffer[at : at + long]
        if not part.size:
            return 0.0, 0.0
        return float(np.abs(part[:edge]).max()), float(np.sqrt(np.mean(part.astype(float) ** 2)))

    def _judge_run(self, first: int, last: int, before: tuple[float, float]) -> None:
        """A mute or a held sample has live sound on both sides; an edit has faded, or has silence beside it."""
        at, length = self.base + first, last - first
        value = float(self.buffer[last - 1])
        if abs(value) > 0.5 and length < 0.05 * self.rate_hz:
            return  # a flat top: clipping is told elsewhere
        after = self._levels(last, 1)
        live = min(before[1], after[1]) >= LIVE
        if value != 0.0:
            if live and abs(value) >= LIVE / 4:
                self.held[at] = abs(value)
                self._keep(Fault(at, length, "hold", True))
            return
        faded = all(edge <= max(FADED * rms, 1.5 / 32768.0) for edge, rms in (before, after))
        edit = at == 0 or length > LONGEST_MUTE_S * self.rate_hz or faded or not live
        self._keep(Fault(at, length, "edit" if edit else "mute", True))

    def _look_for_repeats(self, begin: int, end: int) -> None:
        out = np.empty((MOST, 3), np.int64)
        lag = round(REPEAT_LAG_S * self.rate_hz)
        least = max(24, round(REPEAT_S * self.rate_hz))
        bits = self.buffer.view(np.int32)
        first, last = max(begin, NEAR_TOP), min(end, self.buffer.size - NEAR_TOP)
        flags = np.empty(max(0, last - first), np.bool_)
        tops(self.buffer, first, flags)
        at = np.flatnonzero(flags) + first
        count, self.told = repeats(self.buffer, at, self.base, self.table, bits, lag, least, self.told, out)
        for first, last, back in out[:count]:
            part = self.buffer[first:last]
            again = (last - first) / back
            if np.unique(part).size >= REPEAT_VALUES and again <= REPEAT_TIMES:
                self._keep(Fault(self.base + int(first), int(last - first), "repeat", True))

    def _look_at_envelope(self) -> None:
        width = self._bin
        count = self.buffer.size // width
        if count < 2 * (HOLE_SIDE + HOLE_EDGE):
            return
        top, bend = np.empty(count, np.float32), np.empty(count, np.float32)
        envelope(self.buffer, width, top, bend)
        out = np.empty((MOST, 2), np.int64)
        base_bin = self.base // width
        before = trailing(top, HOLE_SIDE // 2)
        number = holes(top, before, HOLE_DEPTH, HOLE_LIVE, HOLE_EDGE, HOLE_SIDE // 2, HOLE_LEAST, HOLE_MOST, out)
        ahead = count - HOLE_SIDE - HOLE_EDGE - 1
        for first, last in out[:number]:
            if self.bins_done < base_bin + last <= base_bin + ahead and _cut(bend, int(first), int(last)):
                self._keep_hole(self.base + int(first) * width, int(last - first) * width, top[first:last])
        number = gaps(
            top, trailing(top, GAP_SIDE // 2), GAP_DEPTH, GAP_EDGE, GAP_LEAP, HOLE_LIVE, HOLE_EDGE, GAP_SIDE // 2,
            GAP_LEAST, GAP_MOST, out,
        )  # fmt: skip
        for first, last in out[:number]:
            at = self.base + int(first) * width
            told = any(at + n * width in self.bottoms for n in range(-HOLE_EDGE, HOLE_EDGE + 1))
            fresh = self.bins_done < base_bin + last <= base_bin + ahead and not told
            hole = top[first:last]
            if fresh and _steady(hole) and self._keep_hole(at, int(last - first) * width, hole):
                self.filled.add(at)
        self._look_for_clicks(bend, base_bin, ahead)
        self._look_for_bursts(top, bend, ahead)
        self._look_for_alike(top, ahead)
        self.bins_done = base_bin + ahead

    def _keep_hole(self, at: int, length: int, top: SampleArray) -> bool:
        kept = self._keep(Fault(at, length, "hole", False))
        if kept:
            self.bottoms[at] = float(np.median(top))
        return kept

    def _look_for_clicks(self, bend: SampleArray, base_bin: int, ahead: int) -> None:
        if bend.size < 32:
            return
        around = np.full(bend.size, np.inf, np.float32)
        shifted = [bend[8 + s : bend.size - 8 + s] for s in (-8, -6, -5, -4, -3, 3, 4, 5, 6, 8)]
        around[8:-8] = np.max(shifted, axis=0)
        for i in np.flatnonzero((bend > CLICK * around) & (bend > CLICK_LEAST)):
            if self.bins_done < base_bin + i <= base_bin + ahead:
                self._keep(Fault(self.base + int(i) * self._bin, self._bin, "click", False))

    def _look_for_bursts(self, top: SampleArray, bend: SampleArray, ahead: int) -> None:
        out = np.empty((MOST, 2), np.int64)
        number = bursts(top, bend, NOISY, BURST_RISE, LIVE, BURST_EDGE, BURST_SIDE, BURST_LEAST, BURST_MOST, out)
        base_bin = self.base // self._bin
        for first, last in out[:number]:
            if self.bins_done < base_bin + last <= base_bin + ahead:
                at = self.base + int(first) * self._bin
                self._keep(Fault(at, int(last - first) * self._bin, "burst", False))

    def _look_for_alike(self, top: SampleArray, ahead: int) -> None:
        out = np.empty((MOST, 3), np.int64)
        base_bin, rate = self.base // self._bin, self.rate_hz
        lags = round(ALIKE_LAG_S * rate), round(REPEAT_LAG_S * rate)
        number = alike(
            self.buffer, top, self._bin, self.bins_done - base_bin + 1, ahead, HOLE_LIVE, lags,
            round(ALIKE_PROBE_S * rate), round(ALIKE_S * rate), ALIKE_LEFT, out,
        )  # fmt: skip
        for first, last, back in out[:number]:
            if (last - first) / back <= ALIKE_TIMES and last - first <= ALIKE_LONGEST_S * rate:
                self._keep(Fault(self.base + int(first), int(last - first), "repeat", False))

    def _judged(self, fault: Fault, floor_peak: float) -> Fault:
        if fault.kind != "hole":
            return fault
        certain = fault.at not in self.filled and self.bottoms[fault.at] <= UNDER_FLOOR * floor_peak
        return Fault(fault.at, fault.length, "hole", bool(certain))


def _cut(bend: SampleArray, first: int, last: int) -> bool:
    """Whether what is high is gone in a hole as well: where rumble crosses zero, only the magnitude is small."""
    before = bend[first - HOLE_EDGE - HOLE_SIDE : first - HOLE_EDGE]
    after = bend[last + HOLE_EDGE : last + HOLE_EDGE + HOLE_SIDE]
    beside = float(np.median(np.concatenate((before, after))))
    return float(np.median(bend[first:last])) <= HOLE_BEND * beside


def _steady(top: SampleArray) -> bool:
    """Whether a stretch stays alike from its first to its last quarter, as the noise of a room."""
    inside, quarter = float(np.median(top)), max(2, top.size // 4)
    ends = float(np.median(top[:quarter])), float(np.median(top[-quarter:]))
    return max(ends) <= GAP_ALIKE * inside and inside <= GAP_ALIKE * min(ends)


def trailing(x: SampleArray, count: int) -> SampleArray:
    """The largest of each place and those before it, `count` in all; fewer at the beginning."""
    largest, covered = x.copy(), 1
    while covered < count:
        by = min(covered, count - covered)
        largest[by:] = np.maximum(largest[by:], largest[:-by].copy())
        covered += by
    return largest
