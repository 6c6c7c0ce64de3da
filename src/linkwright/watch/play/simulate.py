"""Readings as a receiver would give them: the plan's levels along the route, fading on two branches, and faults.

Deterministic: every draw comes from `numpy.random.default_rng` with the seed, the call and the link. A reading is
the mean power of `LOOKS` moments of its period. The fast fading is Clarke's (waves from all around) with a steady
wave by Rice's factor; the branches are taken from one field, `apart` wavelengths from each other.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from linkwright.units import FloatArray, mw_from_dbm_array
from linkwright.watch.log.record import AUDIO, BATTERY, FIELDS, MUTED, QUALITY, RF_A, RF_B, SECOND_NS, Batch
from linkwright.watch.play.course import Course
from linkwright.watch.play.effects import Effects, PlayedFault, effects_of

#: Moments of a reading's period that its levels are the mean of.
LOOKS: Final = 4
#: The field of scattered waves: waves, samples a wavelength, wavelengths until it repeats.
WAVES, A_CYCLE, CYCLES = 24, 32, 1024
#: Share of the time that a talent walks; how slowly it sways else, as a share of its speed (assumed).
WALKING: Final = 0.6
SWAYING: Final = 0.12
#: The local mean wanders about the model's by this [dB], over this long [s] (assumed).
WANDERS_DB: Final = 2.0
WANDERS_S: Final = 4.0
#: Levels of speech, of its pauses and of a muted output [dBFS] (assumed), and how speech and pauses last [s].
SPEECH_DBFS, PAUSE_DBFS, MUTED_DBFS = -24.0, -62.0, -100.0
SPEECH_S, PAUSE_S = 4.0, 2.5
#: From how far under its need to how far over it the quality goes from 0 to 1 [dB] (assumed).
QUALITY_DB: Final = 3.0
#: What is played at once [s]; the draws depend on it, so it is always the same.
BLOCK_S: Final = 60.0
#: Cells are changed when the gauge comes down to this.
CHANGED_AT: Final = 0.1


@dataclass(frozen=True, slots=True)
class Meter:
    """How a receiver's meter reads: scatter of a level [dB], its step, and its floor over noise is the noise."""

    noise_db: float = 1.0
    step_db: float = 0.5


def simulate(
    courses: Sequence[Course], faults: Sequence[PlayedFault] = (), *, seed: int = 1, rate_hz: float = 10.0,
    meter: Meter | None = None,
) -> Iterator[Batch]:  # fmt: skip
    """The readings of all links of all calls in the order of time, a minute of them a batch."""
    names = tuple(dict.fromkeys(course.expected.link for course in courses))
    for call in dict.fromkeys(course.expected.call for course in courses):
        live = [course for course in courses if course.expected.call == call]
        start, end = min(c.from_ns for c in live), max(c.to_ns for c in live)
        players = [Player(course, faults, seed, n, rate_hz, meter or Meter()) for n, course in enumerate(live)]
        step, block = round(SECOND_NS / rate_hz), max(1, round(BLOCK_S * rate_hz))
        for first in range(0, max(0, (end - start) // step), block):
            count = min(block, (end - start) // step - first)
            times = start + step * np.arange(first, first + count, dtype=np.int64)
            played = np.stack([player.play(times) for player in players], axis=1)
            link = np.array([names.index(c.expected.link) for c in live], dtype=np.int32)
            yield Batch(names, np.tile(link, count), np.repeat(times, len(live)), played.reshape(-1, len(FIELDS)))


class Player:
    """One link through a call, block after block."""

    def __init__(
        self, course: Course, faults: Sequence[PlayedFault], seed: int, n: int, rate_hz: float, meter: Meter
    ) -> None:
        self.course, self.rate_hz, self.meter = course, rate_hz, meter
        self.faults = [fault for fault in faults if fault.call == course.expected.call]
        self.rng = np.random.default_rng([seed, course.from_ns // SECOND_NS % 2**31, n])
        self.field = scattered(int(self.rng.integers(64)), round(course.apart or 0.0, 3))
        self.at_cycle = float(self.rng.uniform(0.0, CYCLES))
        self.steady = np.exp(2j * math.pi * self.rng.random(2))
        self.gone_s = float(self.rng.uniform(0.0, 2.0 * max(1.0, float(course.walk_s[-1]))))
        self.wander = float(self.rng.normal(0.0, WANDERS_DB))
        self.walking = True
        self.turn_s = self.speech_s = 0.0
        self.speaks = False

    def play(self, times: np.ndarray) -> np.ndarray:
        """The readings at these times (n,) [ns]: (n, 6)."""
        course, count = self.course, times.size
        hit = effects_of(self.faults, course, times)
        speed = np.where(hit.scattered, 1.0, self._speeds(count))
        mean = self._mean_dbm(speed)
        mean += hit.share * (hit.target_dbm - mean) - hit.loss_db
        branch = self._branches(mean, speed, hit)
        unwanted = mw_from_dbm_array(np.full(count, course.expected.thermal_dbm)) + hit.unwanted_mw
        total = branch.mean(axis=2) + unwanted
        best = branch.max(axis=0)
        over_db = 10.0 * np.log10(np.maximum(best, 1e-30) / unwanted[:, None]) - course.expected.required_cnr_db
        squeezed = np.where(hit.too_near, 4.0 - 2.0 * (mean - course.expected.ceiling_dbm), np.inf)
        over_db = np.minimum(over_db, np.where(mean > course.expected.ceiling_dbm, squeezed, np.inf)[:, None])
        share = np.clip(0.5 + over_db / (2.0 * QUALITY_DB), 0.0, 1.0).mean(axis=1)
        quality = np.clip(share, 0.0, 1.0)
        muted = quality < 0.35
        out = np.full((count, len(FIELDS)), np.nan, dtype=np.float32)
        read = 10.0 * np.log10(total) + self.rng.normal(0.0, self.meter.noise_db, total.shape)
        read = np.round(np.minimum(read, course.expected.ceiling_dbm) / self.meter.step_db) * self.meter.step_db
        out[:, RF_A] = read[0]
        if course.apart is not None:
            out[:, RF_B] = read[1]
        out[:, QUALITY] = np.round(quality, 2)
        out[:, MUTED] = muted
        out[:, AUDIO] = self._audio(count, muted, hit.audio_dead)
        gauge = self._gauge(times)
        out[:, BATTERY] = np.round(np.where(np.isnan(hit.gauge), gauge, hit.gauge), 2)
        return out

    def _speeds(self, count: int) -> FloatArray:
        """How fast the talent goes at each reading, 1 walking."""
        speed = np.empty(count)
        at = 0
        while at < count:
            if self.turn_s <= 0.0:
                self.walking = not self.walking
                mean = 20.0 * (WALKING if self.walking else 1.0 - WALKING)
                self.turn_s = float(self.rng.uniform(0.5, 1.5)) * mean
            many = min(count - at, max(1, math.ceil(self.turn_s * self.rate_hz)))
            speed[at : at + many] = 1.0 if self.walking else SWAYING
            self.turn_s -= many / self.rate_hz
            at += many
        return speed

    def _mean_dbm(self, speed: FloatArray) -> FloatArray:
        """The local mean along the route, walked there and back again; it sways but does not go on while
        standing."""
        gone = self.gone_s + np.cumsum(np.where(speed >= 1.0, 1.0, 0.0)) / self.rate_hz
        self.gone_s = float(gone[-1])
        length = max(1.0, float(self.course.walk_s[-1]))
        there = np.abs((gone + length) % (2.0 * length) - length)
        keep = math.exp(-1.0 / (self.rate_hz * WANDERS_S))
        push = self.rng.normal(0.0, WANDERS_DB * math.sqrt(1.0 - keep * keep), speed.size)
        wander = np.empty(speed.size)
        now = self.wander
        for n, step_db in enumerate(push.tolist()):
            now = keep * now + step_db
            wander[n] = now
        self.wander = now
        return np.asarray(np.interp(there, self.course.walk_s, self.course.walk_dbm) + wander)

    def _branches(self, mean_dbm: FloatArray, speed: FloatArray, hit: Effects) -> np.ndarray:
        """Powers [mW] of the two branches at `LOOKS` moments of each reading: (2, n, looks)."""
        step = speed * self.course.doppler_hz / self.rate_hz
        ends = self.at_cycle + np.cumsum(step)
        self.at_cycle = float(ends[-1] % CYCLES)
        at = ends[:, None] - step[:, None] * (np.arange(LOOKS)[::-1] / LOOKS)
        index = (np.round(at * A_CYCLE).astype(np.int64)) % (A_CYCLE * CYCLES)
        waves = self.field[:, index]
        k = np.where(hit.scattered, 0.0, self.course.rice_k)[None, :, None]
        amplitude = np.sqrt(k / (k + 1.0)) * self.steady[:, None, None] + waves / np.sqrt(k + 1.0)
        power = np.abs(amplitude) ** 2 * mw_from_dbm_array(mean_dbm)[None, :, None]
        power *= mw_from_dbm_array(-hit.branch_loss_db)[:, :, None]
        if self.course.apart is None:
            power[1] = 0.0
        return np.asarray(power)

    def _audio(self, count: int, muted: np.ndarray, dead: np.ndarray) -> FloatArray:
        """Levels of speech and pauses [dBFS]."""
        level = np.empty(count)
        at = 0
        while at < count:
            if self.speech_s <= 0.0:
                self.speaks = not self.speaks
                self.speech_s = float(self.rng.exponential(SPEECH_S if self.speaks else PAUSE_S)) + 0.3
            many = min(count - at, max(1, math.ceil(self.speech_s * self.rate_hz)))
            level[at : at + many] = SPEECH_DBFS if self.speaks else PAUSE_DBFS
            self.speech_s -= many / self.rate_hz
            at += many
        level += self.rng.normal(0.0, 4.0, count)
        return np.where(dead | muted, MUTED_DBFS + self.rng.normal(0.0, 1.0, count), level)

    def _gauge(self, times: np.ndarray) -> FloatArray:
        """What the gauge shows: fresh at the call's begin, changed when it comes down to `CHANGED_AT`."""
        hours = (times - self.course.from_ns) / (3600.0 * SECOND_NS)
        spent = hours / self.course.run_h
        return np.asarray(1.0 - spent % (1.0 - CHANGED_AT))


@functools.lru_cache(maxsize=128)
def scattered(seed: int, apart: float) -> np.ndarray:
    """Amplitudes of two branches in scattered waves (2, A_CYCLE * CYCLES), mean power 1, the end joined to the
    begin: each wave's Doppler is a whole number of turns of the whole."""
    rng = np.random.default_rng([7, seed])
    way = 2.0 * math.pi * (np.arange(WAVES) + rng.random(WAVES)) / WAVES
    turns = np.round(np.cos(way) * CYCLES).astype(np.int64)
    phase = np.exp(2j * math.pi * rng.random(WAVES))
    spectra = np.zeros((2, A_CYCLE * CYCLES), dtype=np.complex128)
    for wave in range(WAVES):
        spectra[0, turns[wave]] += phase[wave]
        spectra[1, turns[wave]] += phase[wave] * np.exp(2j * math.pi * apart * math.sin(way[wave]))
    field = np.fft.ifft(spectra, axis=1) * (A_CYCLE * CYCLES) / math.sqrt(WAVES)
    return np.asarray(field, dtype=np.complex64)
