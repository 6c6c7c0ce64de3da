"""How a track's level goes over its whole length: one that falls away, and one that a limiter holds at a level."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

import numpy as np

from linkwright.sound.fault import Fault, stretches
from linkwright.sound.level_counts import Means, Tops
from linkwright.units import FloatArray, SampleArray

#: Steps of 100 ms in a second, of which the largest and the least level are kept.
SECOND: Final = 10
#: Room tone: what is silence [dB], the share and span of the quiet seconds [dB], its least length [s]. Own choices.
SILENCE_DB, QUIET_SHARE, QUIET_DB, LEAST_TONE_S = -120.0, 0.05, 3.0, 2.0
#: A level is compared in windows of at least so many seconds, from so few to so many of them.
WINDOW_S, LEAST_WINDOWS, MOST_WINDOWS = 5, 6, 40
#: It falls away where the words at the end lie this much under those of the first third, and what is left in the
#: pauses this much too: a talker who falls silent leaves the room as it was [dB]. Own choices.
FALLS_DB, FLOOR_FALLS_DB = 12.0, 6.0
#: It has begun to fall where it stays so much under the first third [dB].
BEGUN_DB: Final = 6.0
#: A limiter or soft clipping is always in where a tenth of the live steps (within 20 dB of the highest) come within
#: the first of the highest, or within the second while half of them stay under the third, unlike steady noise [dB];
#: of at least so many. In clean speech and music it is 2.8 and more. A crest under the last is a tone. Own choices.
LIMITED_DB, NEARLY_DB, HALF_DB = 0.5, 1.2, 3.0
LIMITED_SHARE, LIVE_DB, LIVE_STEPS, TONE_CREST_DB = 0.1, 20.0, 150, 4.5


@dataclass
class LevelCourse:
    """The largest, least and mean level of each second of a track that streams by."""

    largest: Tops = field(default_factory=lambda: Tops(folded=SECOND))
    least: Tops = field(default_factory=lambda: Tops(folded=SECOND))
    mean: Means = field(default_factory=lambda: Means(folded=SECOND))

    def add(self, powers: FloatArray) -> None:
        """Mean squares of the next steps of 100 ms, their mean left out."""
        self.largest.add(powers.astype(np.float32))
        self.least.add(-powers.astype(np.float32))
        self.mean.add(powers.astype(np.float32))

    def room_tone(self) -> tuple[float, float] | None:
        """The longest stretch of room tone, from when and how long [s]; None where none has two seconds.

        Its seconds stay within 3 dB of what the quietest twentieth of all stay under; digital silence is none.
        """
        level_db = 10.0 * np.log10(np.maximum(self.largest.kept, 1e-16))
        live = level_db > SILENCE_DB
        if not live.any():
            return None
        quiet = live & (level_db <= np.quantile(level_db[live], QUIET_SHARE) + QUIET_DB)
        first, last = max(stretches(quiet, 0), key=lambda run: run[1] - run[0])
        second_s = self.largest.folded / SECOND
        long_s = (last - first) * second_s
        return (first * second_s, long_s) if long_s >= LEAST_TONE_S else None

    def falls(self, step: int) -> list[Fault]:
        """That the level falls away, from where on; nothing where it does not. step : samples in 100 ms."""
        seconds_db = [10.0 * np.log10(np.maximum(x, 1e-16)) for x in (self.largest.kept, -self.least.kept)]
        per_second = max(1, self.largest.folded // SECOND)
        count = min(MOST_WINDOWS, seconds_db[0].size * per_second // WINDOW_S)
        if count < LEAST_WINDOWS:
            return []
        words, pauses = (
            np.array([np.quantile(part, share) for part in np.array_split(x, count)])
            for x, share in zip(seconds_db, (0.9, 0.1), strict=True)
        )
        begin = max(2, count // 3)
        before, floor = float(np.median(words[:begin])), float(np.median(pauses[:begin]))
        fallen = before - float(words[-2:].max())
        if fallen < FALLS_DB or floor - float(pauses[-2:].max()) < FLOOR_FALLS_DB:
            return []
        first = int(np.flatnonzero(words > before - BEGUN_DB)[-1]) + 1
        at = round(first / count * self.largest.kept.size) * self.largest.folded * step
        length = self.largest.kept.size * self.largest.folded * step - at
        return [Fault(at, length, "falling", certain=False, level_db=fallen)]


def limited(tops: SampleArray, rms: float, frames: int) -> list[Fault]:
    """That something holds the peaks at one level all the time. tops : largest magnitude of each step."""
    top = float(tops.max(initial=0.0))
    live = np.sort(tops[tops > top * 10.0 ** (-LIVE_DB / 20.0)])
    if live.size < LIVE_STEPS or rms <= 0.0 or top < rms * 10.0 ** (TONE_CREST_DB / 20.0):
        return []
    near, half = (20.0 * float(np.log10(top / live[-round(share * live.size)])) for share in (LIMITED_SHARE, 0.5))
    held = near <= LIMITED_DB or (near <= NEARLY_DB and half >= HALF_DB)
    return [Fault(0, frames, "limited", certain=False)] if held else []
