"""What lies under a voice: rumble, wind, knocks. Their level in time, and the spectrum of their loudest pieces."""

from __future__ import annotations

import functools
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from linkwright.physics.loudness_compiled import filtered, means
from linkwright.sound.fault import MOST, Fault, gathered, stretches
from linkwright.sound.level_counts import Tops
from linkwright.units import FloatArray, SampleArray

#: The rate at which what lies low is looked at, about [Hz].
SLOW_HZ: Final = 4000.0
#: And so many times slower for what lies lowest.
SLOWER: Final = 4
#: Where no voice has anything, and where every voice has most of what makes it a voice [Hz]; slopes of
#: fourth order (own choices).
UNDER_HZ: Final = (10.0, 60.0)
VOICE_FROM_HZ: Final = 150.0
#: A step of the levels, and a piece of which a spectrum is taken [s].
STEP_S, PIECE_S = 0.05, 0.5
#: Pieces are counted by their level under 60 Hz, in bins of 4 dB from so far under full scale on; the spectrum of
#: each bin is kept up to [Hz]. The loudest are the loudest twentieth.
FROM_DB, BIN_DB, BINS = 140.0, 4.0, 38
SHOWN_HZ: Final = 1000.0
LOUDEST: Final = 0.05
#: What is told, against the voice [dB]: rumble where half of the time lies over the first, a gust over the second
#: for so long [s], a knock or a pop over the third for less. Clean speech read close by has -10 in the middle and
#: 0 at most; without a voice, against all that lies over 150 Hz. Own choices.
RUMBLE_DB, GUST_DB, POP_DB = -6.0, 0.0, 6.0
NO_VOICE_DB: Final = 10.0
GUST_S: Final = 0.25
#: A gust that falls by so much for two steps and more between short knocks, so often, is a hand's [dB]; own choice.
KNOCKS_DB, KNOCKS = 15.0, 4
#: Gusts nearer than this are one, and stand this much over the middle [dB].
TOGETHER_S: Final = 0.3
OVER_MIDDLE_DB: Final = 10.0


def slow_rate_hz(rate_hz: int) -> float:
    """The rate of `Slowed`'s samples [Hz]."""
    return rate_hz / max(1, round(rate_hz / SLOW_HZ))


@dataclass
class Slowed:
    """A track at about 4 kHz: as it is, and what lies over 150 Hz, where neither rumble nor wind reaches far."""

    rate_hz: int
    state: FloatArray = field(default_factory=lambda: np.zeros((2, 2)))

    def add(self, x: SampleArray) -> tuple[SampleArray, FloatArray]:
        """The next samples; what is left over at an end that is not whole is passed over."""
        every = max(1, round(self.rate_hz / SLOW_HZ))
        slow = np.empty(x.size // every, np.float32)
        means(x, every, slow)
        above = np.empty(slow.size)
        filtered(slow, fourth_order(VOICE_FROM_HZ, slow_rate_hz(self.rate_hz), high=True), self.state, above)
        return slow, above


@functools.lru_cache(maxsize=16)
def fourth_order(hertz: float, rate_hz: float, *, high: bool) -> FloatArray:
    """A Butterworth filter of fourth order, high pass or low pass: rows of b0 b1 b2 a1 a2.

    By the bilinear transform with the corner kept; its pairs of poles have qualities of 1 / (2 cos 22.5, 67.5 deg).
    """
    k, rows = np.tan(np.pi * hertz / rate_hz), []
    for angle in (np.pi / 8.0, 3.0 * np.pi / 8.0):
        lossy = 2.0 * k * np.cos(angle)
        by = 1.0 / (1.0 + lossy + k * k)
        ends, middle = (by, -2.0 * by) if high else (k * k * by, 2.0 * k * k * by)
        rows.append((ends, middle, ends, 2.0 * (k * k - 1.0) * by, (1.0 - lossy + k * k) * by))
    return np.array(rows)


@dataclass
class LowBand:
    """Follows what lies under a voice, in a track that streams by as `Slowed` gives it."""

    rate_hz: float
    state: FloatArray = field(default_factory=lambda: np.zeros((4, 2)))
    rest: SampleArray = field(default_factory=lambda: np.empty(0, np.float32))
    levels: Tops = field(default_factory=Tops)
    left: FloatArray = field(default_factory=lambda: np.empty(0))
    counts: FloatArray = field(default_factory=lambda: np.zeros(BINS))
    spectra: SampleArray | None = None

    def add(self, slow: SampleArray) -> None:
        """The next samples."""
        rate_hz = self.rate_hz / SLOWER
        band = [
            fourth_order(hertz, rate_hz, high=high) for hertz, high in zip(UNDER_HZ, (True, False), strict=True)
        ]
        slower = np.empty(slow.size // SLOWER, np.float32)
        means(slow, SLOWER, slower)
        under = np.empty(slower.size)
        filtered(slower, np.concatenate(band), self.state, under)
        under = np.concatenate((self.left, under))
        size = round(STEP_S * self.rate_hz / SLOWER)
        whole = under.size // size * size
        self.levels.add((under[:whole].reshape(-1, size) ** 2).mean(axis=1).astype(np.float32))
        self.left = under[whole:].copy()
        self._keep_spectra(slow)

    def _keep_spectra(self, slow: SampleArray) -> None:
        size = round(PIECE_S * self.rate_hz)
        joined = np.concatenate((self.rest, slow))
        pieces = joined[: joined.size // size * size].reshape(-1, size)
        self.rest = joined[pieces.size :].copy()
        window = np.hanning(size)
        shifted = (pieces - pieces.mean(axis=1, keepdims=True)) * window
        power = np.abs(np.fft.rfft(shifted, axis=1)) ** 2 * 2.0 / (size * (window**2).sum())
        frequency = self.frequency_hz
        power = power[:, : frequency.size]
        under = power[:, (frequency >= UNDER_HZ[0]) & (frequency <= UNDER_HZ[1])].sum(axis=1)
        row = np.clip((10.0 * np.log10(np.maximum(under, 1e-20)) + FROM_DB) / BIN_DB, 0, BINS - 1).astype(int)
        if self.spectra is None:
            self.spectra = np.zeros((BINS, frequency.size), np.float32)
        np.add.at(self.counts, row, 1.0)
        np.add.at(self.spectra, row, power.astype(np.float32))

    @property
    def frequency_hz(self) -> FloatArray:
        """The frequencies of the spectra [Hz]."""
        size = round(PIECE_S * self.rate_hz)
        frequency = np.fft.rfftfreq(size, 1.0 / self.rate_hz)
        return np.asarray(frequency[frequency <= SHOWN_HZ])

    def loudest(self) -> FloatArray | None:
        """Power in each bin of `frequency_hz`: what the loudest twentieth of the pieces has over all others.

        So a voice, which is in all of them, is left out. None where there are too few pieces.
        """
        count = self.counts.sum()
        if self.spectra is None or count < 2:
            return None
        over = np.cumsum(self.counts[::-1])[::-1]
        first = int(np.flatnonzero(over >= max(1.0, LOUDEST * count))[-1])
        if over[first] >= count:
            return None
        loud = self.spectra[first:].sum(axis=0) / over[first]
        others = self.spectra[:first].sum(axis=0) / (count - over[first])
        return np.asarray(np.maximum(loud - others, 0.0), float)

    def middle_db(self) -> float | None:
        """What half of the time the level under 60 Hz stays under [dB, mean square of 1]; None without sound."""
        levels = self.levels.all()
        live = levels[levels > 0.0]
        return 10.0 * float(np.log10(np.median(live))) if live.size else None

    def finish(self, against_db: float, *, voice: bool, frames: int, rate_hz: int) -> list[Fault]:
        """Rumble, gusts and knocks that stand out against the voice's level; all suspects.

        against_db : mean square of the voice over 150 Hz [dB]; where there is no `voice`, of all that lies there.
        frames, rate_hz : of the track.
        """
        middle = self.middle_db()
        if middle is None:
            return []
        more = 0.0 if voice else NO_VOICE_DB
        faults = []
        if middle >= against_db + RUMBLE_DB + more:
            faults.append(Fault(0, frames, "rumble", certain=False, level_db=middle - against_db))
        step = STEP_S * rate_hz * self.levels.folded
        level = 10.0 * np.log10(np.maximum(self.levels.all(), 1e-20))
        least = max(against_db + GUST_DB + more, middle + OVER_MIDDLE_DB)
        for first, last in stretches(level >= least, round(TOGETHER_S * rate_hz / step))[:MOST]:
            top = float(level[first:last].max())
            long = (last - first) * step >= GUST_S * rate_hz
            if long or top >= against_db + POP_DB + more:
                at, length = round(first * step), round((last - first) * step)
                knocks = stretches(level[first:last] >= top - KNOCKS_DB, 1)
                hand = len(knocks) >= KNOCKS and max(b - a for a, b in knocks) * step < GUST_S * rate_hz
                kind = "handling" if hand else "wind" if long else "pop"
                faults.append(Fault(at, length, kind, False, level_db=top - against_db))
        return gathered(faults, lambda fault: fault.kind == "pop", rate_hz, "handling")
