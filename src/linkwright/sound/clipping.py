"""Clipping: flat tops at full scale, and the trace that clipping leaves after a rate conversion or a fade."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from linkwright.sound.fault import MOST, Fault
from linkwright.sound.faults_compiled import amplitudes, flat_tops, held_high
from linkwright.units import IntArray, SampleArray

#: Full scale of 16 bits less a step: flat tops at or over it are clipping.
FULL: Final = 32766.0 / 32768.0
#: Bins of the amplitude histogram up to full scale.
BINS: Final = 4096
#: A crest below this is a tone or a square wave, whose amplitudes pile up by nature [dB].
LEAST_CREST_DB: Final = 6.0
#: After clipping, amplitudes near the level L (0.96..1.03) are this many times as frequent as below (0.80..0.92);
#: without it they get rarer towards the peak. At least so many samples lie there. Own choices.
PILED: Final = 2.0
LEAST_COUNT: Final = 60
#: Flat tops under full scale: from this magnitude on, so many kept; clipping where so many lie at one level (a bin
#: and its neighbours), and this many times as many as in three bins beside it (within 5 %). At most so many levels.
LEAST_TOP, MOST_TOPS, LEAST_TOPS = 0.02, 20_000, 8
TOPS_STAND, TOPS_BESIDE, MOST_LEVELS = 5.0, 0.05, 4
#: Flat tops nearer than this are told as one [s].
TOGETHER_S: Final = 0.1


@dataclass
class ClipFinder:
    """Looks for clipping in a track that streams by."""

    rate_hz: int
    counts: IntArray = field(default_factory=lambda: np.zeros(BINS + 1, np.int64))
    run: int = 0
    seen: int = 0
    dropped: int = 0
    spans: list[tuple[int, int]] = field(default_factory=list)
    flat_counts: IntArray = field(default_factory=lambda: np.zeros(BINS + 1, np.int64))
    flat_spans: list[tuple[int, int, float]] = field(default_factory=list)

    def add(self, x: SampleArray) -> None:
        """The next samples."""
        out = np.empty((x.size // 3 + 2, 2), np.int64)
        count, self.run = amplitudes(x, FULL, self.run, self.counts, out)
        for first, last in out[:count] + self.seen:
            self._join(int(first), int(last))
        flags, levels = np.empty(max(0, x.size - 1), np.bool_), np.empty(out.shape[0], np.float32)
        held_high(x, LEAST_TOP, flags)
        count = flat_tops(x, np.flatnonzero(flags) + 1, out, levels)
        np.add.at(self.flat_counts, np.minimum(np.round(levels[:count] * BINS), BINS).astype(int), 1)
        for (first, last), level in zip(out[: min(count, MOST_TOPS - len(self.flat_spans))], levels, strict=False):
            self.flat_spans.append((int(first) + self.seen, int(last) + self.seen, float(level)))
        self.seen += x.size

    def levels(self) -> list[float]:
        """Levels under full scale at which flat tops pile up, as clipping leaves them before the recorder."""
        counts, held = self.flat_counts[:-1].copy(), list[float]()
        while len(held) < MOST_LEVELS:
            three = counts + np.roll(counts, 1) + np.roll(counts, -1)
            at = int(np.argmax(three))
            wide = max(2, round(TOPS_BESIDE * at))
            beside = np.concatenate((counts[max(0, at - wide) : max(0, at - 1)], counts[at + 2 : at + wide + 1]))
            if three[at] < max(LEAST_TOPS, TOPS_STAND * 3.0 * float(beside.mean() if beside.size else 0.0)):
                break
            held.append(at / BINS)
            counts[max(0, at - 1) : at + 2] = 0
        return held

    def _join(self, first: int, last: int) -> None:
        if self.spans and first - self.spans[-1][1] < TOGETHER_S * self.rate_hz:
            self.spans[-1] = (self.spans[-1][0], last)
        elif len(self.spans) >= MOST:
            self.dropped += 1
        else:
            self.spans.append((first, last))

    def _under(self, levels: Sequence[float]) -> Iterator[tuple[int, int]]:
        """The flat tops at these levels, in the order of time; those at full scale that were told are done with."""
        done, self.spans = self.spans, []
        mine = [(first, last) for first, last, level in self.flat_spans if near_level(level, levels)]
        yield from sorted([*done, *mine])

    def finish(self, tops: SampleArray, step: int, rms: float) -> list[Fault]:
        """Clipping found: flat tops (certain), else the steps that reach the level where amplitudes pile up.

        tops : largest magnitude of each step of `step` samples. rms : of the whole track, full scale 1.
        """
        if self.run >= 3:
            self._join(self.seen - self.run, self.seen)
            self.run = 0
        for first, last in self._under(self.levels()):
            self._join(first, last)
        if self.spans:
            return [Fault(first, last - first, "clip", True) for first, last in self.spans]
        level = piled_level(self.counts, rms)
        if level is None:
            return []
        faults: list[Fault] = []
        for i in np.flatnonzero(tops >= 0.97 * level):
            at = int(i) * step
            if faults and at <= faults[-1].at + faults[-1].length:
                faults[-1] = Fault(faults[-1].at, at + step - faults[-1].at, "clip", False)
            else:
                faults.append(Fault(at, step, "clip", False))
        return faults


def near_level(value: float, levels: Sequence[float]) -> bool:
    """Whether a magnitude lies at one of these levels, as well as bins tell."""
    return any(abs(value - level) <= 1.5 / BINS for level in levels)


def piled_level(counts: IntArray, rms: float) -> float | None:
    """The level at which amplitudes pile up as clipping leaves them [full scale 1]; None where they do not."""
    used = np.flatnonzero(counts)
    if not used.size or rms <= 0.0:
        return None
    top = int(used[-1])
    if top < 64 or 20.0 * np.log10((top + 1) / BINS / rms) < LEAST_CREST_DB:
        return None
    total = np.concatenate(([0], np.cumsum(counts)))

    def density(low: float, high: float) -> tuple[int, float]:
        a, b = round(low), max(round(low) + 1, min(round(high), counts.size))
        number = int(total[b] - total[a])
        return number, number / (b - a)

    best, level = PILED, None
    for at in range(top // 2, top + 1):
        number, near = density(0.96 * at, 1.03 * at)
        _, below = density(0.80 * at, 0.92 * at)
        if number >= LEAST_COUNT and near > best * max(below, 0.25):
            best, level = near / max(below, 0.25), at / BINS
    return level
