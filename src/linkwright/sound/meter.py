"""Levels of a track while it streams: loudness, range, true peak, noise floor, DC."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

import numpy as np

from linkwright.physics import loudness
from linkwright.physics.loudness_compiled import energies, true_peak
from linkwright.sound.course import LevelCourse
from linkwright.sound.level_counts import Powers, Tops
from linkwright.units import FloatArray, SampleArray

#: A hop [s], hops in a step of 100 ms, in the momentary and in the short-term window; BS.1770-5 and EBU Tech 3341.
HOP_S: Final = 0.010
STEP, MOMENTARY, SHORT_TERM = 10, 40, 300
#: Levels of mean squares that are counted: from, to, bins of [dB]. Under the first is the absolute gate.
LOUDNESS_DB: Final = (-69.4, 30.6, 0.02)
FLOOR_DB: Final = (-180.0, 10.0, 0.05)
#: Share of the steps that the noise floor is taken above: the quietest twentieth is pauses (own choice).
FLOOR_SHARE: Final = 0.05


def hop_frames(rate_hz: int) -> int:
    """SampleArray in a hop of 10 ms, to the nearest whole one."""
    return round(HOP_S * rate_hz)


@dataclass(frozen=True)
class Loudness:
    """Loudness of a track or programme; None where there was not enough of it, or only silence."""

    integrated_lufs: float | None
    momentary_max_lufs: float | None
    short_term_max_lufs: float | None
    range_lu: float | None


@dataclass
class LoudnessMeter:
    """Loudness from K-weighted mean squares of hops of 10 ms."""

    last: FloatArray = field(default_factory=lambda: np.empty(0))
    steps: FloatArray = field(default_factory=lambda: np.empty(0))
    blocks: Powers = field(default_factory=lambda: Powers(*LOUDNESS_DB))
    windows: Powers = field(default_factory=lambda: Powers(*LOUDNESS_DB))
    seen: int = 0
    momentary: float = 0.0
    short_term: float = 0.0

    def add(self, hops: FloatArray) -> None:
        """The next hops, shape (n,)."""
        joined = np.concatenate((self.last, hops))
        self.momentary = max(self.momentary, windows_max(joined, MOMENTARY))
        self.short_term = max(self.short_term, windows_max(joined, SHORT_TERM))
        fresh = joined[joined.size - hops.size - self.seen % STEP :]
        whole = fresh.size // STEP
        self._count(fresh[: whole * STEP].reshape(whole, STEP).mean(axis=1))
        self.seen += hops.size
        self.last = joined[-SHORT_TERM + 1 :]

    def _count(self, fresh: FloatArray) -> None:
        """Loudness of the blocks and windows that end in these steps of 100 ms."""
        steps = np.concatenate((self.steps, fresh))
        for kept, count in ((self.blocks, MOMENTARY // STEP), (self.windows, SHORT_TERM // STEP)):
            kept.add(loudness.windows(steps[max(0, steps.size - fresh.size - count + 1) :], count))
        self.steps = steps[-(SHORT_TERM // STEP) + 1 :]

    def result(self) -> Loudness:
        """What was found so far."""
        return Loudness(
            loudness.integrated_lufs(*self.blocks.counted()),
            _lufs(self.momentary),
            _lufs(self.short_term),
            loudness.loudness_range_lu(*self.windows.counted()),
        )


def windows_max(hops: FloatArray, count: int) -> float:
    """The largest mean over `count` neighbouring hops; 0 where there are fewer."""
    means = loudness.windows(hops, count)
    return float(means.max()) if means.size else 0.0


def _lufs(mean_square: float) -> float | None:
    return None if mean_square <= 0.0 else float(loudness.loudness_lufs(mean_square))


@dataclass
class TruePeakMeter:
    """The largest magnitude between the samples of a stream."""

    taps: SampleArray = field(default_factory=loudness.oversampling)
    peak: float = 0.0
    last: SampleArray | None = None

    def add(self, x: SampleArray) -> None:
        """The next samples."""
        context = self.taps.shape[1] - 1
        before = np.zeros(context, np.float32) if self.last is None else self.last
        joined = np.concatenate((before, x))
        bound = float(np.abs(self.taps).sum(axis=1).max())
        self.peak = float(true_peak(joined, self.taps, bound, self.peak))
        self.last = joined[-context:].copy()

    def finish(self) -> float:
        """The peak once the last sample has passed through."""
        self.add(np.zeros(self.taps.shape[1] // 2, np.float32))
        return self.peak


@dataclass
class TrackMeter:
    """All levels of one track."""

    rate_hz: int
    loudness: LoudnessMeter = field(default_factory=LoudnessMeter)
    true_peak: TruePeakMeter = field(default_factory=TruePeakMeter)
    state: FloatArray = field(default_factory=lambda: np.zeros((2, 2)))
    sample_peak: float = 0.0
    total: float = 0.0
    square: float = 0.0
    frames: int = 0
    quiet: Powers = field(default_factory=lambda: Powers(*FLOOR_DB))
    tops: Tops = field(default_factory=Tops)
    course: LevelCourse = field(default_factory=LevelCourse)
    powers: FloatArray = field(default_factory=lambda: np.empty(0))  # of the last steps, their mean left out
    middle_hz: FloatArray = field(default_factory=lambda: np.empty(0))  # of the last steps: where their power lies

    def add(self, x: SampleArray) -> FloatArray:
        """The next samples, whole steps of 100 ms but at the end; their K-weighted mean squares, one a hop."""
        hop = hop_frames(self.rate_hz)
        energy = np.empty((x.size // hop, 5))
        energies(x, hop, loudness.k_weighting(self.rate_hz), self.state, energy)
        weighted = energy[:, 0] / hop
        self.loudness.add(weighted)
        self.true_peak.add(x)
        rest = x[energy.shape[0] * hop :].astype(float)
        self.total += float(energy[:, 1].sum() + rest.sum())
        self.square += float(energy[:, 2].sum() + (rest**2).sum())
        self.frames += x.size
        tops = energy[:, 3].max(initial=0.0), np.abs(rest).max(initial=0.0)
        self.sample_peak = max(self.sample_peak, *map(float, tops))
        self._keep_steps(energy, hop)
        return weighted

    def _keep_steps(self, energy: FloatArray, hop: int) -> None:
        """Power without its mean, and the top, of each step of 100 ms."""
        whole = energy.shape[0] // STEP
        steps = energy[: whole * STEP].reshape(whole, STEP, 5)
        mean, square = (steps[:, :, i].sum(axis=1) / (STEP * hop) for i in (1, 2))
        self.powers = np.maximum(square - mean**2, 0.0)
        bent, weighted = (steps[:, :, i].sum(axis=1) for i in (4, 0))
        self.middle_hz = self.rate_hz / (2.0 * np.pi) * np.sqrt(bent / np.maximum(weighted, 1e-20))
        self.quiet.add(self.powers)
        self.course.add(self.powers)
        self.tops.add(steps[:, :, 3].max(axis=1).astype(np.float32))

    @property
    def dc(self) -> float:
        """Mean of all samples, full scale 1."""
        return self.total / max(self.frames, 1)

    @property
    def rms(self) -> float:
        """Root of the mean square of all samples, full scale 1."""
        return float(np.sqrt(self.square / max(self.frames, 1)))

    def floor(self) -> float:
        """Mean square of the pauses: what a twentieth of the steps that are no digital silence stay under; or 0."""
        return self.quiet.quantile(FLOOR_SHARE)
